"""What a [[mapping]] can say of the shape of an export: kinds of row, sums, cells left empty, parts of a time from
several places, windows by their end; and what it must not say.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from pipelines.errors import PlantError
from pipelines.intake.foreign.fits import mapping_faults
from pipelines.plant.mapping import Mapping
from pipelines.plant.works import read_plant
from schemas.feeds import ALL_FEEDS
from tests.conftest import WORKS, Place

HOUR = """
[[mapping]]
files = "hour*"
feed = "station_counts"
separator = ";"
decimal = ","
timezone = "Europe/Warsaw"
time_format = "%d.%m.%Y %H:%M"
fill_down = ["Zeit"]
from_name = "hour_(?P<line>K\\\\d)"
columns = { "Zeit" = "window_start" }
wide = [{ columns = "F*", name = "mould" }]
pivot = { by = "Art", into = { "geprüft" = "inspected", "aus" = "rejected" } }
constants = { station = "K1-foot", window_s = 3600 }
"""
KINDS = (
    "Zeit;Art;F11;F12\n02.03.2026 09:00;geprüft;1012;1009\n;aus;9;2\n;Temperatur;21;22\n"
    "02.03.2026 10:00;aus;0;\n;geprüft;1011;\n"
)


@pytest.fixture
def mapped(tmp_path: Path) -> Callable[[str], Place]:
    return lambda text: Place(tmp_path / "site", WORKS + text)


def counts(place: Place) -> list[tuple[object, ...]]:
    rows = place.facts("station_counts").select("window_start", "line", "mould", "inspected", "rejected").rows()
    return sorted((at.strftime("%H:%M"), *rest) for at, *rest in rows)


def note(place: Place) -> str:
    with place.opened.ledger.reading() as reader:
        return str(reader._con.table("batches").pl()["note"][0])


def test_kinds_of_row_and_a_column_a_mould_become_rows(mapped: Callable[[str], Place]) -> None:
    place = mapped(HOUR)
    place.put("hour_K1.txt", KINDS)
    report = place.take()
    assert (report.rows_refused, report.messages) == (0, [])
    assert counts(place) == [
        ("08:00", "K1", "11", 1012, 9),
        ("08:00", "K1", "12", 1009, 2),
        ("09:00", "K1", "11", 1011, 0),
    ]
    assert "2 rows left out, of kinds that `pivot` does not name" in note(place)


def test_a_kind_that_stands_twice_is_not_lost_but_asked_about(mapped: Callable[[str], Place]) -> None:
    place = mapped(HOUR)
    place.put("hour_K1.txt", "Zeit;Art;F11\n02.03.2026 09:00;geprüft;100\n;aus;1\n;aus;2\n")
    report = place.take()
    assert (report.rows_kept, report.rows_refused) == (1, 1)
    assert {(column, reason) for _, _, column, reason in place.refusals()} == {("inspected", "missing")}


def test_kinds_of_row_with_one_column_of_cells(mapped: Callable[[str], Place]) -> None:
    place = mapped(
        HOUR.replace('wide = [{ columns = "F*", name = "mould" }]\n', "").replace(
            'rejected" } }', 'rejected" }, value = "Wert" }'
        )
    )
    place.put("hour_K1.txt", "Zeit;Art;Wert\n02.03.2026 09:00;geprüft;100\n;aus;1\n")
    assert place.take().rows_kept == 1
    assert counts(place) == [("08:00", "K1", None, 100, 1)]


SUMS = """
[[mapping]]
files = "sum*"
feed = "station_counts"
separator = ";"
thousands = "."
decimal = ","
timezone = "Europe/Warsaw"
time_format = "%d.%m.%Y %H:%M"
leave_lines = ["Total*"]
columns = { "at" = "window_start" }
sums = { inspected = ["GOOD", "BAD"], rejected = ["BAD", "LOST"] }
window = "end"
constants = { line = "K1", station = "K1-foot", window_s = 3600 }
"""


def test_sums_of_headings_and_windows_by_their_end(mapped: Callable[[str], Place]) -> None:
    place = mapped(SUMS)
    place.put("sum.txt", "at;GOOD;BAD;LOST\n02.03.2026 10:00;1.000;7;2\n;Total;1.000;7\n02.03.2026 11:00;990;8;\n")
    report = place.take()
    assert (report.rows_kept, report.rows_refused) == (1, 1)
    assert counts(place) == [("08:00", "K1", None, 1007, 9)]
    assert place.refusals() == [("sum.txt", 4, "rejected", "not_a_count")]


def test_a_window_of_which_only_the_end_is_known_is_refused(mapped: Callable[[str], Place]) -> None:
    place = mapped(SUMS.replace(", window_s = 3600", "").replace('{ "at" =', '{ "len" = "window_s", "at" ='))
    place.put("sum.txt", "at;len;GOOD;BAD;LOST\n02.03.2026 10:00;long;1;0;0\n02.03.2026 11:00;900;1;0;0\n")
    assert place.take().rows_kept == 1
    assert [at for at, *_ in counts(place)] == ["09:45"]
    assert {(column, reason) for _, _, column, reason in place.refusals()} == {
        ("window_s", "not_a_count"),
        ("window_start", "not_a_time"),
    }


def test_a_day_in_the_name_joins_a_time_of_day(mapped: Callable[[str], Place]) -> None:
    place = mapped(
        SUMS.replace("%d.%m.%Y %H:%M", "%Y%m%d %H:%M").replace(
            'window = "end"', 'from_name = "sum_(?P<window_start>\\\\d{8})"'
        )
    )
    place.put("sum_20260302.txt", "at;GOOD;BAD;LOST\n09:00;10;1;0\n")
    assert place.take().rows_refused == 0
    assert place.facts("station_counts")["window_start"].to_list() == [datetime(2026, 3, 2, 8, tzinfo=UTC)]


TWICE = (
    (
        {"columns": {"a": "mould"}, "constants": {"mould": "11"}},
        "mould is filled twice, by `columns` and by `constants`",
    ),
    ({"columns": {"a": "inspected"}, "sums": {"inspected": ("b", "c")}}, "by `columns` and by `sums`"),
    ({"columns": {"a": "inspected", "b": "inspected"}}, "inspected is filled twice, by two headings of `columns`"),
    ({"columns": {"a": "line"}, "from_name": "(?P<line>x)"}, "line is filled twice, by `columns` and by `from_name`"),
    ({"from_lines": {"line": "(?P<value>x)"}, "from_name": "(?P<line>x)"}, "by `from_name` and by `from_lines`"),
    (
        {"wide": [{"columns": "a", "name": "mould", "value": "inspected"}], "columns": {"b": "mould"}},
        "mould is filled twice",
    ),
    ({"wide": [{"columns": "a", "name": "mould"}]}, "`wide` does not say which column gets its cells"),
    ({"pivot": {"by": "a", "into": {"x": "inspected"}}}, "must have its cells from one place"),
    ({"sums": {"good": ("b", "c")}}, "good is no column of station_counts"),
)


@pytest.mark.parametrize(("keys", "says"), TWICE)
def test_two_ways_to_fill_one_column_are_a_named_mistake(keys: dict[str, object], says: str) -> None:
    mapping = Mapping.model_validate({"files": "x", "feed": "station_counts", **keys})
    assert any(says in fault for fault in mapping_faults(ALL_FEEDS["station_counts"], mapping))


def test_parts_of_a_time_from_several_places_are_no_mistake() -> None:
    keys = {"columns": {"day": "window_start", "at": "window_start"}, "from_name": "(?P<window_start>x)"}
    mapping = Mapping.model_validate({"files": "x", "feed": "station_counts", **keys})
    assert mapping_faults(ALL_FEEDS["station_counts"], mapping) == []
    assert mapping_faults(
        ALL_FEEDS["pallets"], mapping.model_copy(update={"window": "end", "columns": {}, "from_name": None})
    )


@pytest.mark.parametrize(
    "line",
    [
        'range = "6B"',
        'range = "F6:B9"',
        'from_lines = { line = "Linie" }',
        'sums = { inspected = ["a"] }',
        "pivot = {}",
    ],
)
def test_a_key_that_cannot_be_is_named_with_its_place(line: str) -> None:
    with pytest.raises(PlantError, match=r"\[\[mapping\]\] number 1, " + line.split(" ")[0]):
        read_plant(f'{WORKS}\n[[mapping]]\nfiles = "x"\nfeed = "pallets"\n{line}\n')
