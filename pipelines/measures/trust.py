"""How far a station's word can be taken: detection rates from challenge passes, and ware that passed while nobody could vouch for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import polars as pl

from pipelines.measures.shares import proportion_interval
from pipelines.plant import Plant

LATE = 1.25  # a challenge is overdue when this many times the set interval has gone by
REAL = 0.005  # how likely a challenge finds a station that has really failed, beforehand; a guess
FAILED, OVERDUE, NEVER = "failed", "overdue", "never challenged"


@dataclass(frozen=True)
class Doubt:
    """A stretch of a station's time, by its own clock, for which no challenge vouches that it finds a defect.

    start: the last good challenge, None where there was none. end: the next good one, None while there is none.
    failed_at: the first failed challenge inside, None where one is only overdue.
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

    def holds(self, start: datetime, end: datetime) -> bool:
        """Whether any of [start, end) lies in it."""
        return (self.start is None or self.start < end) and (self.end is None or self.end > start)


def good(must_catch: float) -> pl.Expr:
    """Whether a challenge was passed: at least `must_catch` of its passes were caught, and there was a pass."""
    return (pl.col("passes") > 0) & (pl.col("caught") >= must_catch * pl.col("passes") - 1e-9)


def doubts(plant: Plant, challenges: pl.DataFrame, until: datetime) -> list[Doubt]:
    """Every stretch in doubt up to `until`: from the last good challenge before a failed one to the next good one, and since the last
    good one where the next is overdue.

    challenges: checked_at, line, station, defect, passes, caught. The interval and the share that must be caught are
    `[checks]` of works.toml. A challenge that came late and was passed leaves no doubt.
    """
    counted = challenges.with_columns(last="checked_at")
    failing = challenges.join(failed_kinds(plant, counted), on=["station", "defect"], how="semi")
    return doubts_of(plant, counted, failing, until)


def failed_kinds(plant: Plant, counted: pl.DataFrame) -> pl.DataFrame:
    """Station and defect where any challenge failed. counted: station, defect, passes and caught of one challenge or of many alike."""
    bad = counted.filter(pl.col("station").is_in(list(plant.stations)) & ~good(plant.checks.challenge_must_catch))
    return bad.select("station", "defect").unique(maintain_order=True)


def doubts_of(plant: Plant, counted: pl.DataFrame, failing: pl.DataFrame, until: datetime) -> list[Doubt]:
    """The same from challenges with one outcome counted together: station, defect, passes, caught and `last`, when the last of them was.

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
    marked = failing.sort("checked_at").with_columns(good=good(plant.checks.challenge_must_catch))
    for (station, defect), rows in marked.group_by(["station", "defect"], maintain_order=True):
        found += _of_one(plant, str(station), str(defect), rows.to_dicts(), late)
    return sorted(found, key=lambda d: (d.line, d.station, d.defect, d.start or until))


def _of_one(plant: Plant, station: str, defect: str, rows: list[dict[str, Any]], late: datetime) -> list[Doubt]:
    line = plant.stations[station].line
    found: list[Doubt] = []
    last: datetime | None = None
    failed: list[dict[str, Any]] = []

    def close(end: datetime | None) -> None:
        sums = (sum(r["passes"] for r in failed), sum(r["caught"] for r in failed))
        found.append(Doubt(line, station, defect, FAILED, last, end, failed[0]["checked_at"], *sums))

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


def sums_of(challenges: pl.DataFrame) -> pl.DataFrame:
    """Passes and caught by line, station and defect. challenges: of one challenge a row, or `challenges` alike counted together."""
    each = pl.col("challenges") if "challenges" in challenges.columns else pl.lit(1)
    sums = ((pl.col(name) * each).sum().alias(name) for name in ("passes", "caught"))
    return challenges.group_by("line", "station", "defect").agg(*sums)


@dataclass(frozen=True)
class MissPrior:
    """What the works' stations miss as a whole: beta(missed, found)."""

    missed: float
    found: float


def works_prior(sums: pl.DataFrame, stretches: Sequence[Doubt]) -> MissPrior:
    """The beta distribution of the share missed over all stations and defects of the works, from passed challenges, by moments.

    A station's own few passes are weighed against it, so that ten of ten caught does not read as "misses none". Jeffreys'
    beta(1/2, 1/2) where there is too little to tell. sums: as `sums_of` gives them.

    References: [1] Casella, American Statistician 39 (1985) 83: empirical Bayes of binomial rates by moments.
    """
    total = int(sums["passes"].sum())
    level = 1 - int(sums["caught"].sum()) / total if total else 0.5
    lost = [d for d in stretches if d.why == FAILED and really_failed(d.passes, d.caught, level) > 0.5]
    known = sums.select("station", "defect", pl.col("passes", "caught").cast(pl.Int64))
    gone = pl.DataFrame([(d.station, d.defect, -d.passes, -d.caught) for d in lost], schema=known.schema, orient="row")
    left = pl.concat([known, gone])
    sums = left.group_by("station", "defect").agg(pl.col("passes", "caught").sum()).filter(pl.col("passes") > 0)
    n, missed = sums["passes"].to_numpy().astype(float), (sums["passes"] - sums["caught"]).to_numpy().astype(float)
    if len(n) < 4 or missed.sum() < 3:
        return MissPrior(0.5, 0.5)
    mean = float(missed.sum() / n.sum())
    spread = float((n * (missed / n - mean) ** 2).sum() / n.sum())
    chance = mean * (1 - mean) * float(len(n) / n.sum())
    between = max(spread - chance, mean * (1 - mean) / 400)
    strength = min(400.0, max(2.0, mean * (1 - mean) / between - 1))
    return MissPrior(mean * strength, (1 - mean) * strength)


@dataclass(frozen=True)
class Detection:
    """How much of a defect the stations of a line find, from challenge passes; exact 95 % intervals.

    stations: one row a place in the row of stations; rate, low, high combine them: 1 - product of (1 - d) over stations in a row.
    """

    rate: float | None
    low: float
    high: float
    stations: tuple[dict[str, Any], ...]


def detection(plant: Plant, line: str, defect: str | None, sums: pl.DataFrame) -> Detection:
    """Detection of one defect at a line. Lanes of one order stand in for each other: their passes are pooled.

    The ends of the combined interval join the ends of the parts', and so hold at least 95 %. sums: station, defect, passes, caught.

    References: [1] Clopper and Pearson, Biometrika 26 (1934) 404.
    """
    if defect is None:
        return Detection(None, 0.0, 1.0, ())
    rows, missed = [], [1.0, 1.0, 1.0]
    for lanes in places_that_see(plant, line, defect):
        here = sums.filter(pl.col("station").is_in(lanes) & (pl.col("defect") == defect))
        passes, caught = int(here["passes"].sum()), int(here["caught"].sum())
        low, high = proportion_interval(caught, passes)
        rate = caught / passes if passes else None
        rows.append({"stations": lanes, "passes": passes, "caught": caught, "rate": rate, "low": low, "high": high})
        if passes:
            missed = [m * (1 - d) for m, d in zip(missed, (caught / passes, high, low), strict=True)]
    if not any(row["passes"] for row in rows):
        return Detection(None, 0.0, 1.0, tuple(rows))
    return Detection(1 - missed[0], 1 - missed[2], 1 - missed[1], tuple(rows))


def places_that_see(plant: Plant, line: str, defect: str) -> list[list[str]]:
    """The lanes that can call a defect, by their place in the row of a line's stations."""
    able = [s for s in plant.stations_of(line) if s.can_call(defect)]
    return [[s.id for s in able if s.order == order] for order in sorted({s.order for s in able})]


@dataclass(frozen=True)
class Missed:
    """The share of a defect that gets past all stations, by bin: mean, and mean of its square."""

    mean: np.ndarray
    square: np.ndarray


def missed_by_time(
    plant: Plant,
    line: str,
    defect: str,
    sums: pl.DataFrame,
    stretches: Sequence[Doubt],
    prior: MissPrior,
    moments: np.ndarray,
) -> Missed | None:
    """What gets past the stations of a line, for ware that met the first station at `moments` (seconds since 1970, UTC). sums: as `sums_of` gives them.

    Lanes count by equal parts. In a stretch of doubt by a failed challenge the failed passes alone speak from the failure on, as far as it is
    likely that the station really failed; between the last good challenge and the failure, when nobody knows which holds, the mean of both.
    Places never challenged count as finding nothing. None where no place was ever challenged with this defect.
    """
    mean, square, known = np.ones(len(moments)), np.ones(len(moments)), False
    for lanes in places_that_see(plant, line, defect):
        told = [
            part for lane in lanes if (part := _lane(plant, lane, defect, sums, stretches, prior, moments)) is not None
        ]
        if not told:
            continue
        known = True
        lane_mean = sum(m for m, _ in told) / len(told)
        spread = sum(s - m**2 for m, s in told) / len(told) ** 2
        mean, square = mean * lane_mean, square * (lane_mean**2 + spread)
    return Missed(mean, square) if known else None


def _lane(
    plant: Plant,
    lane: str,
    defect: str,
    sums: pl.DataFrame,
    stretches: Sequence[Doubt],
    prior: MissPrior,
    moments: np.ndarray,
) -> tuple[np.ndarray, np.ndarray] | None:
    here = sums.filter((pl.col("station") == lane) & (pl.col("defect") == defect))
    if here.is_empty():
        return None
    mine = [d for d in stretches if (d.station, d.defect) == (lane, defect) and d.why == FAILED]
    passes = float(here["passes"].sum()) - sum(d.passes for d in mine)
    caught = float(here["caught"].sum()) - sum(d.caught for d in mine)
    usual = _beta(prior.missed + passes - caught, prior.found + caught)
    real = [really_failed(d.passes, d.caught, usual[0]) for d in mine]
    passes = passes + sum((1 - p) * d.passes for p, d in zip(real, mine, strict=True))
    caught = caught + sum((1 - p) * d.caught for p, d in zip(real, mine, strict=True))
    usual = _beta(prior.missed + passes - caught, prior.found + caught)
    mean, square = np.full(len(moments), usual[0]), np.full(len(moments), usual[1])
    seen = moments + plant.stations[lane].after_minutes * 60
    for doubt, chance in zip(mine, real, strict=True):
        alone = _beta(1.0 + doubt.passes - doubt.caught, 1.0 + doubt.caught)
        bad = tuple(chance * a + (1 - chance) * b for a, b in zip(alone, usual, strict=True))
        first = doubt.start.timestamp() if doubt.start else -np.inf
        failed = doubt.failed_at.timestamp() if doubt.failed_at else first
        last = doubt.end.timestamp() if doubt.end else np.inf
        between, after = (seen >= first) & (seen < failed), (seen >= failed) & (seen < last)
        mean[after], square[after] = bad
        mean[between], square[between] = (usual[0] + bad[0]) / 2, (usual[1] + bad[1]) / 2
    return mean, square


def really_failed(passes: int, caught: int, missed: float) -> float:
    """Probability that a failed challenge is no bad luck of a station that misses a share `missed`, but a station that finds any share alike.

    REAL before it is seen; then by Bayes' theorem, binomial against uniform.
    """
    from scipy.special import gammaln

    share = min(max(missed, 1e-6), 1 - 1e-6)
    ways = gammaln(passes + 1) - gammaln(caught + 1) - gammaln(passes - caught + 1)
    luck = float(np.exp(ways + caught * np.log(1 - share) + (passes - caught) * np.log(share)))
    return REAL / (passes + 1) / (REAL / (passes + 1) + (1 - REAL) * luck)


def _beta(a: float, b: float) -> tuple[float, float]:
    """Mean and mean square of a beta distribution."""
    mean = a / (a + b)
    return mean, mean * (a + 1) / (a + b + 1)
