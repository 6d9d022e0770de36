"""One fault is told as one signal, however long it lasts and however its calls come and go."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from scipy.stats import chisquare

from pipelines.measures.signals import Found, follow_lines, line_counts
from pipelines.measures.signals.dating import CLUMP_PRIOR, clumped
from pipelines.measures.signals.one_fault import same_fault
from pipelines.measures.signals.onset import Noise, Onset
from pipelines.measures.signals.scope import Placing, ScopePlace
from sample_feeds.simulator import make_plan, simulate
from tests.benchmarks.signal_truth import draw_faults, frames_of
from tests.benchmarks.worlds import WORLDS

EVERY = (0, 1, 2, 3)


def told(
    columns: tuple[int, ...], onset: float, sure: float, also: tuple[int, ...] = EVERY, share: float = 0.0
) -> Found:
    """A signal at `columns`, that likely; and with a share of that probability at the columns `also`."""
    scope = "line" if columns == EVERY else "mould"
    place = ScopePlace(scope, ("a",), columns, None, sure, 5.0)
    second = ScopePlace("line" if also == EVERY else "mould", ("b",), also, None, sure * share, 5.0)
    placing = Placing(place, {scope: sure, "station": 1 - sure}, (place, second), True)
    return Found("L-D-1", 0, 100, placing, Onset(onset, onset - 5, onset + 5), None, 0, 0.001)


def test_the_same_place_again_is_the_same_fault_whenever_it_rises() -> None:
    assert same_fault(told((1,), 100, 0.99), told((1,), 400, 0.99))


def test_a_sure_place_elsewhere_is_another_fault() -> None:
    assert not same_fault(told(EVERY, 100, 0.99), told((1,), 100, 0.97))
    assert not same_fault(told((1,), 100, 0.99), told((2,), 100, 0.5))


def test_a_guess_inside_a_known_place_is_the_same_fault_unless_it_rose_later() -> None:
    assert same_fault(told(EVERY, 100, 0.99), told((1,), 104, 0.5))
    assert not same_fault(told(EVERY, 100, 0.99), told((1,), 300, 0.5))


def test_a_guess_for_which_the_known_place_is_nearly_as_likely_is_the_same_fault() -> None:
    assert same_fault(told((1,), 100, 0.99), told((2,), 300, 0.5, also=(1,), share=0.8))
    assert not same_fault(told((1,), 100, 0.99), told((2,), 300, 0.5, also=(1,), share=0.2))


def test_clumps_are_pearsons_statistic_of_the_parts_of_each_hour() -> None:
    """Against scipy.stats.chisquare hour by hour; the hour of the change is left out, and so is one with few calls."""
    rng = np.random.default_rng(5)
    rates = rng.uniform(0.2, 0.6, 300)
    calls = rng.poisson(rates * rng.gamma(0.6, 1 / 0.6, 20).repeat(15)).astype(float)
    calls[180:240] = 0.0
    change = Onset(150, 130, 170)
    got = clumped(calls, rates, Noise(block=60), 15, change)
    off, free = CLUMP_PRIOR, CLUMP_PRIOR
    for hour in (0, 1, 4):
        n, m = (x[hour * 60 : hour * 60 + 60].reshape(4, 15).sum(axis=1) for x in (calls, rates))
        off, free = off + chisquare(n, m * n.sum() / m.sum()).statistic, free + 3
    assert got == pytest.approx(off / free) and got > 1.5
    assert clumped(rates * 0 + 1.0, rates * 0 + 1.0, Noise(block=60), 15, change) == 1.0


def test_hours_are_cut_where_the_series_begins_inside_one() -> None:
    calls = np.tile(np.repeat([8.0, 0.0, 0.0, 0.0], 15), 4)
    whole = clumped(calls, np.ones(240), Noise(block=60), 15, Onset(0, 0, 0))
    late = clumped(calls[20:], np.ones(220), Noise(block=60, phase=20), 15, Onset(0, 0, 0))
    assert whole == late > 1


def test_a_long_fault_of_a_rough_works_stays_one_signal() -> None:
    """Ten hours and more of a line's and a furnace's fault, whose rates wander: at each line one signal tells of each
    at the end.
    """
    world, seed = WORLDS["rough"], 36
    works = world.plant(seed)
    plan = make_plan(works, date(2026, 5, 4), 2, seed, lag_offset=0.0, faults=0, roughness=world.roughness)
    drawn = draw_faults(plan, 14, np.random.default_rng([seed, 9]), "large")
    plan.faults.extend(
        f for f in drawn if (f.scope, f.line, f.defect) in {("line", "T3", "S32"), ("line", "T1", "S32")}
    )
    assert len(plan.faults) == 2
    simulated = simulate(plan)
    span = (plan.cold_from, plan.cold_from + timedelta(days=2))
    for fault in plan.faults:
        furnace = works.lines[fault.line].furnace
        lehr = {line.id: line.lehr_minutes for line in works.lines_of(furnace)}
        counts = {i: line_counts(works, i, span, *frames_of(simulated, i), m) for i, m in lehr.items()}
        last: dict[str, Found] = {}
        for _, _, states in follow_lines(works, counts, 1, lehr):
            last |= {state.name: state for state in states[fault.line]}
        after = lehr[fault.line]
        low, high = (plan.at(at + after) for at in (fault.start - 20, fault.end + 30))
        code = counts[fault.line].defects.index(fault.defect)
        mine = [s for s in last.values() if s.defect == code and low <= counts[fault.line].moment(s.raised) <= high]
        assert len([s for s in mine if not s.part_of and not s.passed]) == 1, mine
