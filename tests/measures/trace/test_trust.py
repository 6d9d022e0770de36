"""Detection, what is in doubt since when, and what gets past: by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest

from pipelines.measures.statistics.shares import clustered_interval, proportion_interval
from pipelines.measures.trace.detection import (
    MissPrior,
    chances_of,
    design_effect,
    detection,
    likeness,
    missed_by_time,
    passes_by_kind,
    places_that_see,
    spread_between,
    sums_of,
    usual_of,
    working,
    works_prior,
)
from pipelines.measures.trace.trust import FAILED, OVERDUE, REAL, doubts, failed_chance, log_beta_binomial
from pipelines.plant.works import Plant

AT = datetime(2026, 3, 2, 6, tzinfo=UTC)
HOUR = timedelta(hours=1)
SCHEMA: dict[str, Any] = {
    "checked_at": pl.Datetime("us", "UTC"),
    "line": pl.String,
    "station": pl.String,
    "defect": pl.String,
    "passes": pl.Int64,
    "caught": pl.Int64,
}


def challenged(
    *rows: tuple[float, int], station: str = "K1-mouth", defect: str = "CHF", passes: int = 10
) -> pl.DataFrame:
    these_rows = [(AT + hour * HOUR, "K1", station, defect, passes, caught) for hour, caught in rows]
    return pl.DataFrame(these_rows, SCHEMA, orient="row")


def test_stations_in_a_row_multiply_what_they_miss_and_lanes_are_pooled(plant: Plant) -> None:
    """Stone can be called by the side lanes and by the foot of K1: 1 - (1 - 0.9)(1 - 0.8) = 0.98."""
    rows = {"line": ["K1"] * 4, "station": ["K1-side-a", "K1-side-b", "K1-foot", "K1-foot"]}
    rows |= {"defect": ["STN", "STN", "STN", "SPK"], "passes": [10, 10, 10, 10], "caught": [10, 8, 8, 0]}  # type: ignore[dict-item]
    this_detection = detection(plant, "K1", "STN", sums_of(pl.DataFrame(rows)))
    assert this_detection.rate == pytest.approx(0.98)
    assert [(row["stations"], row["passes"], row["caught"]) for row in this_detection.stations] == [
        (["K1-side-a", "K1-side-b"], 20, 18),
        (["K1-foot"], 10, 8),
    ]
    assert 0 < this_detection.low < 0.98 < this_detection.high < 1


def test_without_challenges_nothing_is_known(plant: Plant) -> None:
    none = sums_of(pl.DataFrame(schema=SCHEMA))
    assert (detection(plant, "K1", "STN", none).rate, detection(plant, "K1", None, none).rate) == (None, None)
    assert missed_by_time(plant, "K1", "STN", passes_by_kind(none), [], MissPrior(0.5, 0.5), np.zeros(3)) is None
    guess = works_prior(pl.DataFrame(schema=SCHEMA), [])
    assert not guess.shown and guess.missed + guess.found == pytest.approx(2)


def test_a_failed_challenge_puts_everything_since_the_last_good_one_in_doubt(plant: Plant) -> None:
    these_doubts = doubts(
        plant, challenged((0, 10), (8, 9), (16, 4), (17, 7), (18, 10), (26, 10), defect="CHN"), AT + 27 * HOUR
    )
    assert [(d.why, d.start, d.failed_at, d.end, d.passes, d.caught, d.failures) for d in these_doubts] == [
        (FAILED, AT + 8 * HOUR, AT + 16 * HOUR, AT + 18 * HOUR, 20, 11, ((10, 4), (10, 7)))
    ]
    assert these_doubts[0].holds(AT + 17.5 * HOUR, AT + 20 * HOUR) and not these_doubts[0].holds(
        AT + 18 * HOUR, AT + 20 * HOUR
    )


def test_of_a_critical_defect_every_pass_must_be_caught(plant: Plant) -> None:
    """OVP is critical, CHN major: nine of ten pass for one and fail for the other (checks in works.toml)."""
    assert (plant.must_catch("OVP"), plant.must_catch("CHN"), plant.must_catch("no such")) == (1.0, 0.8, 0.8)
    assert doubts(plant, challenged((0, 10), (8, 9), defect="CHN"), AT + 9 * HOUR) == []
    these_doubts = doubts(plant, challenged((0, 10), (8, 9), defect="OVP"), AT + 9 * HOUR)
    assert [(d.why, d.failures) for d in these_doubts] == [(FAILED, ((10, 9),))]


def test_a_first_challenge_that_fails_leaves_nothing_to_lean_on(plant: Plant) -> None:
    these_doubts = doubts(plant, challenged((3, 0)), AT + 5 * HOUR)
    assert [(d.why, d.start, d.end) for d in these_doubts] == [(FAILED, None, None)]
    assert these_doubts[0].holds(AT - 1000 * HOUR, AT - 999 * HOUR)


def test_overdue_is_told_after_ten_of_eight_hours_and_a_late_good_one_clears_it(plant: Plant) -> None:
    """Common practice, no source: due every 8 h; overdue from 1.25 times that."""
    good = challenged((0, 10))
    assert doubts(plant, good, AT + 10 * HOUR) == []
    these_doubts = doubts(plant, good, AT + 10.1 * HOUR)
    assert [(d.why, d.start, d.end) for d in these_doubts] == [(OVERDUE, AT, None)]
    assert doubts(plant, challenged((0, 10), (20, 10)), AT + 21 * HOUR) == []


def test_no_pass_is_no_good_challenge(plant: Plant) -> None:
    assert [d.why for d in doubts(plant, challenged((0, 10), (8, 0), passes=0), AT + 9 * HOUR)] == [FAILED]


@pytest.mark.parametrize(("n", "share", "alike"), [(10, 0.03, 0.1), (10, 0.5, 0.4), (7, 0.2, 0.0), (20, 0.9, 0.02)])
def test_clustered_passes_are_beta_binomial_by_scipy(n: int, share: float, alike: float) -> None:
    """`scipy.stats.betabinom` with a + b = 1 / correlation - 1; `scipy.stats.binom` at correlation 0."""
    from scipy.stats import betabinom, binom

    k = np.arange(n + 1)
    size = (1 - alike) / alike if alike else 0.0
    other = betabinom(n, share * size, (1 - share) * size) if alike else binom(n, share)
    values = log_beta_binomial(k.astype(float), np.full(n + 1, float(n)), np.full(n + 1, share), alike)
    assert np.exp(values) == pytest.approx(other.pmf(k), rel=1e-9)


def test_bad_luck_and_failure_are_weighed() -> None:
    """By hand: 5 of 10 caught; a station that misses 3 % (beta(3, 97) by scipy) against one that finds any share alike,
    1/11; 0.005 beforehand.
    """
    from scipy.stats import betabinom

    luck = betabinom(10, 3, 97).pmf(5)
    assert pytest.approx(0.005) == REAL
    assert failed_chance([(10, 5)], (3, 97)) == pytest.approx(0.005 / 11 / (0.005 / 11 + 0.995 * luck), rel=2e-3)
    assert failed_chance([(10, 9)], (3, 97)) < 0.01 < 0.98 < failed_chance([(10, 2)], (3, 97))
    assert failed_chance([], (3, 97)) == failed_chance([(0, 0)], (3, 97)) == REAL


def test_two_failed_challenges_tell_more_than_one_and_alike_passes_less() -> None:
    """By hand: both of a share u, integral of u^8 (1 - u)^12 x 210 x 210 = 44100 B(9, 13)."""
    from scipy.special import beta

    luck = 44100 * beta(8 + 15, 12 + 85) / beta(15, 85)
    either = 44100 * beta(9, 13)
    expected = REAL * either / (REAL * either + (1 - REAL) * luck)
    assert failed_chance([(10, 6), (10, 6)], (15, 85)) == pytest.approx(expected, rel=2e-3)
    assert failed_chance([(10, 6)], (15, 85)) < failed_chance([(10, 6), (10, 6)], (15, 85))
    assert failed_chance([(10, 4)], (3, 97), 0.3) < failed_chance([(10, 4)], (3, 97), 0.0)


def test_what_gets_past_rises_in_a_stretch_of_doubt(plant: Plant) -> None:
    """K1-mouth alone calls CHN. 100 passes of which 97 caught, prior beta(3, 97): 3 % missed; after a challenge with 0
    of 10 caught beta(11, 1): 11/12.
    """
    rows = challenged(*((-8.0 * n, 10 if n > 3 else 9) for n in range(10, 0, -1)), (8, 0), (16, 10), defect="CHN")
    stretches = doubts(plant, rows, AT + 20 * HOUR)
    moments = np.array([(AT + h * HOUR).timestamp() for h in (-10.0, 4.0, 12.0, 19.0)])
    missed = missed_by_time(plant, "K1", "CHN", passes_by_kind(sums_of(rows)), stretches, MissPrior(3, 97), moments)
    assert missed is not None and missed.guessed == ()
    usual = (3 + 3) / (100 + 110)
    assert missed.usual == pytest.approx(usual, rel=2e-3)
    assert missed.mean == pytest.approx([usual, (usual + 11 / 12) / 2, 11 / 12, usual], rel=2e-3)
    assert (missed.square >= missed.mean**2).all()


def test_places_in_a_row_and_lanes_beside_each_other(plant: Plant) -> None:
    assert places_that_see(plant, "K1", "STN") == [["K1-side-a", "K1-side-b"], ["K1-foot"]]
    lanes = pl.concat(
        [
            challenged((0, 10), station="K1-side-a", defect="STN"),
            challenged((0, 8), station="K1-side-b", defect="STN"),
            challenged((0, 9), station="K1-foot", defect="STN"),
        ]
    )
    missed = missed_by_time(
        plant, "K1", "STN", passes_by_kind(sums_of(lanes)), [], MissPrior(1, 9), np.array([AT.timestamp()])
    )
    assert missed is not None
    assert missed.mean[0] == pytest.approx(((1 + 0) / 20 + (1 + 2) / 20) / 2 * (1 + 1) / 20)


def test_a_station_never_challenged_does_as_the_works_stations_do_with_their_spread(plant: Plant) -> None:
    """By hand: K1-foot was never challenged with STN: beta(1, 9), mean 0.1, mean square 1 x 2 / (10 x 11). Neither
    nothing nor all.
    """
    side = pl.concat([challenged((0, 10), station=s, defect="STN") for s in ("K1-side-a", "K1-side-b")])
    missed = missed_by_time(
        plant, "K1", "STN", passes_by_kind(sums_of(side)), [], MissPrior(1, 9), np.array([AT.timestamp()])
    )
    assert missed is not None and missed.guessed == ("K1-foot",)
    lane, square = 1 / 20, 1 * 2 / (20 * 21)
    both = lane**2 + (square - lane**2) / 2
    assert missed.mean[0] == pytest.approx(lane * 0.1)
    assert missed.square[0] == pytest.approx(both * 2 / 110)


def works(rng: np.random.Generator, missed: np.ndarray, many: int, alike: float) -> pl.DataFrame:
    """Challenges of ten passes at stations with shares missed; the passes of one share a beta about them."""
    rows = []
    for n, share in enumerate(missed):
        size = 1 / alike - 1 if alike else 0.0
        own = rng.beta(share * size, (1 - share) * size, many) if alike else np.full(many, share)
        rows += [(AT, "K1", f"S{n}", "CHN", 10, 10 - int(k)) for k in rng.binomial(10, own)]
    return pl.DataFrame(rows, SCHEMA, orient="row").with_columns(challenges=pl.lit(1))


def test_the_works_prior_finds_mean_and_spread_of_simulated_stations() -> None:
    """Truth written down by the simulation: beta(6, 44), mean 0.12, strength 50; 60 stations, 60 challenges each."""
    rng = np.random.default_rng(3)
    strengths = []
    for _ in range(5):
        miss_prior = works_prior(works(rng, rng.beta(6, 44, 60), 60, 0.0), [])
        assert miss_prior.shown and miss_prior.mean == pytest.approx(0.12, abs=0.02)
        strengths.append(miss_prior.missed + miss_prior.found)
    assert np.mean(strengths) == pytest.approx(50, rel=0.25)
    alike = works_prior(works(rng, np.full(60, 0.12), 60, 0.0), [])
    assert alike.missed + alike.found > 3 * np.mean(strengths)


def test_the_spread_between_few_stations_is_unbiased() -> None:
    """Four stations: without (K - 1) / K the mean from the same data swallows a quarter of the variance. Kleinman, JASA
    68 (1973) 46. 20 000 works.
    """
    rng = np.random.default_rng(8)
    share = rng.beta(6, 44, (20_000, 4))
    n = np.array([40.0, 40.0, 80.0, 160.0])
    seen = rng.binomial(n.astype(int), share) / n
    mean = (seen * n).sum(axis=1, keepdims=True) / n.sum()
    squares, chance = ((seen - mean) ** 2 * n).sum(axis=1), 3 * (mean * (1 - mean))[:, 0]
    raw = (squares - chance) / (n.sum() - (n**2).sum() / n.sum() - 3)
    true = 6 * 44 / (50**2 * 51)
    assert raw.mean() == pytest.approx(true, rel=0.03)
    for row, expected in zip(seen[:50], raw[:50], strict=True):
        assert spread_between(n, row)[1] == pytest.approx(max(expected, 0.0))
        assert spread_between(n, row)[0] == pytest.approx(n @ row / n.sum())


@pytest.mark.parametrize("alike", [0.0, 0.1, 0.3])
def test_the_likeness_of_a_challenges_passes_is_found(alike: float) -> None:
    """Truth: the correlation of the simulated beta-binomial; 40 stations of their own shares, 200 challenges each."""
    rng = np.random.default_rng(17)
    value = likeness(works(rng, rng.beta(6, 44, 40), 200, alike))
    assert value == pytest.approx(alike, abs=0.02)


def test_intervals_of_clustered_passes_hold_what_they_say() -> None:
    """Clopper and Pearson hold 84 to 92 % where passes are alike by 0.1; with the effective number at least 93 %.
    Truth: the simulated share.
    """
    rng = np.random.default_rng(23)
    held = {1.0: 0, 1.9: 0}
    for _ in range(2000):
        own = rng.beta(0.15 * 9, 0.85 * 9, 30)
        caught = int((10 - rng.binomial(10, own)).sum())
        for effect in held:
            low, high = clustered_interval(caught, 300, effect)
            held[effect] += low <= 0.85 <= high
    assert held[1.0] / 2000 < 0.90 and 0.93 <= held[1.9] / 2000 <= 0.98


@pytest.mark.parametrize(("sizes", "effect"), [([10] * 30, 1.9), ([1] * 30, 1.0), ([5, 15], 2.15)])
def test_the_design_effect_is_kishs(sizes: list[int], effect: float) -> None:
    """Kish, Survey Sampling (1965) 5.4, by hand at a correlation of 0.1: 1 + (m - 1) 0.1, m the passes that a pass's
    challenge has; a pass alone in its challenge is worth a pass.
    """
    assert design_effect(sum(sizes), sum(n * n for n in sizes), 0.1) == pytest.approx(effect)


def test_alike_passes_say_less_of_what_a_station_usually_misses() -> None:
    """By hand: ten challenges of ten passes alike by 0.1 count as 100 / 1.9 passes beside the works' own 100."""
    usual = usual_of("K1-mouth", "CHN", {("K1-mouth", "CHN"): (100.0, 90.0, 1000.0)}, [], MissPrior(3, 97, 0.1))
    assert usual == pytest.approx((3 + 10 / 1.9, 97 + 90 / 1.9))


def test_unclustered_intervals_are_clopper_and_pearsons() -> None:
    """Newcombe, Statistics in Medicine 17 (1998) 857, table I: 81 of 263, 0.2527 to 0.3676."""
    assert clustered_interval(81, 263, 1.0) == proportion_interval(81, 263) == pytest.approx((0.2527, 0.3676), abs=5e-5)
    assert clustered_interval(0, 0, 3.0) == (0.0, 1.0)


def test_where_every_pass_must_be_caught_a_station_that_often_misses_one_is_as_usual(plant: Plant) -> None:
    """A station that misses 13 % of a critical defect fails three challenges of four; only the one that finds 1 of 10
    is its failure.
    """
    rng = np.random.default_rng(29)
    often = [(-8.0 * n, int(10 - rng.binomial(10, 0.13))) for n in range(90, 0, -1)]
    rows = challenged(*often, (0, 10), (8, 1), (16, 10), defect="OVP")
    stretches = doubts(plant, rows, AT + 17 * HOUR)
    chances = chances_of("K1-mouth", "OVP", passes_by_kind(sums_of(rows)), stretches, MissPrior(2.8, 19.2))
    assert len(chances) > 8 and sum(chance > 0.1 for chance in chances) == 1 and chances[-1] > 0.99


def test_where_every_challenge_failed_the_prior_stays_a_distribution() -> None:
    """All passes of all stations missed: both parameters above nothing, and a doubt's probability is a number."""
    rng = np.random.default_rng(1)
    frame = works(rng, np.ones(6), 60, 0.0)
    prior = works_prior(frame, [])
    assert prior.missed > 0 and prior.found > 0
    assert failed_chance([(20, 0)], working((prior.missed, prior.found))) > 0.8
    assert working((2.0, 18.0)) == (2.0, 18.0)
