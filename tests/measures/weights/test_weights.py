"""Weighings in rounds, judged by what was usual: gaps, single samples, unequal sizes, new moulds, drifting gob
positions, and none where nothing happened.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines.clock import Span
from pipelines.measures.lehr.lehr_time import LehrTime
from pipelines.measures.statistics.components import components
from pipelines.measures.statistics.factors import a3, b3_b4, c4
from pipelines.measures.weights import Study, study
from pipelines.measures.weights.charts import FAR, SPREAD, judge_for
from pipelines.measures.weights.rounds import rounds_of
from pipelines.measures.weights.tell import drift_a_day, glass, hot_cold, lowest_mean
from pipelines.plant.tables import Item

START = datetime(2026, 3, 2, 6, tzinfo=UTC)
LEHR = LehrTime(90.0, 5.0, "nominal")
BOTTLE = Item(id="B", name="bottle", weight_g=200.0, weight_min_g=195.0, weight_max_g=205.0)
HALF = timedelta(minutes=30)


def frame(rows: list[tuple[datetime, str, float]], gobs: dict[str, str] | None = None) -> pl.DataFrame:
    """Weighings as the ledger gives them; every mould in section 1 of its gob position."""
    answer = pl.DataFrame(
        rows, schema={"sampled_at": pl.Datetime("us", "UTC"), "mould": pl.String, "weight_g": pl.Float64}, orient="row"
    )
    gob = [(gobs or {}).get(mould) for mould in answer["mould"]]
    return answer.with_columns(
        gob=pl.Series(gob, dtype=pl.String), section=pl.Series([None if g is None else 1 for g in gob], dtype=pl.Int64)
    )


def simulated(
    seed: int,
    hours: int,
    drift: dict[str, float] | None = None,
    since: float = 0.0,
    sections: int = 8,
    noise: float = 0.5,
    samples: int = 1,
) -> pl.DataFrame:
    """Two days of steady weighings each half hour, then `hours`; a gob position grows by `drift` grams in eight hours
    from `since` hours on. Invented.
    """
    rng = np.random.default_rng(seed)
    moulds = [(f"{section}{gob}", gob) for section in range(1, sections + 1) for gob in "AB"]
    offset = dict(zip([m for m, _ in moulds], rng.normal(0, 0.8, len(moulds)), strict=True))
    rows = []
    for n in range(-96, 2 * hours):
        grown = min(1.0, max(0.0, n / 2 - since) / 8)
        for mould, gob in moulds:
            mean = 200 + offset[mould] + (drift or {}).get(gob, 0.0) * grown
            rows += [(START + n * HALF, mould, round(float(rng.normal(mean, noise)), 1)) for _ in range(samples)]
    return frame(rows, dict(moulds))


def studied(weighings: pl.DataFrame, hours: float, item: Item | None = BOTTLE) -> Study:
    this_study = study(item, "cold", weighings, Span(START, START + timedelta(hours=hours)), LEHR)
    assert this_study is not None
    return this_study


def test_a_round_ends_where_a_mould_comes_again_or_the_pause_is_long() -> None:
    minute = timedelta(minutes=1)
    each = [(START + n * 30 * minute + k * minute, m, 200.0) for n in range(4) for k, m in enumerate(("1", "2", "3"))]
    assert rounds_of(frame(each)).mean.shape == (4, 3)
    without_pause = [
        (START + (3 * n + k) * minute, m, 200.0 + n) for n in range(4) for k, m in enumerate(("1", "2", "3"))
    ]
    rounds = rounds_of(frame(without_pause))
    assert rounds.mean.shape == (4, 3) and rounds.mean[:, 0].tolist() == [200, 201, 202, 203]


def test_moulds_stand_in_the_order_of_their_numbers_and_gaps_stay_gaps() -> None:
    rounds = rounds_of(
        frame([(START, "10", 1.0), (START, "9", 2.0), (START + HALF, "9", 3.0), (START, "X", 4.0)], {"9": "A"})
    )
    assert rounds.moulds == ("9", "10", "X") and rounds.gobs == ("A",)
    assert rounds.n.tolist() == [[1, 1, 1], [1, 0, 0]] and np.isnan(rounds.mean[1, 1])


def test_limits_follow_the_number_of_samples_of_each_time() -> None:
    """ISO 7870-2: X-bar limits at A3 S, S limits at B3 S and B4 S, each by its own n; here 2 to 6 samples."""
    rng = np.random.default_rng(1)
    rows = [(START + n * HALF, "1", float(rng.normal(200, 0.5))) for n in range(40) for _ in range(2 + n % 5)]
    this_study = studied(frame(rows, {"1": "A"}), 24)
    chart, within = this_study.moulds[0].chart, float(this_study.usual.within[0])
    assert set(chart.n) == {2, 3, 4, 5, 6} and not chart.ranges
    for n in range(2, 7):
        here = chart.n == n
        assert chart.high[here] - chart.centre == pytest.approx(float(a3(n) * c4(n)) * within)
        low, high = (float(values) * float(c4(n)) * within for values in b3_b4(n))
        assert chart.spread_low[here] == pytest.approx(low) and chart.spread_high[here] == pytest.approx(high)


def test_single_samples_are_judged_by_moving_ranges() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.2, individuals: limits at mean -+ 3 mean range / 1.128, the range up to 3.267 mean
    range.
    """
    grams = [200.0, 201.0, 200.0, 199.0, 201.0, 200.0, 200.5, 199.5, 200.0, 201.0]
    chart = studied(frame([(START + n * HALF, "1", g) for n, g in enumerate(grams)], {"1": "A"}), 6).moulds[0].chart
    mean_range = float(np.abs(np.diff(grams)).mean())
    assert chart.ranges and chart.high[0] - chart.centre == pytest.approx(3 * mean_range / 1.128, rel=1e-3)
    assert chart.spread_high[0] == pytest.approx(3.267 * mean_range, rel=1e-3) and np.isnan(chart.spread[0])


def test_one_weighing_of_one_mould_says_what_it_can() -> None:
    this_study = studied(frame([(START, "1", 200.3)], {"1": "A"}), 1)
    mould = this_study.moulds[0]
    assert len(mould.values) == 1 and mould.cap.k is None and mould.perf.k is None and mould.chart.called == ()
    assert this_study.gobs[0].fit is None and not this_study.gobs[0].still and drift_a_day(this_study.here) is None


def test_equal_weighings_have_no_spread_and_no_capability() -> None:
    this_study = studied(
        frame([(START + n * HALF, m, 200.0) for n in range(20) for m in "12"], {"1": "A", "2": "B"}), 10
    )
    assert all(m.cap.k is None and m.chart.called == () for m in this_study.moulds) and not any(
        gob.still for gob in this_study.gobs
    )
    assert all(part.value == 0 for part in this_study.parts.values())


def test_no_weighing_in_the_window_is_no_study() -> None:
    assert study(BOTTLE, "cold", frame([(START - HALF, "1", 200.0)]), Span(START, START + HALF), LEHR) is None


@pytest.mark.parametrize("seed", range(6))
def test_the_drifting_gob_position_is_named_with_its_correction(seed: int) -> None:
    """1 g in 8 hours on gob B of 16 moulds that differ by 0.8 g, weighed each half hour: the truth is the simulated
    one, lehr time included.
    """
    this_study = studied(simulated(seed, 11, {"B": 1.0}, since=3.0), 11)
    drifting = [gob for gob in this_study.gobs if gob.still]
    assert [gob.gob for gob in drifting] == ["B"] and drifting[0].fit is not None
    fit = drifting[0].fit
    true_now, true_at_feeder = 7.5 / 8, min(1.0, (7.5 + 1.5) / 8)
    assert fit.offset == pytest.approx(true_now, abs=0.3)
    assert fit.feeder_low - 0.1 <= true_at_feeder <= fit.feeder_high + 0.1
    assert (
        fit.onset_low_s <= START.timestamp() + 3.5 * 3600 + 3600 * 2
        and fit.onset_high_s >= START.timestamp() + 2 * 3600
    )
    late = [m for m in this_study.moulds if m.chart.called and not all(c.with_gob for c in m.chart.called)]
    assert len(late) <= 1, "moulds that move with their gob position are not called by themselves"


def test_where_nothing_happens_hardly_anything_is_called() -> None:
    """Forty quiet days of one line: the rules promise one false signal a line and week; ten in forty days would be far
    beyond chance.
    """
    calls = 0
    for seed in range(40):
        this_study = studied(simulated(1000 + seed, 24), 24)
        calls += sum(gob.called_s is not None for gob in this_study.gobs) + sum(
            bool(mould.chart.called) for mould in this_study.moulds
        )
    assert calls <= 14


def test_one_mould_by_itself_is_called_by_itself() -> None:
    weighings = simulated(5, 8)
    heavy = (pl.col("mould") == "3A") & (pl.col("sampled_at") >= START + timedelta(hours=4))
    this_study = studied(
        weighings.with_columns(weight_g=pl.when(heavy).then(pl.col("weight_g") + 3).otherwise(pl.col("weight_g"))), 8
    )
    called = {m.mould: {c.rule for c in m.chart.called} for m in this_study.moulds if m.chart.called}
    assert set(called) == {"3A"} and FAR in called["3A"] and not any(gob.still for gob in this_study.gobs)
    assert all(not c.with_gob for m in this_study.moulds for c in m.chart.called)


def test_a_mould_whose_samples_scatter_is_called_for_its_spread() -> None:
    weighings = simulated(6, 8, samples=3)
    wild = (pl.col("mould") == "2B") & (pl.col("sampled_at") >= START)
    number = pl.int_range(pl.len()).over("mould", "sampled_at") - 1
    this_study = studied(
        weighings.with_columns(
            weight_g=pl.when(wild).then(pl.col("weight_g") + 4 * number).otherwise(pl.col("weight_g"))
        ),
        8,
    )
    assert {m.mould for m in this_study.moulds if any(c.rule == SPREAD for c in m.chart.called)} == {"2B"}


def test_missing_moulds_and_rounds_do_not_move_the_others() -> None:
    """A third of the weighings left out at random: the same gob position is found."""
    this_study = studied(simulated(7, 12, {"A": 1.2}, since=2.0).sample(fraction=0.67, seed=1, shuffle=True), 12)
    assert [gob.gob for gob in this_study.gobs if gob.still] == ["A"]


def test_a_new_mould_is_shown_and_not_judged_yet() -> None:
    weighings = simulated(8, 8)
    fresh = weighings.with_columns(
        mould=pl.when((pl.col("mould") == "4A") & (pl.col("sampled_at") >= START))
        .then(pl.lit("new"))
        .otherwise("mould")
    )
    this_study = studied(
        fresh.with_columns(
            weight_g=pl.when(pl.col("mould") == "new").then(pl.col("weight_g") - 2.5).otherwise("weight_g")
        ),
        8,
    )
    new = next(m for m in this_study.moulds if m.mould == "new")
    assert new.chart.called == () and len(new.values) == 16 and not any(gob.still for gob in this_study.gobs)


@settings(deadline=None)
@given(st.floats(-50, 50), st.permutations(range(40)))
def test_components_know_no_origin_and_no_order(shift: float, order: list[int]) -> None:
    rng = np.random.default_rng(2)
    a, b = rng.integers(0, 5, 40), rng.integers(0, 8, 40)
    y = rng.normal(0, 1, 5)[a] + rng.normal(0, 1, 8)[b] + rng.normal(0, 1, 40)
    these_components, other = (
        components(y, {"a": a, "b": b}),
        components((y + shift)[order], {"a": a[order], "b": b[order]}),
    )
    assert [part.value for part in these_components.values()] == pytest.approx(
        [part.value for part in other.values()], rel=1e-3, abs=1e-6
    )


def test_giveaway_and_saving_in_kilograms() -> None:
    lowest = lowest_mean(0.8, 195.0, None)
    assert (lowest.mean_g, lowest.by) == (pytest.approx(197.4), "weight_min_g")
    assert lowest_mean(0.8, 195.0, 199.0).by == "capacity_max_ml" and lowest_mean(0.8, None, None).mean_g is None
    this_glass = glass(200.5, None, 200.0, lowest.mean_g, 100_000)
    assert (
        this_glass.giveaway_kg == pytest.approx(50)
        and this_glass.giveaway_low is this_glass.saving_low is this_glass.giveaway_high is None
    )
    this_glass = glass(200.5, 0.1, 200.0, lowest.mean_g, 100_000)
    assert (this_glass.giveaway_kg, this_glass.saving_kg) == (pytest.approx(50.0), pytest.approx(310.0))
    assert (this_glass.giveaway_low, this_glass.giveaway_high) == (pytest.approx(30.4), pytest.approx(69.6))
    assert (
        glass(200.5, 0.1, 200.0, None, None).giveaway_kg is None
        and glass(200.5, 0.1, 200.0, None, 10).saving_kg is None
    )


def test_hot_against_cold_over_the_same_moulds() -> None:
    hot = frame([(START, m, g + 0.4) for m, g in (("1", 200.0), ("2", 201.0), ("3", 199.0), ("9", 190.0))])
    cold = frame([(START, m, g) for m, g in (("1", 200.0), ("2", 201.1), ("3", 198.9), ("8", 300.0))])
    this_cold = hot_cold(hot, cold)
    assert this_cold is not None and this_cold.moulds == 3 and this_cold.difference_g == pytest.approx(0.4)
    assert this_cold.low_g is not None and this_cold.high_g is not None and this_cold.low_g < 0.4 < this_cold.high_g
    assert hot_cold(hot.filter(pl.col("mould") == "9"), cold) is None


def test_the_rules_say_how_often_they_are_wrong() -> None:
    judge = judge_for(20, 1800)
    assert (
        "by chance once in" in judge.words()
        and judge.rules.far > 3
        and judge.points == pytest.approx(3 * 20 * 336 / 0.2, rel=0.05)
    )
