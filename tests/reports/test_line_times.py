"""The page of a line in time says what its picture shows: both clocks in one order, sums of what is chosen."""

from __future__ import annotations

from datetime import timedelta

from pipelines.clock import Span
from pipelines.reports.line_times import happened_sheet, line_picture, window_words
from tests.answers.test_line_times import HOUR, MINUTE, START, WINDOW, line, times
from tests.conftest import Place

__all__ = ["line"]  # the works of an hour that the answer's tests make


def test_what_happened_stands_in_the_order_of_one_clock(line: Place) -> None:
    answer = times(line)
    lehr = timedelta(minutes=answer.lehr.minutes)
    rows = happened_sheet(line.plant, answer).rows
    shown = [str(row["cold_end"]) for row in rows]
    assert shown == sorted(shown, reverse=True) and len(shown) == 4
    (fitted,) = [row for row in rows if row["kind"] == "Parts fitted"]
    made = line.plant.clock.local(START - HOUR)
    assert fitted["formed"] == f"{made:%H:%M}" and fitted["cold_end"] == f"{made + lehr:%H:%M}"
    assert fitted["what"] == "mould 36 in 4A, mould 37 in 4B", "every part by its name"


def test_a_missed_challenge_is_strong_and_named(line: Place) -> None:
    sheet = happened_sheet(line.plant, times(line))
    strong = [sheet.rows[number]["what"] for number in sheet.strong]
    assert strong == ["caught: K1-foot 10 of 10, K1-side-a 9 of 10"]


def test_the_figures_of_a_window_are_of_that_window(line: Place) -> None:
    chosen = Span(START, START + 30 * MINUTE)
    figures = window_words(line.plant, times(line, defect="STN"), chosen)
    values = [figure for figure, _ in figures]
    assert values[1:] == ["17", "3", "1 500"], "12 of the mouth's 24 and 5; 3 stones; 30 minutes of 50 containers"
    assert "nothing to compare with" in figures[1][1]


def test_the_picture_says_in_words_what_it_shows(line: Place) -> None:
    svg, words = line_picture(line.plant, times(line), None)
    assert "Calls: 149, nothing to compare with" in words
    assert "1 of 20 not caught" in svg and "2 parts fitted" in svg and "stop goes on, section 3" in svg
    assert svg.count('class="still"') == 2, "once for a desk, once for a phone"
    assert svg.count("no ware") == 1, "the words where there is room for them"
    assert svg.count('class="silent"') == 2, "and twenty minutes without counts are something else"
    assert WINDOW.seconds == 6 * 3600


def test_a_live_picture_says_that_nothing_came_since_the_newest_count(line: Place) -> None:
    """Counts that stopped three hours ago leave three hours of which the picture claims nothing."""
    svg, _ = line_picture(line.plant, times(line), WINDOW.end + 3 * HOUR)
    assert svg.count('class="silent"') == 4, "twenty minutes and three hours, for a desk and for a phone"
    assert svg.count(">no counts<") >= 2, "the three hours are named on both"
    assert "now 18:00" in svg, "14:00 of UTC and three hours, by the works' clock"
