"""The first thing on Now: what to act on, or that nothing is known."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from pipelines.answers.lately import Lately, WeighedOutside
from pipelines.answers.now import LineNow, Now
from pipelines.answers.signals import kept_signals, with_notes
from pipelines.clock import Span
from pipelines.jobs.signals import _frame, acknowledge_signal
from pipelines.ledger.marts import keep_hours
from pipelines.measures.pareto.hour_figures import CriticalCount, Pulse, StationLife
from pipelines.measures.trace.trust import FAILED, OVERDUE, Doubt
from pipelines.numbers import chance
from pipelines.plant.works import Plant
from pipelines.reports.acts import acts_part
from pipelines.reports.frame.sheet import written
from pipelines.reports.late import late_items, late_part
from pipelines.reports.lines_now import critical_section
from schemas.answers.laboratory import Temper, TemperBeyond
from schemas.answers.signals import Signal
from tests.conftest import HEAD, Place
from tests.measures.signals.test_acts import of_furnace
from tests.reports.test_signal_words import AT, signal

HOUR = timedelta(hours=1)
NOW = AT + HOUR
BEAT = Pulse(3000, 90, 95, 2, 80.0, 60.0, 100.0, 0.4)


def line(name: str, *signals: Signal, state: str = "alive", **more: Any) -> LineNow:
    station = StationLife(name, f"{name}-foot", NOW, timedelta(), state)
    return LineNow(name, Span(AT, NOW), BEAT, list(signals), [station], **more)


def now(*lines: LineNow, **more: Any) -> Now:
    return Now(NOW + timedelta(minutes=6), NOW, list(lines), (0, 0), **more)


def part(plant: Plant, works: Now) -> dict[str, Any]:
    return dict(acts_part(plant, works).values)


def test_the_largest_loss_is_told_whole(plant: Plant) -> None:
    found = part(plant, now(line("K1", of_furnace("K1", 62)), line("K2", of_furnace("K2", 22))))
    hero = found["hero"]
    assert (hero["lost"], hero["what"], hero["place"]) == ("84", "Stone", "whole furnace F1")
    assert hero["each"] == "K1 62, K2 22" and hero["seen"] == "nobody has seen it yet"
    assert "56 lost; about 126 more are in the lehr." in hero["sum"]
    assert found["others"] == [] and found["rest"] == "" and found["calm"] == ""


def test_more_than_three_are_counted_with_what_they_lose(plant: Plant) -> None:
    many = [line(f"K{n}", signal(id=f"K{n}-STN", line=f"K{n}", lost_per_hour=10.0 * n)) for n in (1, 2, 3, 4)]
    many.append(line("K5", signal(id="K5-STN", line="K5", lost_per_hour=5.5)))
    found = part(plant, now(*many))
    assert [found["hero"]["lost"], *(act["lost"] for act in found["others"])] == ["40", "30", "20"]
    assert found["rest"] == "2 more, 16 an hour"


def test_what_is_critical_stands_before_a_greater_loss(plant: Plant) -> None:
    few = signal(id="K4-BSW", line="K4", defect="BSW", name="bird swing", severity="critical", lost_per_hour=3.4)
    found = part(plant, now(line("K1", of_furnace("K1", 62)), line("K4", few)))
    assert [act["id"] for act in found["critical"]] == ["K4-BSW"] and found["hero"]["id"] == "K1-STN"
    assert found["others"] == []
    alone = part(plant, now(line("K4", few)))
    assert alone["hero"]["id"] == "K4-BSW" and alone["hero"]["critical"] and alone["critical"] == []


def test_without_a_signal_it_says_on_how_many_lines_that_holds(plant: Plant) -> None:
    unjudged = LineNow("K2", Span(AT, NOW), None, [], [])
    said = part(plant, now(line("K1"), unjudged))["calm"]
    assert said == "No signal is open: on 1 of 2 lines nothing is beyond chance."
    assert part(plant, now(unjudged))["calm"].startswith("Not known")


def test_dead_feeds_claim_nothing(plant: Plant) -> None:
    found = part(plant, now(line("K1", of_furnace("K1", 62), state="late")))
    assert "What is open now cannot be told" in found["unknown"] and found["calm"] == ""
    nothing = part(plant, now(line("K1", state="late")))["unknown"]
    assert nothing.endswith("What is open now cannot be told."), "nothing follows that was open then"
    assert "no count has come yet" in part(plant, Now(NOW, None, [line("K1", state="never")], (0, 0)))["unknown"]


def test_what_got_past_is_told_and_marked(plant: Plant) -> None:
    doubt = Doubt("K1", "K1-foot", "BSW", FAILED, AT - HOUR, None, AT, 10, 7)
    overdue = Doubt("K2", "K2-foot", "BSW", OVERDUE, AT - 9 * HOUR, None, None, 0, 0)
    counts = (CriticalCount("BSW", 0, 0.6),)
    works = now(
        line("K1", critical=counts, challenged=AT), line("K2", critical=counts), failed=(doubt,), overdue=(overdue,)
    )
    past = part(plant, works)["past"]
    assert [(each["number"], each["what"]) for each in past] == [("3", "Bird swing, K1-foot")]
    sheet = critical_section(plant, works).sheet
    assert sheet is not None
    assert [(row["BSW"], row["past"], row["challenged"] != "") for row in sheet.rows] == [
        ("0 (0.6)", "◆ 3", True),
        ("0 (0.6)", "not known", True),
    ]
    late = late_part(plant, works)
    assert late is not None
    (sentence, address), *_ = late.values["items"]  # type: ignore[misc]
    assert "overdue at 1 stations (K2-foot)" in sentence and address == "/station/K2-foot"
    assert late_part(plant, now(line("K1"))) is None


def test_what_is_outside_its_limits_or_waits_stands_on_now(plant: Plant) -> None:
    """One line an item, and each leads to the page that has more."""
    beyond = TemperBeyond(at=AT, lane="2", mould="11", temper=5.0, real=None, thickness_mm=None)
    temper = Temper(limit=4.0, real_limit=None, n=8, lanes=(), beyond=(beyond,), no_thickness=8)
    heavy = WeighedOutside("K2", "P250", "cold", 96, 3, 245.0, 255.0, 257.4, 2.4)
    lately = Lately(Span(AT - HOUR, AT), (heavy,), (("K3", temper),), ("K1 weight",), date(2026, 3, 1), 2, 1)
    found = list(late_items(plant, replace(now(line("K1")), lately=lately)))
    assert [(str(sentence), address) for sentence, address in found] == [
        ("1 pallet held here was given out.", "/holds"),
        ("K2 P250: 3 of 96 cold weights outside 245 to 255 g in 24 h, worst 257.4 g.", "/weights/K2"),
        ("K3: 1 of 8 temper numbers beyond 4 in 24 h.", "/laboratory"),
        ("2 pallets are proposed for a hold and wait for a person.", "/holds"),
        ("More probably off than not, by the close of 2026-03-01: K1 weight.", "/day/2026-03-01.html"),
    ]


def test_calls_of_a_critical_defect_are_marked_where_a_signal_is_open(plant: Plant) -> None:
    few = signal(id="K4-BSW", line="K4", defect="BSW", name="bird swing", severity="critical", lost_per_hour=3.4)
    counts = (CriticalCount("BSW", 4, 0.6), CriticalCount("SPK", 0, None))
    sheet = critical_section(plant, now(line("K4", few, critical=counts), line("K1", critical=counts))).sheet
    assert sheet is not None
    assert [row["BSW"] for row in sheet.rows] == ["◆ 4 (0.6)", "4 (0.6)"]
    assert [row["SPK"] for row in sheet.rows] == ["0 (–)", "0 (–)"], "no past: nothing is expected, not none"
    assert sheet.shade == [(0, "BSW", 0.5)]


@pytest.mark.parametrize("which", ["K1-STN", "K2-STN"])
def test_a_furnaces_signal_is_seen_on_all_its_lines(which: str, place: Place) -> None:
    place.put("station_counts.csv", HEAD + "2026-03-02T09:59:00Z,K1,K1-side-a,,60,12,1\n")
    place.take()
    mine = [of_furnace("K1", 62), of_furnace("K2", 22), signal(id="K2-CRD", line="K2", defect="CRD")]
    rows = [(s.line, AT, s.id, s.model_dump_json(by_alias=True)) for s in mine]
    keep_hours(place.opened.ledger, {"signal_hours": _frame("signal_hours", rows)}, ["K1", "K2"], AT, NOW)
    acknowledge_signal(place.opened, which, "S. Shift", "furnace told")
    with place.opened.ledger.reading() as reader:
        kept = {s.id: s.acknowledged_by for s in with_notes(reader, kept_signals(reader, AT, NOW))}
    assert kept == {"K1-STN": "S. Shift", "K2-STN": "S. Shift", "K2-CRD": None}


@pytest.mark.parametrize(
    ("value", "table", "sentence"),
    [(0.0, "< 0.001", "< 0.0001"), (0.0004, "< 0.001", "0.0004"), (0.0006, "0.001", "0.0006"), (0.25, "0.250", "0.2")],
)
def test_no_chance_is_written_as_none_at_all(value: float, table: str, sentence: str) -> None:
    assert (written(value, "chance"), chance(value)) == (table, sentence)
