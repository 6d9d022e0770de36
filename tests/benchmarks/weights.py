"""Drifting gob positions: how soon found, how well placed and corrected, and how often called for nothing.

    python -m tests.benchmarks.weights [--world both] [--lines 300] [--seed 1] [--only spread]

Rough: the scatter of a mould's containers follows itself from one weighing to the next (correlation 0.4). `--only
spread`: the capability of one mould among 24 with twice their spread (tests/benchmarks/weight_spread.py). Seeds:
tests/benchmarks/worlds.py. Weighings each half hour, moulds that differ by 0.8 g, containers that scatter about their
mould; one gob position grows by 1 g in 8 hours. All times are weighing times at the cold end; the correction is
compared with the gobs that are cut at the time, a lehr time of 95 minutes ahead.
"""

from __future__ import annotations

import argparse
from dataclasses import replace

import numpy as np
from scipy.signal import lfilter

from pipelines.measures.weights.charts import judge_for, mould_charts
from pipelines.measures.weights.drift import GobSeries, alarms, fit, gob_series, with_spread
from pipelines.measures.weights.reference import Reference, reference_of
from pipelines.measures.weights.rounds import Rounds
from tests.benchmarks.weight_spread import held
from tests.benchmarks.worlds import asked_worlds, side_by_side

EVERY_S, PAST_H, LEHR_S, HOUR = 1800.0, 48, 95 * 60.0, 3600.0
FOLLOW = 0.4  # correlation of a mould's weighings half an hour apart, in a rough works
MOULDS_SD, GRAMS, OVER_H = 0.8, 1.0, 8.0


def weighings(
    rng: np.random.Generator,
    sections: int,
    gobs: int,
    scatter: float,
    samples: int,
    hours: int,
    gob: int | None,
    since_h: float,
    follow: float = 0.0,
) -> Rounds:
    """Rounds from PAST_H hours before to `hours` after zero; a gob position drifts from `since_h` on. follow:
    correlation from one weighing to the next.
    """
    seconds = np.arange(-PAST_H * 2, hours * 2) * EVERY_S
    place = np.tile(np.arange(gobs), sections)
    shape = (len(seconds), len(place))
    grown = np.clip((seconds / HOUR - since_h) / OVER_H, 0, 1) * GRAMS if gob is not None else np.zeros(len(seconds))
    mean = 200 + rng.normal(0, MOULDS_SD, len(place))[None, :] + grown[:, None] * (place == gob)[None, :]
    noise = rng.normal(0, scatter, (*shape, samples))
    if follow:
        noise = lfilter([(1 - follow**2) ** 0.5], [1.0, -follow], noise, axis=0)
    single = np.round(mean[..., None] + noise, 1)
    sd = single.std(axis=-1, ddof=1) if samples > 1 else np.full(shape, np.nan)
    names = tuple(str(n) for n in range(len(place)))
    return Rounds(
        seconds,
        names,
        tuple("ABCD"[:gobs]),
        single.mean(axis=-1),
        sd,
        np.full(shape, float(samples)),
        np.tile(place, (shape[0], 1)),
    )


def judged(rounds: Rounds, at_s: float = 0.0) -> tuple[Reference, list[GobSeries], np.ndarray, np.ndarray]:
    """Reference of what was before, gob series, averages and which points are called."""
    usual = reference_of(rounds.between(-np.inf, at_s), rounds.between(at_s, np.inf))
    series = [with_spread(these_series, at_s) for these_series in gob_series(rounds, usual)]
    averages, beyond, _ = alarms(series, usual.rounds, rounds.every_s, usual.own)
    return usual, series, averages, beyond


def drifting(lines: int, seed: int, sections: int, gobs: int, scatter: float, samples: int, follow: float) -> None:
    """Print delay, place and correction over many drifts."""
    rng = np.random.default_rng([seed, sections, gobs, samples, int(scatter * 100)])
    delays, right, inside, errors, later = [], [], [], [], []
    for _ in range(lines):
        gob, since = int(rng.integers(gobs)), float(rng.uniform(4, 8))
        rounds = weighings(rng, sections, gobs, scatter, samples, 20, gob, since, follow)
        _, series, averages, beyond = judged(rounds)
        hours = rounds.seconds / HOUR
        at = np.flatnonzero((hours > since) & beyond.any(axis=1))
        if not len(at):
            delays.append(np.inf)
            continue
        delays.append(float(hours[at[0]] - since))
        right.append(int(np.argmax(np.abs(averages[at[0]]))) == gob)
        for when, found in ((int(at[0]), errors), (int(np.searchsorted(hours, since + OVER_H)) - 1, later)):
            part = replace(
                series[gob], **{name: getattr(series[gob], name)[: when + 1] for name in ("seconds", "value", "sd")}
            )
            this_fit = fit(part, 200.0, LEHR_S)
            assert this_fit is not None
            true = float(np.clip((hours[when] + LEHR_S / HOUR - since) / OVER_H, 0, 1)) * GRAMS
            found.append(this_fit.feeder - true)
            inside.append(this_fit.feeder_low <= true <= this_fit.feeder_high)
    spread, end = np.array(errors), np.array(later)
    print(
        f"{sections} sections x {gobs}, {samples} sample(s), scatter {scatter} g: found after {np.median(delays):.2f} "
        f"h (median), {100 * np.mean(np.array(delays) <= 3):.0f} % within 3 h, "
        f"{100 * np.mean(np.array(delays) <= 4):.0f} % within 4 h; right gob {100 * np.mean(right):.1f} %; correction "
        f"at the alarm off by {np.sqrt((spread**2).mean()):.2f} g rms, {100 * np.mean(np.abs(spread) < 0.2):.0f} % "
        f"within 0.2 g; after 8 h {np.sqrt((end**2).mean()):.2f} g; 95 % interval holds {100 * np.mean(inside):.0f} %"
    )


def quiet(weeks: int, seed: int, sections: int, gobs: int, scatter: float, samples: int, follow: float) -> None:
    """Print how often gob positions and moulds of a steady line are called in a week, judged day by day."""
    rng = np.random.default_rng([seed, 99, sections, gobs, samples])
    of_gobs = of_moulds = 0
    for _ in range(weeks):
        week = weighings(rng, sections, gobs, scatter, samples, 7 * 24, None, 0.0, follow)
        for day in range(7):
            start = day * 86400.0
            rounds = week.between(start - PAST_H * HOUR, start + 86400.0)
            usual, series, _, beyond = judged(rounds, start)
            of_gobs += int((beyond[1:] & ~beyond[:-1])[rounds.seconds[1:] >= start].sum())
            charts = mould_charts(rounds, start, usual, judge_for(sections * gobs, EVERY_S), series)
            of_moulds += sum(bool(chart.called) for chart in charts)
    print(
        f"{sections} sections x {gobs}, {samples} sample(s), quiet: gob positions called {of_gobs / weeks:.2f} times "
        f"a week, moulds {of_moulds / weeks:.2f}"
    )


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--lines", "--works", type=int, default=300)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--world", choices=("tidy", "rough", "both"), default="both")
    asked.add_argument("--only", choices=("drift", "spread", "all"), default="all")
    options = asked.parse_args()
    if options.only in ("spread", "all"):
        rows: dict[str, dict[str, str]] = {}
        for world in asked_worlds(options.world):
            for weighings in (8, 16, 48):
                for what, value in held(options.lines, options.seed, world.name == "rough", weighings).items():
                    rows.setdefault(what, {})[world.name] = value
        side_by_side(f"capability, seed {options.seed}", rows)
    if options.only in ("drift", "all"):
        for world in asked_worlds(options.world):
            print(f"\n{world.name}:")
            follow = FOLLOW if world.name == "rough" else 0.0
            for sections, gobs in ((8, 2), (10, 2), (6, 3), (12, 2)):
                for scatter, samples in ((0.4, 1), (0.5, 1), (0.8, 1), (0.8, 3)):
                    drifting(options.lines, options.seed, sections, gobs, scatter, samples, follow)
            for samples in (1, 3):
                quiet(max(4, options.lines // 6), options.seed, 8, 2, 0.5, samples, follow)


if __name__ == "__main__":
    main()
