"""Two ways to watch a stream, at equal false alarms: the scan of windows that signals use, and an e-detector.

    python -m tests.benchmarks.detectors [--streams 400] [--days 10] [--seed 1]

Streams of calls by the minute whose hours are good or bad with a known relative variance; after five hours the rate is
multiplied.
Both detectors know the expectation and the variance. Each one's limit is set on quiet streams of another seed so that
it calls one of them falsely every `ALARM_DAYS` days; then the delays are compared. The e-detector is also read at the
limit that its theorem gives.
References: Shin, Ramdas and Rinaldo, New England Journal of Statistics in Data Science 2 (2024) 229; Wang and Ramdas,
Journal of the Royal Statistical Society B 84 (2022) 822 (e-BH).
"""

from __future__ import annotations

import argparse

import numpy as np

from pipelines.measures.signals.baseline import excess_p
from pipelines.measures.signals.scan import LEAST_CALLS, QUICK_Z, WINDOWS_MIN

CASES = ((0.12, 8.0), (0.6, 4.0), (3.0, 3.0), (30.0, 1.6))  # calls an hour, factor
VARIANCE = 0.05
ALARM_DAYS = 100.0
FACTORS = np.array([1.4, 2.0, 3.0, 5.0, 8.0, 14.0])
QUIET_H = 5


def drawn(rng: np.random.Generator, rate: float, factor: float, streams: int, hours: int) -> np.ndarray:
    """Calls [streams, minutes]; `factor` from QUIET_H on."""
    mood = np.repeat(rng.gamma(1 / VARIANCE, VARIANCE, (streams, hours)), 60, axis=1)
    raised = np.where(np.arange(hours * 60) >= QUIET_H * 60, factor, 1.0)
    return rng.poisson(rate / 60 * mood * raised).astype(np.float32)


def scanned(calls: np.ndarray, rate: float) -> np.ndarray:
    """Minus the log of the least p over the windows that end with each bin that has a call [streams, minutes]; else
    0.
    """
    total = np.pad(np.cumsum(calls, axis=1), ((0, 0), (1, 0)))
    best = np.ones(calls.shape)
    s, t = np.nonzero(calls)
    for minutes in WINDOWS_MIN:
        begin = np.maximum(t + 1 - minutes, 0)
        seen, should = total[s, t + 1] - total[s, begin], rate / 60 * (t + 1 - begin)
        variance = VARIANCE / max(1.0, minutes / 60)
        near = np.flatnonzero(
            (seen >= LEAST_CALLS) & (seen - should > QUICK_Z * np.sqrt(should + variance * should**2))
        )
        p = excess_p(seen[near], should[near], np.full(len(near), variance))
        best[s[near], t[near]] = np.minimum(best[s[near], t[near]], p)
    values: np.ndarray = -np.log(best)
    return values


def betting(calls: np.ndarray, rate: float) -> np.ndarray:
    """Log of the e-detector [streams, minutes]: the mean over factors of Shiryaev-Roberts sums over starts at each
    hour.

    Inside an hour the ratio is that of the negative binomial of its calls so far, which is a martingale while nothing
    changed.
    """
    size, streams = 1 / VARIANCE, len(calls)
    sums, values = np.zeros((streams, len(FACTORS))), np.zeros(calls.shape)
    for first in range(0, calls.shape[1], 60):
        n = np.cumsum(calls[:, first : first + 60], axis=1)[:, :, None]
        mean = (rate / 60 * np.arange(1, n.shape[1] + 1))[None, :, None]
        log = n * np.log(FACTORS) - (n + size) * (np.log1p(FACTORS * mean / size) - np.log1p(mean / size))
        part = (1 + sums)[:, None, :] * np.exp(log)
        values[:, first : first + 60] = np.log(part.mean(axis=2))
        sums = part[:, -1]
    return values


def alarms_at(values: np.ndarray, limit: float, quiet_min: int = 60) -> int:
    """Alarms of all streams: runs of values above the limit, counted as one until an hour has passed without."""
    count = 0
    for row in values > limit:
        at = np.flatnonzero(row)
        count += int((np.diff(at, prepend=-(10**9)) > quiet_min).sum())
    return count


def limit_for(values: np.ndarray, alarms: float) -> float:
    """The limit at which so many alarms are raised, by halving."""
    low, high = 0.0, float(values.max())
    for _ in range(30):
        middle = (low + high) / 2
        low, high = (middle, high) if alarms_at(values, middle) > alarms else (low, middle)
    return high


def delays(values: np.ndarray, limit: float) -> np.ndarray:
    """Minutes from the change to the first value above the limit; infinite where there is none."""
    over = values[:, QUIET_H * 60 :] > limit
    return np.where(over.any(axis=1), over.argmax(axis=1), np.inf)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--streams", type=int, default=400)
    parser.add_argument("--days", type=int, default=10)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    days = asked.streams * asked.days
    print(
        "calls/h  factor   scan: median, 90 % [min]   e-detector: median, 90 % [min]   at its own limit: median, "
        "false alarms against promised"
    )
    for number, (rate, factor) in enumerate(CASES):
        quiet = drawn(np.random.default_rng([asked.seed, number, 0]), rate, 1.0, asked.streams, asked.days * 24)
        faulty = drawn(np.random.default_rng([asked.seed, number, 1]), rate, factor, asked.streams, 48)
        row = [f"{rate:7.2f}  {factor:6.1f}"]
        for detector in (scanned, betting):
            still = detector(quiet, rate)
            took = delays(detector(faulty, rate), limit_for(still, days / ALARM_DAYS))
            row.append(f"{np.median(took):14.0f} {np.quantile(took, 0.9):8.0f}")
        own = float(np.log(ALARM_DAYS * 24))  # starts are one an hour, so its theorem counts hours
        took = delays(betting(faulty, rate), own)
        row.append(f"{np.median(took):14.0f}   {alarms_at(still, own) / (days / ALARM_DAYS):6.2f}")
        print("      ".join(row))


if __name__ == "__main__":
    main()
