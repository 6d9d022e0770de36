"""What runs of tests.fuzz.site have found: days on which a works stood, ledgers made again after hours were rolled or
works.toml was edited.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from pipelines.intake.retry import retry_quarantine
from pipelines.jobs.check import check_site
from pipelines.jobs.days import close_day, days_to_close
from pipelines.jobs.from_archive import rebuild_from_archive
from pipelines.jobs.repair import GIVE_UP, refused_rows, repair
from pipelines.jobs.rollup import roll_up
from tests.conftest import HEAD, Place, one_furnace
from tests.fuzz.model import CLOCK, NEW_LINE


def test_a_day_on_which_the_works_stood_holds_up_neither_closes_nor_roll_ups(new_site: Callable[..., Place]) -> None:
    """Found by tests.fuzz.site: the days behind a day without counts were never closed, and never rolled."""
    place = new_site("stood", lambda place: None, one_furnace(lines=("K1",)))
    row = "2026-01-0{}T10:00:00Z,K1,K1-side-a,1,60,10,1\n"
    place.put("station_counts.a.csv", HEAD + row.format(5) + row.format(7))
    place.take()
    first, last = date(2026, 1, 5), date(2026, 1, 7)
    assert days_to_close(place.opened) == [first, last]
    for day in (first, last):
        close_day(place.opened, day)
    assert days_to_close(place.opened) == []
    rolled = roll_up(place.opened, date(2026, 1, 8))
    assert [this_rolled.day for this_rolled in rolled if this_rolled.before] == [first, last]
    assert place.facts("station_counts")["window_s"].to_list() == [3600, 3600]


def test_a_day_on_which_only_a_later_station_counted_is_no_day_to_close(new_site: Callable[..., Place]) -> None:
    place = new_site("foot", lambda place: None, one_furnace(lines=("K1",)))
    row = "2026-01-0{}T10:00:00Z,K1,{},1,60,10,1\n"
    place.put("station_counts.a.csv", HEAD + row.format(5, "K1-foot") + row.format(6, "K1-side-b"))
    place.take()
    assert days_to_close(place.opened) == [date(2026, 1, 6)]


def test_made_again_after_hours_were_rolled_the_quarantine_has_the_new_numbers(
    new_site: Callable[..., Place],
) -> None:
    """Found by tests.fuzz.site: rolled hours have batch numbers, a ledger made again has none of them, and the
    quarantine kept the old ones.
    """
    place = new_site("numbers", lambda place: None, one_furnace(lines=("K1",)))
    place.put("station_counts.a.csv", HEAD + "2026-01-05T10:00:00Z,K1,K1-side-a,1,60,10,1\n")
    place.take()
    close_day(place.opened, date(2026, 1, 5))
    assert roll_up(place.opened, date(2026, 1, 6))
    place.put("station_counts.b.csv", HEAD + "2026-01-07T10:00:00Z,K9,K1-side-a,1,60,10,1\n")
    place.take()
    (waits,) = place.site.quarantine.iterdir()
    waits.write_text(waits.read_text().replace("K9,", "K1,", 1))
    rebuild_from_archive(place.opened)
    assert [path.name for path in place.site.quarantine.iterdir()] == ["b000002.station_counts.rows.csv"]
    assert retry_quarantine(place.site, place.plant, place.settings).rows_kept == 1, "what was mended is kept"
    assert not list(place.site.quarantine.iterdir()) and check_site(place.opened, rows=True).findings == []


def test_check_knows_that_a_ledger_made_again_was_read_by_the_works_toml_of_then(
    new_site: Callable[..., Place],
) -> None:
    """Found by tests.fuzz.site: rows that a later works.toml reads were told as not in their file."""
    place = new_site("edited", lambda place: None, one_furnace(lines=("K1",)))
    place.put("station_counts.a.csv", HEAD + "2026-01-05T10:00:00Z,K7,K7-side,1,60,10,1\n")
    place.take()
    text = place.site.works_toml.read_text(encoding="utf-8")
    place.site.works_toml.write_text(text + NEW_LINE, encoding="utf-8")
    rebuild_from_archive(place.opened)
    assert place.facts("station_counts").height == 1 and not list(place.site.quarantine.iterdir())
    assert check_site(place.opened, rows=True).findings == []


def test_a_row_that_was_given_up_stays_so_in_a_ledger_made_again(new_site: Callable[..., Place]) -> None:
    """Found by tests.fuzz.site, whose model had forgotten it."""
    place = new_site("given-up", lambda place: None, one_furnace(lines=("K1",)))
    row = "2026-01-05T10:0{}:00Z,K9,K1-side-a,1,60,10,1\n"
    place.put("station_counts.a.csv", HEAD + row.format(0) + row.format(1))
    place.take()
    repair(place.opened, 1, {3: {GIVE_UP: "x"}})
    rebuild_from_archive(place.opened)
    pair = refused_rows(place.opened, 1)
    assert pair is not None and pair[1]["refused_line"].to_list() == ["2"]
    repair(place.opened, 1, {2: {"line": "K1"}})
    assert place.facts("station_counts")["window_start"].dt.minute().to_list() == [0]
    assert not list(place.site.quarantine.iterdir()) and check_site(place.opened, rows=True).findings == []


def test_two_works_files_of_one_moment_are_both_asked_by_what_a_file_was_read(new_site: Callable[..., Place]) -> None:
    """Found by tests.fuzz.site, seed 3042: works.toml edited before the clock had moved, and `check` read the file by
    the edited one alone.
    """
    works = one_furnace(lines=("K1",))
    place = new_site("one-moment", lambda place: None, works)
    place.put("station_counts.a.csv", HEAD + "2026-01-05T10:10:00Z,K1,K1-foot,1,60,10,1\n")
    place.take()
    place.site.works_toml.write_text(works + CLOCK, encoding="utf-8")
    again = Place.at(place.site.root, place.settings)
    again.take()
    assert check_site(again.opened, rows=True).findings == []
