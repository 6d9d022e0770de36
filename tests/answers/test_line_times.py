"""A line in time: every count in its bin, whatever its station's window; every log on its own clock."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from pipelines.answers.line_times import LineTimes, OnlyOf, answer_line_times, bin_of
from pipelines.clock import Span
from pipelines.errors import WrongUse
from tests.conftest import Place

START = datetime(2026, 3, 2, 8, tzinfo=UTC)
HOUR, MINUTE = timedelta(hours=1), timedelta(minutes=1)
WINDOW = Span(START, START + 6 * HOUR)


def stamp(moment: datetime) -> str:
    return moment.strftime("%Y-%m-%dT%H:%M:%SZ")


@pytest.fixture(scope="module")
def line(tmp_path_factory: pytest.TempPathFactory) -> Place:
    """K1 over six hours: the first station by the minute with twenty minutes without ware and twenty silent ones, the
    mouth by the hour; a challenge that missed one, two moulds fitted together, a stop that goes on.
    """
    place = Place(tmp_path_factory.mktemp("times") / "site")
    rows = ""
    for n in range(360):
        if not 200 <= n < 220:
            inspected = 0 if 100 <= n < 120 else 50
            rows += f"{stamp(START + n * MINUTE)},K1,K1-side-a,11,60,{inspected},0\n"
    rows += "".join(f"{stamp(START + n * HOUR)},K1,K1-mouth,11,3600,2000,24\n" for n in range(6))
    place.put("station_counts.a.csv", "window_start,line,station,mould,window_s,inspected,rejected\n" + rows)
    calls = f"{stamp(START + 7 * MINUTE)},K1,K1-side-a,11,STN,60,3\n"
    calls += f"{stamp(START + 9 * MINUTE)},K1,K1-side-a,11,BLI,60,2\n"
    calls += "".join(f"{stamp(START + n * HOUR)},K1,K1-mouth,11,CHF,3600,24\n" for n in range(6))
    place.put("reject_counts.a.csv", "window_start,line,station,mould,defect,window_s,rejected\n" + calls)
    place.put(
        "challenge_checks.a.csv",
        "checked_at,line,station,defect,passes,caught,by\n"
        f"{stamp(START + HOUR)},K1,K1-side-a,BSW,10,9,shift\n{stamp(START + HOUR)},K1,K1-foot,CHE,10,10,shift\n"
        f"{stamp(START + 4 * HOUR)},K1,K1-foot,CHE,10,10,shift\n",
    )
    fitted = START - HOUR
    place.put(
        "mould_log.a.csv",
        "fitted_at,line,section,gob,part,number,item\n"
        f"{stamp(fitted)},K1,4,A,mould,36,\n{stamp(fitted + 3 * MINUTE)},K1,4,B,mould,37,\n",
    )
    place.put(
        "stoppages.a.csv", f"line,section,stopped_at,restarted_at,cause\nK1,3,{stamp(START + 2 * HOUR)},,swabbing\n"
    )
    place.take()
    return place


def times(place: Place, span: Span = WINDOW, defect: str | None = None) -> LineTimes:
    with place.opened.ledger.reading() as reader:
        return answer_line_times(reader, place.plant, "K1", span, defect)


def test_a_bin_is_as_short_as_the_window_allows() -> None:
    assert [bin_of(Span(START, START + n * HOUR)) for n in (1, 6, 12, 48, 168)] == [60, 300, 300, 1800, 7200]


def test_every_call_is_in_its_bin_and_an_hour_is_spread(line: Place) -> None:
    answer = times(line)
    assert answer.calls.step_s == 300 and len(answer.calls.calls) == 72
    assert answer.calls.calls[:3] == pytest.approx([2, 2 + 5, 2]), "24 in an hour are 2 in five minutes"
    assert np.nansum(answer.calls.calls) == pytest.approx(3 + 2 + 6 * 24)
    assert answer.coarse == {"K1-mouth": 60}


def test_one_defect_beside_all(line: Place) -> None:
    answer = times(line, defect="STN")
    assert answer.chosen is not None
    assert np.nansum(answer.chosen.calls) == 3
    assert np.nansum(answer.calls.calls) == pytest.approx(149)


def test_no_ware_and_no_counts_are_two_things(line: Place) -> None:
    answer = times(line)
    assert answer.still == [Span(START + 100 * MINUTE, START + 120 * MINUTE)]
    assert answer.silent == [Span(START + 200 * MINUTE, START + 220 * MINUTE)]


def test_no_past_expects_nothing(line: Place) -> None:
    assert np.isnan(times(line).calls.expected).all()


def test_what_happened_has_its_own_clock(line: Place) -> None:
    happened = {(event.kind, event.at): event for event in times(line).happened}
    missed = happened["challenge", START + HOUR]
    assert missed.bad and missed.cold_end and missed.counted == (19, 20)
    assert set(missed.what) == {"K1-side-a 9 of 10", "K1-foot 10 of 10"}
    assert not happened["challenge", START + 4 * HOUR].bad
    fitted = happened["fitted", START - HOUR]
    assert not fitted.cold_end and fitted.what == ("mould 36 in 4A", "mould 37 in 4B")
    stop = happened["stop", START + 2 * HOUR]
    assert stop.until is None and stop.what == ("3", "swabbing")


def test_wrong_questions_are_sentences(line: Place) -> None:
    with line.opened.ledger.reading() as reader:
        with pytest.raises(WrongUse, match="there is no line 'K9'"):
            answer_line_times(reader, line.plant, "K9", WINDOW)
        with pytest.raises(WrongUse, match="there is no defect 'XXX'"):
            answer_line_times(reader, line.plant, "K1", WINDOW, "XXX")
        with pytest.raises(WrongUse, match="7 days at the most"):
            answer_line_times(reader, line.plant, "K1", Span(START, START + 169 * HOUR))


def test_a_mould_is_compared_with_the_others_of_its_time_while_it_sat_there(place: Place) -> None:
    """Mould 11 sat in the machine for the ware of the first three hours, in which the machine made a call a minute; of
    the sixteen a minute later it can have none.
    """
    taken_out = START + 3 * HOUR - timedelta(minutes=place.plant.lines["K1"].lehr_minutes)
    place.put(
        "mould_log.csv",
        "fitted_at,line,section,gob,part,number,item\n"
        f"{stamp(START - 5 * HOUR)},K1,1,A,mould,11,\n{stamp(START - 5 * HOUR)},K1,1,B,mould,13,\n"
        f"{stamp(taken_out)},K1,1,A,mould,12,\n",
    )
    minutes = [START + n * MINUTE for n in range(360)]
    counts = "".join(f"{stamp(at)},K1,K1-side-a,13,60,50,0\n" for at in minutes)
    place.put("station_counts.csv", "window_start,line,station,mould,window_s,inspected,rejected\n" + counts)
    rows = "".join(
        f"{stamp(at)},K1,K1-side-a,{'11' if n < 180 else '13'},STN,60,{1 if n < 180 else 16}\n"
        for n, at in enumerate(minutes)
    )
    place.put("reject_counts.csv", "window_start,line,station,mould,defect,window_s,rejected\n" + rows)
    place.take()
    with place.opened.ledger.reading() as reader:
        found = answer_line_times(reader, place.plant, "K1", WINDOW, only=OnlyOf(mould="11"))
    assert float(np.nansum(found.calls.calls)) == 180
    assert float(np.nansum(found.calls.expected)) == pytest.approx(180 / 16, rel=0.05)
    late = found.calls.expected[len(found.calls.expected) * 2 // 3 :]
    assert np.nanmax(late) == 0
