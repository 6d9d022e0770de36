"""A mould's own spread and what the moulds lend one another: against simulated truth, a reference library, and
cases worked by hand."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from pipelines.measures.statistics.capability import capability
from pipelines.measures.weights import Study, study
from pipelines.measures.weights.rounds import Rounds
from pipelines.measures.weights.spreads import FAR_OFF, RANGES, SAMPLES, _log_f, borrowed, following, own_spreads
from tests.measures.weights.test_weights import BOTTLE, HALF, LEHR, START, Span, frame

TOLERANCE_G = 10.0  # from least to greatest weight of BOTTLE
NAMES = [str(n) for n in range(1, 25)]
GOBS = {name: "AB"[int(name) % 2] for name in NAMES}


def rounds(values: np.ndarray, samples: np.ndarray | None = None) -> Rounds:
    """[rounds, moulds] as rounds of single weighings, or of `samples` [rounds, moulds, samples]."""
    shape = values.shape
    sd = samples.std(axis=2, ddof=1) if samples is not None else np.full(shape, np.nan)
    n = np.full(shape, 1.0 if samples is None else samples.shape[2]) * ~np.isnan(values)
    names = tuple(str(k) for k in range(shape[1]))
    return Rounds(np.arange(shape[0]) * 1800.0, names, ("A",), values, sd, n, np.zeros(shape, int))


def line(rng: np.random.Generator, n: int, one_sd: float, others_sd: float, alike: float = 0.0) -> np.ndarray:
    """n single weighings [g] of 24 moulds, the first of them with another spread; `alike`: correlation of
    neighbours."""
    noise = rng.normal(size=(n, 24))
    for at in range(1, n):
        noise[at] = alike * noise[at - 1] + (1 - alike**2) ** 0.5 * noise[at]
    sd = np.full(24, others_sd)
    sd[0] = one_sd
    return np.asarray(200 + rng.normal(0, 0.8, 24) + noise * sd)


def studied(values: np.ndarray) -> Study:
    rows = [
        (START + at * HALF, name, float(values[at, k]))
        for at in range(len(values))
        for k, name in enumerate(NAMES)
        if not np.isnan(values[at, k])
    ]
    this_study = study(BOTTLE, "cold", frame(rows, GOBS), Span(START, START + timedelta(days=2)), LEHR)
    assert this_study is not None
    return this_study


@pytest.mark.parametrize("n", [8, 16, 48])
def test_the_interval_of_cp_holds_the_truth_of_a_mould_unlike_the_others(n: int) -> None:
    """One mould of 24 with twice their spread: true Cp 10 / (6 x 2.5) = 0.667, theirs 1.333. Of its 95 %
    intervals 90 to 98 %
    must hold the truth, here of 300 lines, and of the others' as well; its Cp is not drawn to theirs."""
    rng = np.random.default_rng([31, n])
    held, others, told_cp = 0, 0, []
    for _ in range(300):
        spreads = own_spreads(rounds(line(rng, n, 2.5, 1.25)))
        this_capability, other = (capability(200, s.sd, s.worth, s.freedom, 195, 205) for s in (spreads[0], spreads[6]))
        assert (
            this_capability.c is not None and this_capability.c_low is not None and this_capability.c_high is not None
        )
        assert other.c_low is not None and other.c_high is not None
        held += this_capability.c_low <= TOLERANCE_G / 15 <= this_capability.c_high
        others += other.c_low <= TOLERANCE_G / 7.5 <= other.c_high
        told_cp.append(this_capability.c)
    assert 0.90 * 300 <= held <= 0.985 * 300 and 0.90 * 300 <= others <= 0.985 * 300
    assert np.median(told_cp) == pytest.approx(TOLERANCE_G / 15, rel=0.08)


def test_a_study_tells_each_mould_by_its_own_spread() -> None:
    """The indices of a study are those of the mould's own mean and spread, also of a mould twice as wide as the
    others."""
    values = line(np.random.default_rng(30), 48, 2.5, 1.25)
    this_study, own = studied(values), own_spreads(rounds(values))
    for found, spread in zip(this_study.moulds, own, strict=True):
        mean = float(values[:, int(found.mould) - 1].mean())
        expected = capability(mean, spread.sd, 48, 0.605 * 47, 195, 205)
        assert vars(found.cap) == pytest.approx(vars(expected)) and found.spread.by == RANGES
    cp = [found.cap.c or 0.0 for found in this_study.moulds]
    assert cp[0] < 0.9 and min(cp[1:]) > 0.9


@pytest.mark.parametrize(("n", "alike"), [(16, 0.3), (48, 0.3), (48, 0.6)])
def test_weighings_that_follow_one_another_do_not_break_the_interval(n: int, alike: float) -> None:
    """Autoregressive weighings (order 1): moving ranges alone would tell a Cp 1.2 to 1.6 times too high, and
    hold hardly ever."""
    rng = np.random.default_rng([32, n, int(10 * alike)])
    held, found = 0, []
    for _ in range(150):
        spread = own_spreads(rounds(line(rng, n, 2.5, 1.25, alike)))[0]
        assert spread.sd is not None
        low, high = spread.sd * np.sqrt(spread.freedom / stats.chi2.ppf([0.975, 0.025], spread.freedom))
        held += low <= 2.5 <= high
        found.append(spread.correlation)
    assert held >= 0.88 * 150 and np.mean(found) == pytest.approx(alike, abs=0.1)


def test_independent_weighings_show_no_correlation() -> None:
    """By chance one line in forty may show one."""
    rng = np.random.default_rng(33)
    every = [rounds(line(rng, 20, 1.0, 1.0)) for _ in range(200)]
    assert sum(following(these_rounds, these_rounds.mean) > 0 for these_rounds in every) <= 12


def test_what_moves_all_moulds_of_a_gob_is_no_correlation_of_theirs() -> None:
    rng = np.random.default_rng(34)
    moved = line(rng, 40, 1.0, 1.0) + 3 * (np.arange(40) >= 20)[:, None]
    assert following(rounds(moved), moved) == 0


def test_moulds_weighed_unequally_often_stand_each_by_its_own_number() -> None:
    values = line(np.random.default_rng(35), 40, 1.0, 1.0)
    values[8:, 3] = np.nan
    values[2:, 4] = np.nan
    spreads = own_spreads(rounds(values))
    assert spreads[3].freedom == pytest.approx(0.605 * 7) and spreads[0].freedom == pytest.approx(0.605 * 39)
    assert spreads[4].sd is None, "two weighings tell no spread"
    few = studied(values).moulds[4]
    assert few.cap.c is None and few.cap.k is None and few.perf.c is None


def test_samples_of_one_time_are_pooled() -> None:
    """Worked by hand: variances 1, 4 and 7 of three samples each pool to 4, with 6 degrees of freedom."""
    triple = np.array([-1.0, 0.0, 1.0])
    samples = 200 + triple[None, None, :] * np.sqrt([1.0, 4.0, 7.0])[:, None, None]
    spread = own_spreads(rounds(samples.mean(axis=2), samples))[0]
    assert (spread.by, spread.freedom, spread.correlation) == (SAMPLES, 6, 0) and spread.sd == pytest.approx(2.0)


def test_moving_ranges_of_single_weighings() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.2: mean moving range over 1.128; 200, 202, 201, 204, 204 have ranges 2, 1,
    3, 0, mean 1.5."""
    spread = own_spreads(rounds(np.array([[200.0], [202], [201], [204], [204]])))[0]
    assert spread.by == RANGES and spread.sd == pytest.approx(1.5 / 1.128, rel=1e-3)


def test_a_slip_is_left_out_and_said() -> None:
    values = line(np.random.default_rng(36), 24, 1.0, 1.0)
    without = own_spreads(rounds(values))[5].sd
    values[11, 5] += 10 * FAR_OFF
    spread = own_spreads(rounds(values))[5]
    assert spread.left_out == (pytest.approx(values[11, 5]),) and spread.sd == pytest.approx(without, rel=0.15)


@settings(deadline=None)
@given(st.floats(-100, 100), st.floats(0.1, 10))
def test_spreads_know_no_origin_and_keep_their_unit(shift: float, unit: float) -> None:
    values = line(np.random.default_rng(37), 12, 1.0, 1.0)
    spreads, other = own_spreads(rounds(values)), own_spreads(rounds((values + shift) * unit))
    assert [s.sd * unit for s in spreads if s.sd] == pytest.approx([s.sd for s in other if s.sd], rel=1e-6)


def test_the_likelihood_of_variances_is_that_of_fishers_f() -> None:
    """scipy.stats.f, whose density of x = s2 / common is divided by the common variance."""
    s2, nu = np.array([0.5, 1.0, 4.0]), np.array([3.0, 7.0, 20.0])
    assert _log_f(s2, nu, np.array(2.0), 5.0) == pytest.approx(stats.f.logpdf(s2 / 2, nu, 5) - np.log(2))


def test_moulds_that_scatter_alike_lend_and_unlike_ones_do_not() -> None:
    """Chi-square spreads with 7 degrees of freedom of 24 moulds: true spreads equal, or lognormal with a factor
    of 2 either way."""
    rng = np.random.default_rng(38)
    alike, unlike, gain = [], [], []
    for _ in range(40):
        nu = np.full(24, 7.0)
        own = np.sqrt(rng.chisquare(nu) / nu)
        drawn, lent = borrowed(own, nu)
        alike.append(lent)
        gain.append(np.var(np.log(drawn)) / np.var(np.log(own)))
        unlike.append(borrowed(own * 2 ** rng.normal(size=24), nu)[1])
    assert np.median(alike) > 30 and np.median(gain) < 0.1, "equal moulds: the common spread, nearly"
    assert np.median(unlike) < 6


def test_one_outlying_mould_lends_nothing_and_keeps_its_own() -> None:
    """Four times the others' spread, 20 degrees of freedom each: its limits stay its own, the others' agreement
    stays."""
    rng = np.random.default_rng(39)
    nu = np.full(24, 20.0)
    own = np.sqrt(rng.chisquare(nu) / nu)
    own[0] = 4.0
    drawn, lent = borrowed(own, nu)
    assert drawn[0] == pytest.approx(4.0, rel=0.02) and lent > 30
    assert drawn[1:] == pytest.approx(np.ones(23), rel=0.15)


def test_a_mould_without_weighings_takes_the_common_spread() -> None:
    drawn, _ = borrowed(np.array([np.nan, 1.0, 1.1, 0.9]), np.array([0.0, 10.0, 10.0, 10.0]))
    assert drawn[0] == pytest.approx(1.0, rel=0.1)
    alone, lent = borrowed(np.array([np.nan, 2.0]), np.array([0.0, 5.0]))
    assert alone.tolist() == [2.0, 2.0] and lent == 0
    assert np.isnan(borrowed(np.array([np.nan]), np.zeros(1))[0]).all()
