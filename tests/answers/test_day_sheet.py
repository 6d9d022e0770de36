"""A day's sheet where works are odd, a day so far, and a day beside another."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime

import pytest

from pipelines.answers.day import answer_day
from pipelines.answers.day_compared import LAST_RUN, answer_compared
from pipelines.answers.day_sheet import sheet_of, still_open
from pipelines.answers.day_so_far import answer_day_sheet, sheet_so_far
from pipelines.answers.pareto import answer_pareto
from pipelines.answers.yields.answer import answer_yield
from pipelines.clock import Span
from pipelines.errors import WrongUse
from pipelines.jobs.days import close_day
from pipelines.measures.yields.change import against, margin_of, noise
from pipelines.measures.yields.together import together
from pipelines.reports.day.report import pages_of
from pipelines.reports.day.sheet import sheet_page
from pipelines.reports.day.sheet_tables import lines_sheet, open_signals_sheet
from pipelines.reports.frame.page import page_html
from tests.conftest import HEAD, Place
from tests.measures.signals.test_acts import of_furnace
from tests.reports.test_signal_words import signal

DAY = date(2026, 3, 10)
NOON = datetime(2026, 3, 10, 13, 20, tzinfo=UTC)


@pytest.fixture
def hour_of_one_line(place: Place) -> Place:
    """A works of which one station of one line sent one hour, and no other feed anything."""
    rows = "".join(f"2026-03-10T09:{m:02d}:00Z,K1,K1-side-a,11,60,50,1\n" for m in range(60))
    place.put("station_counts.K1.csv", HEAD + rows)
    place.take()
    return place


def test_what_no_feed_told_is_not_known_and_a_line_that_stood_is_no_zero(hour_of_one_line: Place) -> None:
    place, plant = hour_of_one_line, hour_of_one_line.plant
    with place.opened.ledger.reading() as reader:
        day = answer_day(reader, plant, DAY)
    sheet = sheet_of(plant, day)
    lines = {line.line: line for line in sheet.lines}
    assert (lines["K1"].ware, lines["K1"].rejected) == (3000, 60) and lines["K3"].ware is None
    assert lines["K3"].rejected_share is None and lines["K1"].packed is None and lines["K1"].pack_to_melt is None
    assert all(furnace.pack_to_melt is None and furnace.why for furnace in sheet.furnaces) and sheet.together is None
    assert (sheet.ware, sheet.rejected) == (3000, 60) and lines["K1"].change is None
    assert "K3: no counts came." in sheet.doubts and "K1: packed is not known, no pallet came." in sheet.doubts
    pages = pages_of(plant, day)
    text = page_html(pages[f"day/{DAY}.html"], "A works")
    assert "no counts came" in text and "not known" in text and "0.0 %" not in text.split("<main")[1].split("</main")[0]
    for page in pages.values():
        assert page_html(page, "A works").endswith("</html>")


def test_a_line_without_a_past_is_not_as_usual(hour_of_one_line: Place) -> None:
    """No signal of a line that nothing is known of before is no sign that all is well."""
    place, plant = hour_of_one_line, hour_of_one_line.plant
    with place.opened.ledger.reading() as reader:
        sheets = [sheet_of(plant, answer_day(reader, plant, DAY)), sheet_so_far(reader, plant, DAY, NOON)]
    for sheet in sheets:
        row = next(row for row in lines_sheet(plant, sheet).rows if row["line"] == "K1")
        assert row["mark"] == "no past to compare with"


def test_a_sentence_of_the_sheet_has_at_most_twenty_words(day_taken: Place, hour_of_one_line: Place) -> None:
    for place in (day_taken, hour_of_one_line):
        with place.opened.ledger.reading() as reader:
            for sheet in (
                sheet_of(place.plant, answer_day(reader, place.plant, DAY)),
                sheet_so_far(reader, place.plant, DAY, NOON),
            ):
                long = [text for text in sheet.doubts if len(text.split()) > 20]
                assert not long


def test_the_sheet_says_what_the_yield_says(day_taken: Place) -> None:
    plant = day_taken.plant
    with day_taken.opened.ledger.reading() as reader:
        sheet = sheet_of(plant, answer_day(reader, plant, DAY))
        whole = answer_yield(reader, plant, DAY)
    for mine, theirs in zip(sheet.lines, whole.lines, strict=True):
        assert (mine.line, mine.ware) == (theirs.line, theirs.inspected)
        assert mine.pack_to_melt == pytest.approx(theirs.pack_to_melt)
        assert mine.efficiency == pytest.approx(theirs.efficiency)
        assert mine.rejected == theirs.rejected - theirs.rejected_apart
    kg = [loss.kg for loss in sheet.losses]
    assert kg == sorted(kg, reverse=True) and len({(loss.stage, loss.cause) for loss in sheet.losses}) == len(kg)
    shifts = [shift for shift in sheet.shifts if shift.line == "K1"]
    assert [shift.shift for shift in shifts] == [shift.name for shift in plant.clock.shifts_of(DAY)]


def test_a_furnaces_lines_are_one_signal_of_the_sheet_with_what_all_lose(day_taken: Place) -> None:
    """51 and 37 lost an hour on two lines of one furnace and 21 at a section: two things to act on, 109 an hour."""
    plant = day_taken.plant
    section = signal(id="K3-SUN", line="K3", furnace="F2", defect="SUN", scope="section", lost_per_hour=21)
    signals = still_open([section, of_furnace("K2", 37), of_furnace("K1", 51)])
    assert [each.id for each in signals] == ["K1-STN", "K2-STN", "K3-SUN"]
    with day_taken.opened.ledger.reading() as reader:
        whole = sheet_of(plant, answer_day(reader, plant, DAY))
    sheet = whole.model_copy(update={"signals": tuple(signals)})
    rows = open_signals_sheet(plant, sheet).rows
    assert [(row["id"], row["lost"], row["calls"]) for row in rows] == [("K1-STN", 88, 80), ("K3-SUN", 21, 40)]
    figure = next(each for each in sheet_page(plant, sheet).figures if each.under and "lost an hour" in each.under)
    assert (figure.value, figure.under) == ("2", "109 containers lost an hour")


def test_an_open_day_is_counted_until_now_and_never_beside_a_whole_day(day_taken: Place) -> None:
    plant = day_taken.plant
    start = plant.clock.day(DAY).start
    with day_taken.opened.ledger.reading() as reader:
        sheet = answer_day_sheet(reader, plant, DAY, NOON)
        pareto = answer_pareto(reader, plant, "K1", Span(start, NOON))
        nothing = sheet_so_far(reader, plant, date(2026, 3, 20), datetime(2026, 3, 20, 12, tzinfo=UTC))
    assert not sheet.closed and sheet.as_of == NOON and sheet.losses == () and sheet.furnaces == ()
    line = sheet.lines[0]
    assert (line.ware, line.rejected, line.until) == (pareto.ware, pareto.rejected_for_faults, NOON)
    assert line.pack_to_melt is None and line.efficiency is None and line.why == "told at the close"
    assert {shift.shift for shift in sheet.shifts} == {"06:00", "14:00"}
    assert all(each.change is None or each.change.margin is None for each in sheet.lines)
    assert nothing.as_of is None and nothing.ware == 0 and all(each.ware is None for each in nothing.lines)


def test_a_day_is_beside_another_only_where_both_are_closed(taken: Callable[[], Place]) -> None:
    place = taken()
    plant = place.plant
    with place.opened.ledger.reading() as reader:
        assert "not closed" in answer_compared(reader, plant, DAY, "2026-03-09").why
    close_day(place.opened, DAY)
    with place.opened.ledger.reading() as reader:
        lines = answer_compared(reader, plant, DAY, "K4", "K3")
        run = answer_compared(reader, plant, DAY, LAST_RUN, "K3")
        whole = answer_yield(reader, plant, DAY)
        for other, line in (("K4", ""), ("K3", "K3"), (LAST_RUN, ""), (f"{DAY}", ""), ("2026-13-40", ""), ("K9", "K3")):
            with pytest.raises(WrongUse):
                answer_compared(reader, plant, DAY, other, line)
    efficiency = next(each for each in lines.figures if each.name == "efficiency")
    mine, theirs = (next(y for y in whole.lines if y.line == line) for line in ("K3", "K4"))
    assert efficiency.value == pytest.approx(mine.efficiency) and efficiency.other == pytest.approx(theirs.efficiency)
    assert efficiency.difference == pytest.approx((mine.efficiency or 0) - (theirs.efficiency or 0))
    assert efficiency.margin is None and not efficiency.beyond, "one closed day tells no spread"
    assert lines.defects and run.figures == () and "no earlier run" in run.why


def test_the_margin_of_a_day_against_others_is_that_of_a_further_day() -> None:
    """t(0.975; 3) = 3.182446 (tables); s of 1, 2, 3, 4 is 1.290994; a day against their mean: t s sqrt(1 + 1/4)."""
    days = [1.0, 2.0, 3.0, 4.0]
    assert noise(days) == pytest.approx(3.182446 * 1.290994, rel=1e-6) and noise(days[:3]) is None
    _, month = against(5.0, [], days)
    assert month is not None and month.high is not None
    assert margin_of(noise(days), 4) == pytest.approx(month.high - month.mean)
    assert margin_of(noise(days), 1) == pytest.approx(2**0.5 * 3.182446 * 1.290994, rel=1e-6)
    assert margin_of(3.0, 1, 4.0) == pytest.approx(5.0) and margin_of(None, 4) is None


def test_furnaces_together_are_weighed_by_their_mass() -> None:
    assert together([(100.0, 0.9, 0.88, 0.92), (300.0, 0.94, 0.93, 0.95)]) == pytest.approx(
        (0.93, 0.93 - 13**0.5 / 400, 0.93 + 13**0.5 / 400)
    )
    assert together([]) is None
