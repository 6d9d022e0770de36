"""A file that is something else than its name says is told for what it is, and a wrong cell for what is wrong in it."""

from __future__ import annotations

import bz2
import gzip
import io
import sqlite3
import zipfile

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from pipelines.answers.feeds import answer_feeds
from tests.conftest import HEAD, Place

ROW = "2026-03-02T09:00:00+01:00,K1,K1-side-a,11,60,12,1\n"
TEXT = (HEAD + ROW).encode()


def zipped(*names: str) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as file:
        for name in names:
            file.writestr(name, "<x/>")
    return out.getvalue()


def database() -> bytes:
    base = sqlite3.connect(":memory:")
    base.execute("create table counts (inspected integer)")
    return base.serialize()


def parquet() -> bytes:
    out = io.BytesIO()
    pq.write_table(pa.table({"inspected": [12]}), out)
    return out.getvalue()


def sentences(place: Place, name: str, data: bytes | str) -> list[str]:
    """What is said of a file that is refused."""
    place.put(name, data)
    place.take()
    with place.opened.ledger.reading() as reader:
        return [each["sentence"] for each in answer_feeds(reader, place.plant)["refused"]]


OTHER = {
    "gzip": ("csv", gzip.compress(TEXT), "packed by gzip, not plain text; let its name end in .csv.gz, or unpack it"),
    "xlsx": (
        "csv",
        zipped("[Content_Types].xml", "xl/workbook.xml"),
        "a workbook (.xlsx), not plain text; let a [[mapping]] take it",
    ),
    "zip": ("csv", zipped("counts.csv"), "a zip archive or a workbook kept as one, not plain text; unpack it"),
    "old workbook": ("csv", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(504), "a workbook of the old kind (.xls)"),
    "pdf": ("csv", b"%PDF-1.7\n1 0 obj\n", "a PDF, not plain text; send the export"),
    "picture": ("csv", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "a picture (PNG), not plain text; send the table itself"),
    "database": ("csv", database(), "an SQLite database, not plain text; export its table as CSV"),
    "parquet": ("csv", parquet(), "a Parquet file, not plain text; let its name end in .parquet"),
    "parquet as lines": ("jsonl", parquet(), "a Parquet file, not plain text; let its name end in .parquet"),
    "text as gzip": ("csv.gz", TEXT, "text that is not packed, not gzip; let its name end in .csv, or pack it by gzip"),
    "bzip2 as gzip": ("csv.gz", bz2.compress(TEXT), "packed by bzip2, not gzip; unpack it, or pack it by gzip"),
    "workbook within gzip": ("csv.gz", gzip.compress(zipped("xl/workbook.xml")), "a workbook (.xlsx), not plain text"),
    "text as parquet": ("parquet", TEXT, "text, not Parquet; let its name end in .csv"),
    "gzip as parquet": ("parquet", gzip.compress(TEXT), "packed by gzip, not Parquet; let its name end in .csv.gz"),
}


@pytest.mark.parametrize("kind", OTHER)
def test_a_file_under_the_name_of_another_kind_is_told_for_what_it_is(kind: str, place: Place) -> None:
    ending, data, says = OTHER[kind]
    (said,) = sentences(place, f"station_counts.K1.{ending}", data)
    assert f": by its first bytes the file is {says}" in said and said.endswith("`coldledger feeds retry`.")


@pytest.mark.parametrize("first", ["PAR1", "BZh", "GIF89a", "Rar!"])
def test_text_that_begins_like_another_kind_is_still_text(first: str, place: Place) -> None:
    (said,) = sentences(place, "station_counts.K1.csv", f"{first},line\n1,K1\n")
    assert f"the header has an unknown column '{first}'" in said


def test_half_a_parquet_file_and_half_a_gzip_are_cut_off_and_no_other_kind(place: Place) -> None:
    place.put("station_counts.a.csv.gz", gzip.compress(TEXT)[:30])
    (said,) = sentences(place, "station_counts.b.parquet", parquet()[:40])[1:]
    assert "it may have been cut off" in said


def test_a_nul_byte_is_called_one(place: Place) -> None:
    (said,) = sentences(place, "station_counts.K1.csv", HEAD + ROW.replace("K1-side-a", "K1\0side-a"))
    assert "holds a NUL byte" in said and "UTF-8" not in said


def test_a_nul_byte_in_the_header_is_no_utf_16(place: Place) -> None:
    (said,) = sentences(place, "station_counts.K1.csv", HEAD.replace("line", "li\0ne") + ROW)
    assert "the header has a NUL byte in it, at byte 16" in said


@pytest.mark.parametrize("named", [True, False], ids=["with a mark", "without one"])
def test_utf_16_is_still_called_so(named: bool, place: Place) -> None:
    (said,) = sentences(place, "station_counts.K1.csv", (HEAD + ROW).encode("utf-16" if named else "utf-16-le"))
    assert "it looks like UTF-16" in said


@pytest.mark.parametrize(("mark", "words", "key"), [(";", "';'", '";"'), ("\t", "tabs", '"\\t"'), ("|", "'|'", '"|"')])
def test_another_separator_is_called_one(mark: str, words: str, key: str, place: Place) -> None:
    (said,) = sentences(place, "station_counts.K1.csv", (HEAD + ROW).replace(",", mark))
    assert f"the header has its columns separated by {words}, not by commas" in said
    assert f"a [[mapping]] with separator = {key} take it" in said and "unknown column" not in said


@pytest.mark.parametrize(
    ("cell", "says"),
    [
        ("99999999999999999999999", "is above the greatest value allowed, 10000000"),
        ("-99999999999999999999999", "is below the least value allowed, 0"),
        ("1" * 9000, "is above the greatest value allowed, 10000000"),
        ("9999999999999999999999x", "is not a whole number"),
        ("0000000000000000000000012", "is not a whole number"),
    ],
)
def test_a_count_of_too_many_digits_is_out_of_range_and_not_no_number(cell: str, says: str, place: Place) -> None:
    said = sentences(place, "station_counts.K1.csv", HEAD + ROW.replace(",12,", f",{cell},"))
    assert says in said[0]


def test_a_weight_of_too_many_digits_is_out_of_range(place: Place) -> None:
    head = "sampled_at,line,point,mould,sample,weight_g\n"
    row = "2026-03-02T09:00:00+01:00,K1,cold,11,1,99999999999999999999999.5\n"
    assert "is above the greatest value allowed" in sentences(place, "weight_checks.K1.csv", head + row)[0]


UNNAMED = {
    "weights_0302.xlsx": (
        b"PK\x03\x04" + b"\0" * 26 + b"xl/workbook.xml",
        "a workbook (.xlsx); let a [[mapping]] take it",
    ),
    "store.db": (b"SQLite format 3\0" + bytes(200), "an SQLite database; export its table as CSV"),
    "ledger.bin": (bytes(8) + b"DUCK" + bytes(200), "a DuckDB database; export its table as CSV"),
    "IMG_0815.jpg": (b"\xff\xd8\xff\xe0" + bytes(200), "a picture (JPEG); send the table itself"),
    "week9.zip": (b"PK\x03\x04" + b"\0" * 26 + b"a.csv", "a zip archive"),
    "week9.tar": (b"a.csv" + bytes(252) + b"ustar" + bytes(200), "a tar archive; unpack it"),
    "firmware": (bytes(range(32)) * 20, "binary, of a kind that is not known here; send the table"),
}


@pytest.mark.parametrize("name", UNNAMED)
def test_a_binary_file_that_nothing_names_is_told_for_what_it_is(name: str, place: Place) -> None:
    data, says = UNNAMED[name]
    (said,) = sentences(place, name, data)
    assert f"{name}: by its first bytes the file is {says}" in said


@pytest.mark.parametrize("code", ["utf-8", "utf-16", "cp1252"])
def test_text_that_nothing_names_is_told_by_its_name(code: str, place: Place) -> None:
    (said,) = sentences(place, "weather.csv", ("Zeit;Größe\n1;2\n" * 40).encode(code))
    assert "the name does not begin with a feed" in said
