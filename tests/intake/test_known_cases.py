"""Files that once stopped an intake, were lost in silence, or took more memory or time than there is."""

from __future__ import annotations

import gzip
import json
import os
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from pipelines.intake import run as intake_run
from pipelines.intake.filing import quarantine_entries
from pipelines.intake.net import plain_name, short_name
from pipelines.intake.retry import retry_quarantine
from pipelines.settings import Settings
from schemas.reasons import reason_of, refusal_sentence
from tests.conftest import HEAD, NOW, WORKS, Place
from tests.intake.test_parquet_by_value import parquet

ROW = "2026-03-02T09:00:00+01:00,K1,K1-side-a,11,60,12,1\n"
NEXT = ROW.replace("09:00:00", "09:01:00")
OTHER = "2026-03-02T09:00:00+01:00,K1,K1-side-b,11,60,12,1\n"


def reasons(place: Place) -> list[tuple[int, str]]:
    return [(line, reason) for _, line, _, reason in place.refusals()]


def sentence(row: dict[str, Any]) -> str:
    reason = reason_of(row["reason"])
    return refusal_sentence(row["file"], row["file_line"], row["column_name"], reason, row["value"], row["expected"])


def clean(place: Place) -> None:
    """Nothing is left in the inbox, and another intake changes nothing."""
    again = place.take()
    assert (again.files, again.repeated, again.messages) == (0, 0, [])


# line ends


@pytest.mark.parametrize("ending", ["csv", "csv.gz"])
def test_lines_that_end_in_a_carriage_return_alone_are_lines(place: Place, ending: str) -> None:
    text = (HEAD + ROW + NEXT).replace("\n", "\r").encode()
    place.put(f"station_counts.old.{ending}", gzip.compress(text) if ending.endswith("gz") else text)
    assert place.take().rows_kept == 2
    assert place.facts("station_counts")["inspected"].to_list() == [12, 12]


def test_carriage_returns_end_the_lines_of_json_and_of_a_foreign_export_too(tmp_path: Path) -> None:
    mapping = '\n[[mapping]]\nfiles = "old_*.txt"\nfeed = "station_counts"\nseparator = ";"\n'
    mapping += 'columns = { "At" = "window_start", "Form" = "mould", "Seen" = "inspected", "Out" = "rejected" }\n'
    mapping += 'constants = { line = "K1", station = "K1-side-a" }\n'
    place = Place(tmp_path / "site", WORKS + mapping)
    place.put("old_1.txt", "At;Form;Seen;Out\r2026-03-02T09:00:00Z;11;12;1\r2026-03-02T09:01:00Z;11;13;0\r")
    line = json.dumps(dict(zip(HEAD.strip().split(","), OTHER.strip().split(","), strict=True)))
    place.put("station_counts.old.jsonl", f"{line}\r{line.replace('09:00', '09:05')}\r")
    report = place.take()
    assert (report.rows_kept, report.rows_refused, report.messages) == (4, 0, [])


def test_a_file_of_which_nothing_becomes_a_row_is_refused_and_one_with_nothing_to_say_is_not(place: Place) -> None:
    place.put("station_counts.commas.csv", HEAD + ",,,,,,\n")
    place.put("station_counts.quiet.csv", HEAD + "\r\n \n")
    place.put("station_counts.header.csv", HEAD)
    report = place.take()
    assert [(file, reason) for file, _, _, reason in place.refusals()] == [("station_counts.commas.csv", "no_rows")]
    assert report.needs_a_person and (report.files, report.files_refused) == (3, 1)


def test_a_line_break_inside_an_id_is_refused(place: Place) -> None:
    good = {"window_start": "2026-03-02T09:00:00Z", "line": "K1", "station": "K1-side-a", "inspected": 3, "rejected": 0}
    place.put("station_counts.x.csv", HEAD + ROW.replace(",11,", ',"1\n1",') + NEXT)
    place.put(
        "station_counts.y.jsonl",
        "".join(json.dumps({**good, "mould": mould}) + "\n" for mould in ("1\n1", "1\u20281", "1\t1", "12")),
    )
    report = place.take()
    assert (report.rows_kept, report.rows_refused) == (2, 4)
    assert {reason for _, reason in reasons(place)} == {"not_one_line"}


# text


def test_half_a_pair_in_json_costs_its_row_alone(place: Place) -> None:
    line = json.dumps({**dict(zip(HEAD.strip().split(","), ROW.strip().split(","), strict=True)), "mould": "\ud800"})
    good = line.replace("\\ud800", "11")
    key = good.replace("mould", "mo\\udc00ld")
    place.put("station_counts.x.jsonl", f"{good}\n{line}\n{key}\n{{}}\n")
    place.take()
    assert place.facts("station_counts").height == 1
    assert sorted(reasons(place))[:2] == [(2, "not_text"), (3, "not_text")]
    assert {line for line, _ in reasons(place)} == {2, 3, 4}


def test_empty_objects_alone_are_no_rows_of_a_feed(place: Place) -> None:
    place.put("station_counts.x.jsonl", "{}\n{}\n")
    place.take()
    assert reasons(place) == [(0, "wrong_header")]


@pytest.mark.parametrize("text", ["[" * 990 + "]" * 990, '{"a":' * 990 + "1" + "}" * 990])
def test_deep_json_costs_its_row_alone(place: Place, text: str) -> None:
    line = json.dumps(dict(zip(HEAD.strip().split(","), ROW.strip().split(","), strict=True)))
    place.put("station_counts.x.jsonl", f'{line}\n{line[:-1]}, "more": {text}}}\n')
    assert place.take().rows_kept == 1
    assert len(reasons(place)) == 1 and reasons(place)[0][0] == 2


# names


def test_a_name_that_is_no_utf8_is_taken_in_under_one_that_is(place: Place) -> None:
    path = os.fsencode(place.site.inbox) + b"/station_counts.z\xfcrich\n\x1b[31m.csv"
    with open(path, "wb") as file:  # noqa: PTH123
        file.write((HEAD + ROW + "x\n").encode())
    with open(os.fsencode(place.site.inbox) + b"/\xff\xfe.csv", "wb") as file:  # noqa: PTH123
        file.write(b"a\n")
    report = place.take()
    assert report.rows_kept == 1
    said = " ".join([*report.messages, *(file for file, *_ in place.refusals())])
    assert said.isprintable() and said.encode()
    clean(place)


@pytest.mark.parametrize("letter", ["x", "é", "€"])
@pytest.mark.parametrize("text", ["a,b\n1,2\n", HEAD + ROW + "x\n"], ids=["refused whole", "a row refused"])
def test_the_longest_name_of_all_jams_nothing_and_can_be_mended(place: Place, letter: str, text: str) -> None:
    name = "station_counts." + letter * ((255 - 19) // len(letter.encode())) + ".csv"
    place.put(name, text)
    place.put("station_counts.good.csv", HEAD + NEXT)
    place.take()
    clean(place)
    path, *_ = quarantine_entries(place.site).values()
    path.write_text(HEAD + OTHER)
    assert retry_quarantine(place.site, place.plant, place.settings).rows_kept == 1
    assert OTHER.split(",")[2] in place.facts("station_counts")["station"].to_list()
    assert not quarantine_entries(place.site) and name in place.ask("batches_all")["file"].to_list()


def test_short_names_keep_their_feed_and_their_ending() -> None:
    short = short_name("station_counts." + "é" * 110 + ".csv.gz", "0123456789abcdef")
    assert (
        len(short.encode()) <= 200 and short.startswith("station_counts.é") and short.endswith(".0123456789ab.csv.gz")
    )
    assert short_name("pallets.x.csv", "0" * 64) == "pallets.x.csv"
    assert plain_name("pallets.ä\x07.csv") == "pallets.ä\ufffd.csv"


# times


@pytest.mark.parametrize("word", ["0001-01-01T00:00:00Z", "1970-01-01T00:00:03Z", "1969-12-31T23:59:59+01:00"])
def test_a_time_of_a_clock_without_power_is_refused(place: Place, word: str) -> None:
    place.put("station_counts.x.csv", HEAD + ROW + NEXT.replace("2026-03-02T09:01:00+01:00", word))
    assert place.take().rows_kept == 1
    assert reasons(place) == [(3, "long_ago")]


@pytest.mark.parametrize(
    "word",
    ["0001-01-01T00:00:00+01:00", "0001-01-01", "9999-12-31T23:59:59-01:00", "9999-12-31", "12026-03-02T09:00:00Z"],
)
def test_a_time_of_a_year_that_is_not_taken_is_told_which_years_are(place: Place, word: str) -> None:
    place.put("station_counts.x.csv", HEAD + ROW + NEXT.replace("2026-03-02T09:01:00+01:00", word))
    place.take()
    row = place.ask("refusals_open", most=10, from_batch=0).row(0, named=True)
    now = place.settings.now().year
    assert row["reason"] == "year_outside" and row["expected"] == f"1971 to {now}"
    assert f"lies outside the years that are taken, 1971 to {now}" in sentence(row)


@pytest.mark.parametrize("word", ["2026-03-32", "2026-13-02T09:00:00Z", "yesterday", "02.03.0001 09:00"])
def test_what_is_no_time_stays_no_time(place: Place, word: str) -> None:
    place.put("station_counts.x.csv", HEAD + ROW + NEXT.replace("2026-03-02T09:01:00+01:00", word))
    place.take()
    assert reasons(place) == [(3, "not_a_time")]


def test_a_pallet_of_which_only_the_label_time_is_known_is_told_what_to_give(place: Place) -> None:
    head, at = "pallet,line,item,packed_from,packed_to,units,state\n", "2026-03-02T09:00:00+01:00"
    place.put("pallets.a.csv", f"{head}P-1,K1,J370,,{at},2000,packed\nP-2,K1,J370,{at},{at},2000,packed\n")
    place.put("pallets.b.csv", f"pallet,line,item,packed_to,units,state\nP-3,K1,J370,{at},2000,packed\n")
    place.put("pallets.c.csv", f"{head}P-4,,J370,{at},{at},2000,packed\n")
    place.take()
    rows = place.ask("refusals_open", most=10, from_batch=0)
    said = {row["file"]: sentence(row) for row in rows.iter_rows(named=True)}
    what = "give that moment as packed_from and as packed_to"
    assert {file: what in text for file, text in said.items()} == {
        "pallets.a.csv": True,
        "pallets.b.csv": True,
        "pallets.c.csv": False,
    }
    assert place.facts("pallets")["pallet"].to_list() == ["P-2"]


# the last net


@pytest.mark.parametrize("where", ["parse_file", "sort_rows", "commit"])
@pytest.mark.parametrize("error", [KeyError("secret"), MemoryError(), RecursionError("deep"), BaseException("a panic")])
def test_a_fault_of_ours_costs_one_file_and_is_said_to_be_ours(
    place: Place, monkeypatch: pytest.MonkeyPatch, where: str, error: BaseException
) -> None:
    real: Callable[..., Any] = getattr(intake_run, where)

    def fails(*args: Any) -> Any:
        if any("K1-mouth" in str(_texts(arg)) for arg in args):
            raise error
        return real(*args)

    for name, row in (("a", ROW), ("b", OTHER.replace("K1-side-b", "K1-mouth")), ("c", OTHER)):
        place.put(f"station_counts.{name}.csv", HEAD + row)
    with monkeypatch.context() as patch:
        patch.setattr(intake_run, where, fails)
        report = place.take()
    assert (report.rows_kept, report.files, report.files_refused) == (2, 3, 1) and report.needs_a_person
    (said,) = report.messages
    assert "station_counts.b.csv" in said and type(error).__name__ in said and "fault of this program" in said
    assert place.facts("station_counts").height == 2
    clean(place)
    assert retry_quarantine(place.site, place.plant, place.settings).rows_kept == 1  # when the fault is mended


def _texts(arg: Any) -> Any:
    """What stands in the tables that are handed over."""
    if hasattr(arg, "kept"):
        return [frame["station"].to_list() for frame in arg.kept.values() if "station" in frame.columns]
    if isinstance(arg, list):
        return [each[1].table.to_pylist() for each in arg if isinstance(each, tuple) and hasattr(each[1], "table")]
    return arg if isinstance(arg, bytes) else ""


def test_being_stopped_is_no_fault_of_a_file(place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(*_: Any) -> Any:
        raise KeyboardInterrupt

    place.put("station_counts.a.csv", HEAD + ROW)
    with monkeypatch.context() as patch:
        patch.setattr(intake_run, "commit", stopped)
        with pytest.raises(KeyboardInterrupt):
            place.take()
    assert place.take().rows_kept == 1


def test_a_file_that_its_writer_takes_back_while_the_inbox_is_listed_stops_nothing(
    place: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    place.put("station_counts.a.csv", HEAD + ROW)
    gone = place.put("station_counts.b.csv", HEAD + NEXT)
    real = Path.iterdir

    def listed(folder: Path) -> Any:
        found = list(real(folder))
        if folder == place.site.inbox:
            gone.unlink(missing_ok=True)
        return iter(found)

    monkeypatch.setattr(Path, "iterdir", listed)
    assert place.take().rows_kept == 1


# bounds


def test_more_lines_than_memory_allows_are_refused_while_they_are_unpacked(tmp_path: Path) -> None:
    place = Place(tmp_path / "site", settings=Settings(fixed_now=NOW, most_lines=1000))
    ends = b"\n" * 2_000
    place.put("station_counts.a.csv.gz", gzip.compress(HEAD.encode() + ends))
    place.put("station_counts.b.csv", HEAD.encode() + ends.replace(b"\n", b"\r"))
    place.put("station_counts.c.jsonl", ends + b"{}")
    place.put("station_counts.d.parquet", parquet(**{name: [value] * 1001 for name, value in _PLAIN.items()}))
    place.put("station_counts.e.csv", HEAD + ROW * 999)
    report = place.take()
    assert report.rows_kept == 999
    assert [(file[15], reason) for file, _, _, reason in place.refusals()] == [(name, "too_large") for name in "abcd"]


_PLAIN = {
    "window_start": datetime(2026, 3, 2, 8, tzinfo=UTC),
    "line": "K1",
    "station": "K1-side-a",
    "inspected": 12,
    "rejected": 1,
}


def test_a_great_file_is_read_alone_and_taken_in_like_any_other(place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(intake_run, "_ALONE_BYTES", 2000)
    monkeypatch.setattr(intake_run, "_ALONE_LINES", 30)
    rows = [ROW.replace("09:00", f"{9 + n // 60:02d}:{n % 60:02d}") for n in range(300)]
    place.put("station_counts.a.csv", HEAD + rows[0])
    place.put("station_counts.b.csv", HEAD + "".join(rows[:100]))
    place.put("station_counts.c.csv.gz", gzip.compress((HEAD + "".join(rows[90:200])).encode()))
    place.put("station_counts.d.csv", HEAD + "".join(rows[200:220]))
    place.put("station_counts.e.csv", (HEAD + "".join(rows[220:])).replace("K1-side-a", "K9"))
    report = place.take()
    assert (report.files, report.rows_refused) == (5, 80) and place.facts("station_counts").height == 220
    clean(place)


def test_a_great_file_that_changes_while_it_is_read_is_archived_as_it_was(
    place: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(intake_run, "_ALONE_BYTES", 10)
    path, real = place.put("station_counts.a.csv", HEAD + ROW), intake_run.commit

    def another(*args: Any) -> Any:
        if path.read_text() == HEAD + ROW:
            other = place.put(".new", HEAD + NEXT + OTHER)
            other.rename(path)
        return real(*args)

    monkeypatch.setattr(intake_run, "commit", another)
    place.take()
    archived = [p.read_text() for p in place.site.archive.rglob("station_counts.a*.csv")]
    place.take()
    assert archived == [HEAD + ROW] and place.facts("station_counts").height == 3


def test_so_many_wrong_rows_set_the_file_aside_whole_and_no_other(
    place: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    for module in ("raw", "validate", "read_csv"):
        monkeypatch.setattr(f"pipelines.intake.{module}.MOST_WRONG", 50)
    place.put("station_counts.a.csv", HEAD + ROW.replace("K1,", "K9,", 1) * 51)
    place.put("station_counts.b.csv", HEAD + ROW.replace("K1,", "K9,", 1) * 50)
    place.put("station_counts.c.csv", HEAD + "x\n" * 60)
    place.put("station_counts.d.csv", HEAD + ROW)
    report = place.take()
    assert (report.rows_kept, report.rows_refused, report.files_refused) == (1, 50, 2)
    assert [file for file, _, _, reason in place.refusals() if reason == "too_many_wrong"] == [
        "station_counts.a.csv",
        "station_counts.c.csv",
    ]


def test_different_texts_are_bounded(place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipelines.intake.raw.MOST_WORDS", 100)
    monkeypatch.setattr("pipelines.intake.read_csv._GREAT", 10)
    lines = "".join(ROW.replace(",11,", f",{n},") for n in range(120))
    place.put("station_counts.a.csv", HEAD + lines)
    place.put("station_counts.b.csv", HEAD + "\xff".encode("latin-1").decode("latin-1") + lines)
    place.put("station_counts.c.csv", HEAD + ROW * 200)
    assert place.take().rows_kept == 200
    assert [(file[15], reason) for file, _, _, reason in place.refusals()] == [("a", "too_large"), ("b", "too_large")]
