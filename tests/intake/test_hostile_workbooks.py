"""Workbooks that nobody wants in an inbox: each is refused in a sentence, with bounded memory, and kept."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from pipelines.errors import FileRefused
from pipelines.intake.foreign.workbook import sheets_of, tables_of
from pipelines.plant.mapping import Mapping
from pipelines.settings import Settings
from tests.conftest import WORKS, Place
from tests.intake import books

OLD = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
PLAIN = books.xlsx({"S": [["a", "b"], [1, 2]]})
SHEET = "xl/worksheets/sheet1.xml"
MAIN = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'


def sheet(rows: str) -> bytes:
    return f'<?xml version="1.0"?><worksheet {MAIN}><sheetData>{rows}</sheetData></worksheet>'.encode()


def bomb() -> bytes:
    """Six hundred million bytes in six hundred thousand."""
    out = io.BytesIO(PLAIN)
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as parts, parts.open("xl/media/more.xml", "w") as part:
        for _ in range(600):
            part.write(b"0" * 1_000_000)
    return out.getvalue()


def lying() -> bytes:
    """A part that says it is small and is not."""
    rows = "".join(f'<row r="{n}"><c r="A{n}"><v>{n}</v></c></row>' for n in range(1, 20_000))
    data = bytearray(books.with_part(PLAIN, SHEET, sheet(rows)))
    at = data.rfind(b"PK\x01\x02", 0, data.rfind(SHEET.encode()))
    data[at + 24 : at + 28] = (100).to_bytes(4, "little")
    return bytes(data)


def far_cells() -> bytes:
    cells = '<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'
    return books.with_part(PLAIN, SHEET, sheet(cells))


def many_columns() -> bytes:
    cells = "".join(f"<c><v>{n}</v></c>" for n in range(1_000_000))
    return books.with_part(PLAIN, SHEET, sheet(f'<row r="1">{cells}</row>'))


def repeated() -> bytes:
    cell = '<table:table-cell office:value-type="float" office:value="1" table:number-columns-repeated="16000">'
    row = f'<table:table-row table:number-rows-repeated="1000000">{cell}<text:p>1</text:p></table:table-cell>'
    return books.ods_of(f'<table:table table:name="S">{row}</table:table-row></table:table>')


def linked() -> bytes:
    row = '<table:table-row><table:table-cell office:value-type="float" office:value="1"/></table:table-row>'
    source = '<table:table-source xlink:href="file:///other.ods"/>'
    return books.ods_of(f'<table:table table:name="S">{source}{row}</table:table>')


def entities() -> bytes:
    """Names that stand for ten of the name before them."""
    names = "".join(f'<!ENTITY e{n + 1} "{f"&e{n};" * 10}">' for n in range(12))
    text = f'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY e0 "0">{names}]><worksheet {MAIN}><sheetData>'
    return books.with_part(PLAIN, SHEET, f"{text}<row><c><v>&e12;</v></c></row></sheetData></worksheet>".encode())


HOSTILE: dict[str, tuple[Callable[[], bytes], str]] = {
    "a bomb": (bomb, "unpacks to more than 512 MB"),
    "a part that lies": (lying, "is not a readable workbook"),
    "cells at both ends": (far_cells, "1,048,576 rows by 16,384 columns"),
    "a million columns": (many_columns, "the workbook "),
    "macros": (lambda: books.with_part(PLAIN, "xl/vbaProject.bin", b"x"), "the workbook has macros; save it without"),
    "macros of a document": (
        lambda: books.with_part(books.ods({"S": [["a"]]}), "Basic/Standard/Module1.xml", b"<a/>"),
        "the workbook has macros",
    ),
    "links": (
        lambda: books.with_part(PLAIN, "xl/externalLinks/externalLink1.xml", b"<a/>"),
        "the workbook takes values from other workbooks",
    ),
    "links of a document": (linked, "the workbook takes values from other workbooks"),
    "repeated cells": (repeated, "1,000,000 rows by 16,000 columns"),
    "binary": (lambda: books.with_part(PLAIN, "xl/workbook.bin", b"x"), "is of the binary kind (.xlsb)"),
    "cut off": (lambda: PLAIN[: len(PLAIN) // 2], "is not a readable workbook"),
    "entities": (entities, ""),
    "noise of the old kind": (lambda: OLD + bytes(range(256)) * 40, "readable workbook"),
    "many parts": (lambda: _many_parts(), "is made of 6,0"),
}


def _many_parts() -> bytes:
    out = io.BytesIO(PLAIN)
    with zipfile.ZipFile(out, "a") as parts:
        for number in range(6_000):
            parts.writestr(f"xl/media/{number}", b"")
    return out.getvalue()


@pytest.mark.parametrize("kind", HOSTILE)
def test_a_hostile_workbook_is_refused_in_a_sentence(kind: str) -> None:
    make, says = HOSTILE[kind]
    with pytest.raises(FileRefused) as refused:
        tables_of(make(), Mapping(files=("*",), feed="pallets"), Settings())
    sentence = refused.value.reason.sentence(refused.value.value, refused.value.expected)
    assert says in sentence and "\n" not in sentence and len(sentence) < 300


def test_good_files_beside_hostile_workbooks_are_kept_and_all_of_them_lie_in_the_archive(tmp_path: Path) -> None:
    mapping = '\n[[mapping]]\nfiles = "book*"\nfeed = "pallets"\n'
    place = Place(tmp_path / "site", WORKS + mapping)
    kinds = ("cells at both ends", "macros", "links", "a part that lies")
    sent = {f"book{n}.xlsx": HOSTILE[kind][0]() for n, kind in enumerate(kinds)}
    for name, data in sent.items():
        place.put(name, data)
    head = "window_start,line,station,mould,window_s,inspected,rejected\n"
    place.put("station_counts.a.csv", f"{head}2026-03-02T09:00:00Z,K1,K1-foot,11,60,12,1\n")
    report = place.take()
    assert (report.files_refused, report.rows_kept) == (len(kinds), 1)
    assert {path.name: path.read_bytes() for path in place.site.archive.rglob("*.xlsx")} == sent


def test_a_sheet_that_is_not_read_to_its_end_holds_up_no_other() -> None:
    rows = [["a", "b"], *([n, n] for n in range(5000))]
    data = books.xlsx({"A": rows, "B": [["c"], [1]]})
    taken = [(name, next(iter(lines)).cells) for _, name, lines in sheets_of(data, ["A", "B"], Settings())]
    assert taken == [("A", ["a", "b"]), ("B", ["c"])]
    for _, _, lines in sheets_of(data, ["A"], Settings()):
        next(iter(lines))
        break
    assert [name for _, name, _ in sheets_of(data, [2], Settings())] == ["B"]
