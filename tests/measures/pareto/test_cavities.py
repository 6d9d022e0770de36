"""How unusual a cavity is: against reference libraries, against ware without a fault, and against what signals
explain.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from scipy import stats

from pipelines.measures.pareto.cavities import (
    FAR,
    MORE,
    OWN,
    CavityState,
    Counts,
    ExpectedCalls,
    by_the_others,
    by_the_past,
    cavity_states,
    cell_counts,
)
from pipelines.measures.pareto.explained_calls import Explained, Frames, explained, that_explain
from schemas.answers.signals import Signal

PLACES = [(section, gob) for section in range(1, 9) for gob in "AB"]
MOULDS = {place: (str(n + 1),) for n, place in enumerate(PLACES)}
DEFECTS = ("CHF", "STN", "THN")
NOON = datetime(2026, 3, 10, 12, tzinfo=UTC)
WARE = np.full(len(PLACES), 2000.0)
NOTHING = np.zeros((len(PLACES), len(DEFECTS)))
UNEXPLAINED = Explained(NOTHING, NOTHING, np.zeros((0, len(PLACES)), bool))


def exactly(expected: np.ndarray, relative: float = 0.0) -> ExpectedCalls:
    """A past that is known exactly; relative: variance from window to window beyond Poisson."""
    return ExpectedCalls(expected, relative * expected**2, np.zeros_like(expected), expected > 0)


def states(
    calls: np.ndarray,
    expected: ExpectedCalls,
    this_explained: Explained = UNEXPLAINED,
    judged: Sequence[str] = DEFECTS,
    shown: Sequence[str] = DEFECTS,
    critical: Sequence[str] = ("CHF",),
) -> list[CavityState]:
    return cavity_states(
        PLACES, DEFECTS, Counts(calls, WARE), MOULDS, expected, this_explained, judged, critical, shown
    )


def test_cells_are_judged_by_benjamini_and_hochberg_on_poisson_tails_over_all_cavities_and_defects() -> None:
    """Reference: scipy.stats.poisson.sf and scipy.stats.false_discovery_control (SciPy 1.17), where past and spread are
    known exactly.
    """
    rng = np.random.default_rng(5)
    expected = rng.uniform(2, 25, NOTHING.shape)
    calls = rng.poisson(expected).astype(float)
    calls[3, 1], calls[9, 0] = calls[3, 1] + 40, calls[9, 0] + 22
    these_states = states(calls, exactly(expected))
    q = stats.false_discovery_control(stats.poisson.sf(calls - 1, expected).ravel()).reshape(calls.shape)
    assert [c.q for c in these_states] == pytest.approx(q.min(axis=1), rel=1e-6)
    named = {(n, cell.defect): (cell.q, cell.level) for n, c in enumerate(these_states) for cell in c.cells}
    wanted = {
        (n, DEFECTS[d]): (pytest.approx(q[n, d], rel=1e-6), "far" if q[n, d] < FAR else "more")
        for n, d in zip(*np.nonzero(q < MORE), strict=True)
    }
    assert named == wanted and len(named) >= 2


def test_over_dispersed_cells_are_judged_by_the_negative_binomial() -> None:
    """Reference: scipy.stats.nbinom.sf (SciPy 1.17): mean 10 and relative variance 0.3 are size 1 / 0.3, p = size /
    (size + mean).
    """
    calls = np.full(NOTHING.shape, 9.0)
    calls[4, 2] = 45
    these_states = states(calls, exactly(np.full(NOTHING.shape, 10.0), 0.3))
    size = 1 / 0.3
    p = stats.nbinom.sf(calls - 1, size, size / (size + 10))
    assert these_states[4].q == pytest.approx(stats.false_discovery_control(p.ravel()).min(), rel=1e-6)


def test_a_defect_is_judged_by_itself_where_the_sum_of_all_hides_it() -> None:
    """30 calls where 3 were expected beside 200 of another: the sum is 230 against 203, which is chance."""
    expected = np.tile([3.0, 200.0, 5.0], (len(PLACES), 1))
    calls = expected.copy()
    calls[6, 0] = 30
    assert stats.poisson.sf(calls[6].sum() - 1, expected[6].sum()) > 0.02
    these_states = states(calls, exactly(expected))
    assert [(c.section, c.gob) for c in these_states if c.level in OWN] == [(4, "A")]
    assert [cell.defect for cell in these_states[6].cells] == ["CHF"]


def test_a_page_of_one_defect_says_of_it_what_the_page_of_all_says() -> None:
    expected = np.full(NOTHING.shape, 5.0)
    calls = expected.copy()
    calls[2, 1], calls[8, 2] = 19, 30
    every, these_states = states(calls, exactly(expected)), states(calls, exactly(expected), shown=("STN",))
    assert every[2].cells == these_states[2].cells and these_states[8].cells == () and every[8].cells
    assert these_states[8].calls == 5 and these_states[8].worst == (("STN", 5),)


def test_what_is_no_fault_of_the_ware_is_counted_and_never_judged() -> None:
    expected = np.full(NOTHING.shape, 5.0)
    calls = expected.copy()
    calls[2, 2] = 300
    cavity_state = states(calls, exactly(expected), judged=("CHF", "STN"))[2]
    assert cavity_state.level == "usual" and cavity_state.calls == 310 and ("THN", 300) in cavity_state.worst


def test_critical_calls_stand_first_whatever_their_number_and_whether_judged_or_not() -> None:
    calls = np.tile([1.0, 40.0, 60.0], (len(PLACES), 1))
    these_states = states(calls, ExpectedCalls(NOTHING, NOTHING, NOTHING, NOTHING > 0))
    assert {c.level for c in these_states} == {"unknown"} and {c.q for c in these_states} == {None}
    assert all(c.worst[0] == ("CHF", 1) and c.critical == 1 for c in these_states)


# by the other cavities


def test_by_the_others_a_cavity_is_left_out_of_its_own_expectation() -> None:
    """By hand: cavities of 100, 100 and 200 containers with 10, 20 and 30 calls; the first expects 100 x (50 + 1/2) /
    300, as a gamma posterior with Jeffreys' prior has it; its relative standard deviation is 1 / sqrt(50.5).
    """
    counts = Counts(np.array([[10.0], [20.0], [30.0]]), np.array([100.0, 100.0, 200.0]))
    expected_calls = by_the_others(counts, np.zeros((3, 1), bool))
    assert expected_calls.calls[:, 0] == pytest.approx([100 * 50.5 / 300, 100 * 40.5 / 300, 200 * 30.5 / 200])
    assert expected_calls.doubt[0, 0] == pytest.approx(expected_calls.calls[0, 0] / 50.5**0.5)


def test_by_the_others_what_lies_inside_a_signal_tells_nothing_of_those_outside() -> None:
    calls = np.full((len(PLACES), 1), 10.0)
    calls[:2] = 90.0
    inside = np.zeros(calls.shape, bool)
    inside[:2] = True
    expected_calls = by_the_others(Counts(calls, WARE), inside)
    assert expected_calls.calls[:, 0] == pytest.approx(np.where(inside[:, 0], 140.5 / 14, 130.5 / 13))


@pytest.mark.parametrize("mean", [0.3, 3.0, 20.0])
def test_without_a_fault_hardly_a_map_names_a_cavity_and_a_planted_one_is_named(mean: float) -> None:
    """Under chance alone the share of maps that name any cavity is at most the q (Benjamini and Hochberg 1995: with no
    true excess FDR is the family-wise rate).
    """
    rng = np.random.default_rng(11)
    named = found = 0
    none = NOTHING > 0
    for _ in range(400):
        calls = rng.poisson(mean, NOTHING.shape).astype(float)
        named += any(c.cells for c in states(calls, by_the_others(Counts(calls, WARE), none)))
        calls[5, 1] = rng.poisson(3 * mean + 15)
        found += bool(states(calls, by_the_others(Counts(calls, WARE), none))[5].cells)
    assert named / 400 <= MORE + 3 * (MORE * (1 - MORE) / 400) ** 0.5
    assert found / 400 > 0.95


def test_moulds_that_differ_by_habit_name_no_cavity_though_chance_alone_would() -> None:
    """Spread between cavities beyond Poisson widens the limits (moment estimate; McCullagh and Nelder, 6.2)."""
    rng = np.random.default_rng(12)
    named = plain = 0
    for _ in range(200):
        calls = rng.poisson(100.0 * rng.lognormal(0, 0.25, NOTHING.shape)).astype(float)
        these_states = states(calls, by_the_others(Counts(calls, WARE), NOTHING > 0))
        named += any(c.level == "far" for c in these_states)
        p = stats.poisson.sf(calls - 1, calls.mean(axis=0))
        plain += bool((stats.false_discovery_control(p.ravel()) < FAR).any())
    assert plain / 200 > 0.8 and named / 200 < 0.08


def test_a_cavity_without_ware_or_past_is_said_to_be_so() -> None:
    calls, ware = NOTHING.copy(), np.zeros(len(PLACES))
    calls[0, 0], ware[0] = 1, 10.0
    none = ExpectedCalls(NOTHING, NOTHING, NOTHING, NOTHING > 0)
    these_states = cavity_states(
        PLACES, DEFECTS, Counts(calls, ware), MOULDS, none, UNEXPLAINED, DEFECTS, ["CHF"], DEFECTS
    )
    assert these_states[0].level == "unknown" and these_states[0].q is None and these_states[0].critical == 1
    assert {c.level for c in these_states[1:]} == {"empty"} and these_states[1].rate is None


def test_unread_ware_is_shared_out_and_critical_defects_stand_first() -> None:
    ware = pl.DataFrame(
        {
            "station": ["s", "s", "s", "t"],
            "mould": ["1", "2", None, "1"],
            "section": [1, 1, None, 1],
            "gob": ["A", "B", None, "A"],
            "inspected": [60, 30, 10, 999],
        }
    )
    calls = pl.DataFrame(
        {"defect": ["STN", "CHF", "STN"], "section": [1, 1, None], "gob": ["A", "A", None], "calls": [9, 1, 5]}
    )
    counts = cell_counts(calls, ware, PLACES, DEFECTS, ["s"])
    assert counts.ware[:2] == pytest.approx([60 * 100 / 90, 30 * 100 / 90])
    assert counts.calls[0].tolist() == [1, 9, 0] and counts.calls.sum() == 10


def test_the_past_of_all_moulds_that_stood_in_a_place_counts() -> None:
    rows = [
        ("1", "CHF", 2.0, 0.5, 0.1),
        ("99", "CHF", 3.0, 0.5, 0.2),
        ("2", "STN", 4.0, 1.0, 0.3),
        ("77", "STN", 9.0, 9.0, 9.0),
    ]
    past = pl.DataFrame(rows, schema=["mould", "defect", "expected", "variance", "doubt"], orient="row")
    expected_calls = by_the_past(past, {**MOULDS, (1, "A"): ("1", "99")}, PLACES, DEFECTS)
    assert expected_calls.calls[0].tolist() == [5.0, 0, 0] and expected_calls.calls[1].tolist() == [0, 4.0, 0]
    assert expected_calls.doubt[0, 0] == pytest.approx(0.3) and expected_calls.known.sum() == 2


# what signals explain


def signal(scope: str, defect: str = "STN", cavities: Sequence[str] = (), **more: object) -> Signal:
    row = {
        "id": "K1-1",
        "kind": "excess",
        "line": "K1",
        "furnace": "F1",
        "defect": defect,
        "name": "",
        "severity": "major",
        "scope": scope,
        "members": ("K1",),
        "cavities": tuple(cavities),
        "raised": NOON,
        "onset": NOON,
        "onset_low": NOON,
        "onset_high": NOON,
        "formed": NOON,
        "formed_low": NOON,
        "formed_high": NOON,
        "calls": 40,
        "expected": 10.0,
        "ware": 1e4,
        "rate_before": 1e-3,
        "rate_after": 4e-3,
        "lost_per_hour": 10.0,
        "q": 1e-4,
        "probability": 0.99,
    } | more
    return Signal.model_validate(row)


def frames(calls: np.ndarray, defect: str = "STN", station: str = "s", hours: int = 4) -> Frames:
    """Calls [hours, cavities] of a defect from two hours before noon on, 500 containers an hour and cavity."""
    rows = [
        (NOON + timedelta(hours=h - 2), 3600, station, defect, section, gob, int(calls[h, n]), 500)
        for h in range(hours)
        for n, (section, gob) in enumerate(PLACES)
    ]
    names = ["window_start", "window_s", "station", "defect", "section", "gob", "calls", "inspected"]
    frame = pl.DataFrame(rows, schema=names, orient="row").with_columns(pl.col("window_start").dt.cast_time_unit("us"))
    return Frames(frame.drop("inspected"), frame.drop("calls", "defect"))


def explain(signals: Sequence[Signal], calls: np.ndarray, expected: float = 8.0) -> Explained:
    should = NOTHING.copy()
    should[:, 1] = expected
    return explained(signals, PLACES, DEFECTS, frames(calls), should)


def test_inside_its_place_and_since_its_onset_a_signal_explains_its_factor() -> None:
    """By hand: 8 calls expected of each cavity in four hours, 4 since noon; the section's cavities had 12 each then: a
    factor of 3, which explains 4 x (3 - 1) = 8 calls of each, and nothing elsewhere or before.
    """
    calls = np.full((4, len(PLACES)), 2.0)
    calls[2:, 4:6] = 6.0
    this_explained = explain([signal("section", cavities=("3A", "3B"))], calls)
    assert this_explained.calls[4:6, 1] == pytest.approx([8.0, 8.0])
    assert this_explained.calls.sum() == pytest.approx(16.0) and this_explained.inside.tolist() == [
        [n in (4, 5) for n in range(16)]
    ]
    assert this_explained.variance[4, 1] == pytest.approx((0.05 + 1 / 25) * 64)


def test_a_signal_that_ended_before_explains_only_until_its_end() -> None:
    calls = np.full((4, len(PLACES)), 2.0)
    calls[1, 4:6] = 10.0
    this_signal = signal("section", cavities=("3A", "3B"), onset=NOON - timedelta(hours=1), ended=NOON)
    assert explain([this_signal], calls).calls[4:6, 1] == pytest.approx([8.0, 8.0])


def test_of_the_whole_machine_each_cavity_is_judged_by_the_others() -> None:
    """By hand: 4 calls each since noon where 4 were expected, but 12 in fifteen: without itself a cavity sees 14 x 12 +
    4 or 15 x 12.
    """
    calls = np.full((4, len(PLACES)), 2.0)
    calls[2:, 1:] = 6.0
    this_explained = explain([signal("furnace")], calls)
    assert this_explained.calls[0, 1] == pytest.approx(4 * (15 * 12 / (15 * 4) - 1))
    assert this_explained.calls[1, 1] == pytest.approx(4 * ((14 * 12 + 4) / (15 * 4) - 1))


def test_the_wider_of_two_signals_is_judged_by_what_the_narrower_leaves() -> None:
    calls = np.full((4, len(PLACES)), 2.0)
    calls[2:] = 4.0
    calls[2:, 3] = 40.0
    this_explained = explain([signal("mould", cavities=("2B",)), signal("line")], calls)
    assert this_explained.calls[0, 1] == pytest.approx(4.0), "twice as many as expected, whatever the mould does"
    assert 8.0 + this_explained.calls[3, 1] == pytest.approx(4 + 80)


def test_a_stations_signal_explains_that_stations_calls_beyond_its_rate_before() -> None:
    """By hand: 16 cavities x 2 hours x 500 containers at 1 in 1000 let expect 16 calls; there were 16 x 8: the other
    112 are its own, 7 a cavity.
    """
    calls = np.full((4, len(PLACES)), 2.0)
    calls[2:] = 4.0
    this_explained = explain([signal("station", members=("s",))], calls)
    assert this_explained.calls[:, 1] == pytest.approx(np.full(16, 7.0))
    elsewhere = explain([signal("station", members=("t",))], calls)
    assert elsewhere.calls.sum() == 0 and not elsewhere.inside.any()


def test_only_excesses_of_the_line_and_time_explain_and_none_that_only_passed() -> None:
    every = [
        signal("line", id="on"),
        signal("line", id="other line", line="K2"),
        signal("line", id="critical", kind="critical call"),
        signal("line", id="passed", passed=True, ended=NOON + timedelta(minutes=9)),
        signal("line", id="later", onset=NOON + timedelta(hours=3)),
        signal("line", id="over", onset=NOON - timedelta(hours=9), ended=NOON - timedelta(hours=3)),
    ]
    signals = that_explain(every, "K1", NOON - timedelta(hours=2), NOON + timedelta(hours=2))
    assert [this_signal.id for this_signal in signals] == ["on"]


@pytest.mark.parametrize(
    ("scope", "cavities"),
    [("section", ("3A", "3B")), ("gob", tuple(f"{s}A" for s in range(1, 9))), ("line", ()), ("furnace", ())],
)
def test_no_cavity_inside_a_signal_is_named_for_it_and_one_beside_it_is(scope: str, cavities: tuple[str, ...]) -> None:
    """Ware with a place made worse tenfold since noon, and cavity 7B made worse eightfold of another defect: only that
    is named.
    """
    rng = np.random.default_rng(21)
    mask = np.array([not cavities or f"{s}{g}" in cavities for s, g in PLACES])
    inside = beside = alone = 0
    for _ in range(60):
        calls = rng.poisson(1.5, (4, len(PLACES))).astype(float)
        calls[2:, mask] = rng.poisson(15.0, (2, int(mask.sum())))
        should = NOTHING.copy()
        should[:, 1], should[:, 0] = 6.0, 5.0
        seen = NOTHING.copy()
        seen[:, 1], seen[:, 0] = calls.sum(axis=0), rng.poisson(5.0, len(PLACES))
        seen[13, 0] = rng.poisson(40.0)
        this_explained = explained([signal(scope, cavities=cavities)], PLACES, DEFECTS, frames(calls), should)
        maps = states(seen, exactly(should, 0.02), this_explained)
        inside += sum(any(cell.defect == "STN" for cell in c.cells) for c, held in zip(maps, mask, strict=True) if held)
        beside += any(cell.defect == "CHF" for cell in maps[13].cells)
        alone += sum(bool(c.cells) for c in states(seen, exactly(should, 0.02)) if (c.section, c.gob) != (7, "B"))
        assert all(c.signals == ((0,) if held else ()) for c, held in zip(maps, mask, strict=True))
        assert all(c.level == "signal" for c, held in zip(maps, mask, strict=True) if held and not c.cells)
    assert alone >= 60 * mask.sum() * 0.9, "without the signals nearly every cavity of the place would be named"
    assert inside <= 0.01 * 60 * mask.sum() and beside == 60


# a line's hour
