"""How far a station's word can be taken: ware that passed while no challenge vouched for it, and how likely the station
really failed then.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any

import numpy as np
import polars as pl

from pipelines.plant.works import Plant
from pipelines.words import say

LATE = 1.25  # a challenge is overdue when this many times the set interval has gone by
REAL = 0.005  # how likely a challenge finds a station that has really failed, beforehand; a guess
SHOWN = 0.1  # a doubt is shown from this probability of a real failure on; below it is what is usual for the station
FAILED, OVERDUE, NEVER = say("failed"), say("overdue"), say("never challenged")


@dataclass(frozen=True)
class Doubt:
    """A stretch of a station's time, by its own clock, for which no challenge vouches that it finds a defect.

    start: the last good challenge, None where there was none. end: the next good one, None while there is none.
    failed_at: the first failed challenge inside, None where one is only overdue. failures: passes and caught of each
    failed one.
    """

    line: str
    station: str
    defect: str
    why: str
    start: datetime | None
    end: datetime | None
    failed_at: datetime | None
    passes: int
    caught: int
    failures: tuple[tuple[int, int], ...] = ()

    def holds(self, start: datetime, end: datetime) -> bool:
        """Whether any of [start, end) lies in it."""
        return (self.start is None or self.start < end) and (self.end is None or self.end > start)


def good(plant: Plant) -> pl.Expr:
    """Whether a challenge was passed: there was a pass, and the share that the defect's severity asks for was caught
    (of a critical one: all).
    """
    share = {code: plant.must_catch(code) for code in plant.defects}
    must = pl.col("defect").replace_strict(share, default=plant.must_catch(""), return_dtype=pl.Float64)
    return (pl.col("passes") > 0) & (pl.col("caught") >= must * pl.col("passes") - 1e-9)


def doubts(plant: Plant, challenges: pl.DataFrame, until: datetime) -> list[Doubt]:
    """Every stretch in doubt up to `until`: from the last good challenge before a failed one to the next good one, and
    since the last good one where the next is overdue.

    challenges: checked_at, line, station, defect, passes, caught. The interval and the share that must be caught are
    `[checks]` of works.toml. A challenge that came late and was passed leaves no doubt.
    """
    counted = challenges.with_columns(last="checked_at")
    failing = challenges.join(failed_kinds(plant, counted), on=["station", "defect"], how="semi")
    return doubts_of(plant, counted, failing, until)


def failed_kinds(plant: Plant, counted: pl.DataFrame) -> pl.DataFrame:
    """Station and defect where any challenge failed. counted: station, defect, passes and caught of one challenge or of
    many alike.
    """
    bad = counted.filter(pl.col("station").is_in(list(plant.stations)) & ~good(plant))
    return bad.select("station", "defect").unique(maintain_order=True)


def doubts_of(plant: Plant, counted: pl.DataFrame, failing: pl.DataFrame, until: datetime) -> list[Doubt]:
    """The same from challenges with one outcome counted together: station, defect, passes, caught and `last`, when the
    last of them was.

    failing: every challenge of the kinds of which one failed, as in `doubts`.
    """
    late = until - LATE * timedelta(hours=plant.checks.challenge_hours)
    known = counted.filter(pl.col("station").is_in(list(plant.stations)))
    fine = known.join(failed_kinds(plant, counted), on=["station", "defect"], how="anti")
    last = fine.group_by("station", "defect").agg(pl.col("last").max()).filter(pl.col("last") < late)
    found = [
        Doubt(plant.stations[station].line, station, defect, OVERDUE, when, None, None, 0, 0)
        for station, defect, when in last.iter_rows()
    ]
    marked = failing.sort("checked_at", "station", "defect", maintain_order=True).with_columns(good=good(plant))
    for (station, defect), rows in marked.group_by(["station", "defect"], maintain_order=True):
        found += _of_one(plant, str(station), str(defect), rows.to_dicts(), late)
    return sorted(found, key=lambda d: (d.line, d.station, d.defect, d.start or until))


def _of_one(plant: Plant, station: str, defect: str, rows: list[dict[str, Any]], late: datetime) -> list[Doubt]:
    line = plant.stations[station].line
    found: list[Doubt] = []
    last: datetime | None = None
    failed: list[dict[str, Any]] = []

    def close(end: datetime | None) -> None:
        each = tuple((int(r["passes"]), int(r["caught"])) for r in failed)
        sums = (sum(n for n, _ in each), sum(caught for _, caught in each))
        found.append(Doubt(line, station, defect, FAILED, last, end, failed[0]["checked_at"], *sums, each))

    for row in rows:
        if row["good"]:
            if failed:
                close(row["checked_at"])
            last, failed = row["checked_at"], []
        else:
            failed.append(row)
    if failed:
        close(None)
    elif last is not None and last < late:
        found.append(Doubt(line, station, defect, OVERDUE, last, None, None, 0, 0))
    return found


NODES, FAR = (
    81,
    14.0,
)  # points of the share missed at which luck is worked out, and how far into the tails [logit of the probability]


def failed_chance(
    failures: Sequence[tuple[int, int]], usual: tuple[float, float], alike: float = 0.0, before: float = REAL
) -> float:
    """Probability that failed challenges are no bad luck of a station as it usually is, but those of a station that
    finds any share alike.

    failures: passes and caught of each challenge. usual: beta parameters (missed, found) of the share it misses. alike:
    correlation of the passes of one challenge. before: the probability before any of them is seen. By Bayes' theorem:
    beta-binomial challenges about the usual share, which is not known exactly, against the same about a share that can
    be anything.

    References: [1] Skellam, JRSS B 10 (1948) 257: the beta-binomial. [2] Kass and Raftery, JASA 90 (1995) 773: Bayes
    factors.
    """
    return _failed_chance(tuple((int(n), int(caught)) for n, caught in failures if n > 0), usual, alike, before)


@lru_cache(maxsize=100_000)
def _failed_chance(
    failures: tuple[tuple[int, int], ...], usual: tuple[float, float], alike: float, before: float
) -> float:
    """Kept: most failed challenges of a works look alike, nine of ten caught."""
    from scipy.special import betaincinv

    values = np.array(failures, float).reshape(-1, 2)
    if not len(values):
        return before
    at = 1 / (1 + np.exp(-np.linspace(-FAR, FAR, NODES)))
    luck, any_share = (_likelihood(values, nodes, at * (1 - at), alike) for nodes in (betaincinv(*usual, at), at))
    return float(before * any_share / (before * any_share + (1 - before) * luck))


def _likelihood(values: np.ndarray, missed: np.ndarray, weights: np.ndarray, alike: float) -> float:
    """Of challenges (passes, caught), averaged over shares missed with weights."""
    logs = log_beta_binomial(values[:, 0] - values[:, 1], values[:, 0], np.clip(missed, 1e-9, 1 - 1e-9)[:, None], alike)
    return float(np.maximum(weights @ np.exp(logs.sum(axis=1)) / weights.sum(), 1e-300))


def log_beta_binomial(k: np.ndarray, n: np.ndarray, share: np.ndarray, alike: float) -> np.ndarray:
    """Logarithm of the probability of k of n where the n are alike with an intraclass correlation; binomial where it is
    0.
    """
    from scipy.special import betaln, gammaln, xlog1py, xlogy

    ways = gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1)
    if alike <= 0:
        values: np.ndarray = ways + xlogy(k, share) + xlog1py(n - k, -share)
        return values
    a, b = share * (1 - alike) / alike, (1 - share) * (1 - alike) / alike
    alike_told: np.ndarray = ways + betaln(k + a, n - k + b) - betaln(a, b)
    return alike_told
