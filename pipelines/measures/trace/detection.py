"""How much of a defect the stations find: challenge passes by station, the works' stations as a whole, and what gets
past by time.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from pipelines.measures.statistics.shares import clustered_interval
from pipelines.measures.trace.false_calls import Split
from pipelines.measures.trace.trust import FAILED, Doubt, failed_chance
from pipelines.plant.works import Plant

LEAST_KINDS, LEAST_MISSED = 4, 3  # stations x defects, and missed passes, before the works' stations tell a spread
TIGHT = 20.0  # passes' worth of knowledge of a station, before the works' spread is known
LEAST_MISS, WIDE = 0.02, 2.0  # without a spread: a guess of the share missed as wide as two passes
MOST_USUAL = 0.3  # a station that misses more than this share is not doing as usual, however many of the works do
MOST_TIGHT = 400.0  # passes' worth of knowledge that the works' stations can lend to one of them
MOST_ALIKE, LEAST_CHALLENGES = 0.9, 20


def sums_of(challenges: pl.DataFrame) -> pl.DataFrame:
    """Passes and caught by line, station and defect, and `squares`, the sum of squared passes of a challenge.

    challenges: of one challenge a row, or `challenges` alike counted together.
    """
    each = pl.col("challenges") if "challenges" in challenges.columns else pl.lit(1)
    known = challenges.with_columns(pl.col("passes", "caught").cast(pl.Int64))
    sums = ((pl.col(name) * each).sum().alias(name) for name in ("passes", "caught"))
    return known.group_by("line", "station", "defect", maintain_order=True).agg(
        *sums, (pl.col("passes") ** 2 * each).sum().alias("squares")
    )


def without_failures(counted: pl.DataFrame, lost: Sequence[Doubt]) -> pl.DataFrame:
    """Challenges counted together, less the failed ones of stations that really failed. counted: station, defect,
    passes, caught, `challenges`.
    """
    gone = [(d.station, d.defect, *outcome, -1) for d in lost for outcome in d.failures]
    names = ("station", "defect", "passes", "caught", "challenges")
    each = counted if "challenges" in counted.columns else counted.with_columns(challenges=pl.lit(1))
    known = each.select(*names[:2], *(pl.col(n).cast(pl.Int64) for n in names[2:]))
    rows = pl.concat([known, pl.DataFrame(gone, schema=known.schema, orient="row")])
    return rows.group_by(names[:4]).agg(pl.col("challenges").sum()).filter(pl.col("challenges") > 0).sort(names[:4])


def likeness(counted: pl.DataFrame) -> float:
    """How much alike the passes of one challenge are: their intraclass correlation, of all stations and defects
    together; 0 where none shows, and under LEAST_CHALLENGES.

    counted: station, defect, passes, caught, challenges. One less the chance that two passes of one challenge differ,
    over the chance that two passes of different challenges of the same station and defect differ.

    References: [1] Fleiss and Cuzick, Applied Psychological Measurement 3 (1979) 537, agreement of two within over two
    across. [2] Ridout, Demetrio and Firth, Biometrics 55 (1999) 137, estimators of it.
    """
    if int(counted["challenges"].sum()) < LEAST_CHALLENGES:
        return 0.0
    each = counted.with_columns(missed=pl.col("passes") - pl.col("caught")).with_columns(
        differ=pl.col("missed") * pl.col("caught"), pairs=pl.col("passes") * (pl.col("passes") - 1)
    )
    kinds = each.group_by("station", "defect", maintain_order=True).agg(
        *((pl.col(name) * pl.col("challenges")).sum() for name in ("passes", "missed", "caught", "differ", "pairs")),
        squares=(pl.col("passes") ** 2 * pl.col("challenges")).sum(),
    )
    across = kinds.with_columns(apart=pl.col("passes") ** 2 - pl.col("squares")).filter(pl.col("apart") > 0)
    expected = ((pl.col("missed") * pl.col("caught") - pl.col("differ")) * pl.col("pairs") / pl.col("apart")).sum()
    within, wanted = across.select(pl.col("differ").sum(), expected.alias("wanted")).row(0)
    return float(np.clip(1 - within / wanted, 0.0, MOST_ALIKE)) if wanted and wanted > 0 else 0.0


def design_effect(passes: float, squares: float, alike: float) -> float:
    """By how much clustered passes tell less than independent ones: 1 + (m - 1) x correlation, m the mean of a pass's
    own challenge's passes.

    References: [1] Kish, Survey Sampling (1965), section 5.4.
    """
    return 1.0 + max(0.0, squares / passes - 1) * alike if passes > 0 else 1.0


@dataclass(frozen=True)
class MissPrior:
    """What the works' stations miss as a whole: beta(missed, found). alike: correlation of the passes of one challenge.

    shown: whether enough stations were challenged to show it; without that it is a guess.
    """

    missed: float
    found: float
    alike: float = 0.0
    shown: bool = True

    @property
    def mean(self) -> float:
        return self.missed / (self.missed + self.found)


def works_prior(counted: pl.DataFrame, stretches: Sequence[Doubt]) -> MissPrior:
    """The beta distribution of the share missed over all stations and defects of the works, from challenges, by
    moments.

    Stations with few passes are weighed against it, so that ten of ten caught does not read as "misses none"; one never
    challenged is taken to be one of them. Failed challenges of stations that really failed are left out. A guess where
    there is too little to tell.
    counted: station, defect, passes, caught, challenges. With K kinds of weights n, about the weighted mean m:
    E sum n (x - m)^2 = (K - 1) (m (1 - m) - t) + t (N - sum n^2 / N), t the variance between kinds.

    References: [1] Kleinman, Journal of the American Statistical Association 68 (1973) 46: moments of beta-binomial
    rates, and the (K - 1) / K that a mean from the same data needs.
    """
    total = counted.select((pl.col("passes") * _each(counted)).sum(), (pl.col("caught") * _each(counted)).sum()).row(0)
    level = min(max(1 - total[1] / total[0] if total[0] else 0.5, LEAST_MISS), MOST_USUAL)
    lost = [
        d
        for d in stretches
        if d.why == FAILED and failed_chance(d.failures, (level * TIGHT, (1 - level) * TIGHT)) > 0.5
    ]
    left = without_failures(counted, lost)
    alike = likeness(left)
    sums = sums_of(left.with_columns(line=pl.lit(""))).filter(pl.col("passes") > 0)
    passes, missed = sums["passes"].to_numpy().astype(float), (sums["passes"] - sums["caught"]).to_numpy().astype(float)
    if len(passes) < LEAST_KINDS or missed.sum() < LEAST_MISSED:
        mean = max((missed.sum() + 0.5) / (passes.sum() + 1.0), LEAST_MISS)
        return MissPrior(mean * WIDE, (1 - mean) * WIDE, alike, shown=False)
    effect = np.array([design_effect(n, q, alike) for n, q in zip(passes, sums["squares"], strict=True)])
    mean, between = spread_between(passes / effect, missed / passes)
    mean = min(max(mean, LEAST_MISS / 10), 1 - LEAST_MISS)  # a beta distribution needs both: nothing is always missed
    strength = min(MOST_TIGHT, max(WIDE, mean * (1 - mean) / max(between, 1e-12) - 1))
    return MissPrior(mean * strength, (1 - mean) * strength, alike)


def working(usual: tuple[float, float]) -> tuple[float, float]:
    """What a failure is held against (missed, found): the usual, or a station that misses MOST_USUAL where the usual is
    worse than that.

    Where every challenge of a works failed, failing is its usual and no failure would stand out.
    """
    missed, found = usual
    return usual if missed <= MOST_USUAL * (missed + found) else (MOST_USUAL * TIGHT, (1 - MOST_USUAL) * TIGHT)


def _each(counted: pl.DataFrame) -> pl.Expr:
    return pl.col("challenges") if "challenges" in counted.columns else pl.lit(1)


def spread_between(n: np.ndarray, shares: np.ndarray) -> tuple[float, float]:
    """The mean of shares of n trials each, and the variance between them beyond chance (at least 0): the moments in
    `works_prior`.
    """
    mean = float(n @ shares / n.sum())
    squares = float(n @ (shares - mean) ** 2)
    chance = (len(n) - 1) * mean * (1 - mean)
    return mean, max(0.0, (squares - chance) / float(n.sum() - (n**2).sum() / n.sum() - (len(n) - 1)))


@dataclass(frozen=True)
class Detection:
    """How much of a defect the stations of a line find, from challenge passes; 95 % intervals, wider where the passes
    of a challenge are alike.

    stations: one row a place in the row of stations; rate, low, high combine them: 1 - product of (1 - d) over stations
    in a row.
    """

    rate: float | None
    low: float
    high: float
    stations: tuple[dict[str, Any], ...]


def detection(plant: Plant, line: str, defect: str | None, sums: pl.DataFrame, alike: float = 0.0) -> Detection:
    """Detection of one defect at a line. Lanes of one order stand in for each other: their passes are pooled.

    The ends of the combined interval join the ends of the parts', and so hold at least 95 %. sums: as `sums_of` gives
    them.
    A place that was never challenged is left out of the combined rate; `guess` in its row says what the works' stations
    do.

    References: [1] Clopper and Pearson, Biometrika 26 (1934) 404. [2] Korn and Graubard, Survey Methodology 24 (1998)
    193.
    """
    if defect is None:
        return Detection(None, 0.0, 1.0, ())
    rows, missed = [], [1.0, 1.0, 1.0]
    for lanes in places_that_see(plant, line, defect):
        here = sums.filter(pl.col("station").is_in(lanes) & (pl.col("defect") == defect))
        passes, caught, squares = (int(here[name].sum()) for name in ("passes", "caught", "squares"))
        low, high = clustered_interval(caught, passes, design_effect(passes, squares, alike))
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
    """The share of a defect that gets past all stations, by bin: mean, and mean of its square.

    usual: the mean outside stretches of doubt. guessed: stations never challenged with it. split: what the calls are
    made of; None: all true.
    """

    mean: np.ndarray
    square: np.ndarray
    usual: float = 1.0
    guessed: tuple[str, ...] = ()
    split: Split | None = None

    @property
    def found(self) -> np.ndarray:
        """The share that is called, by bin: by the stations that sent counts where that is known."""
        values: np.ndarray = 1 - self.mean
        if self.split is not None:
            values = values * self.split.mean(self.split.found) / max(1 - self.split.mean(self.split.past), 1e-3)
        return np.maximum(values, 1e-3)

    @property
    def false(self) -> float:
        """Calls of good ware per container of the line."""
        return 0.0 if self.split is None else self.split.mean(self.split.false)


def missed_by_time(
    plant: Plant,
    line: str,
    defect: str,
    sums: Passes,
    stretches: Sequence[Doubt],
    prior: MissPrior,
    moments: np.ndarray,
) -> Missed | None:
    """What gets past the stations of a line, for ware that met the first station at `moments` (seconds since 1970,
    UTC). sums: as `passes_by_kind` gives them.

    Lanes count by equal parts. In a stretch of doubt by a failed challenge the failed passes alone speak from the
    failure on, as far as it is likely that the station really failed; between the last good challenge and the failure,
    when nobody knows which holds, the mean of both. A station never challenged does as the works' stations do, with
    their spread. None where no station can call the defect, and where no station of the works was ever challenged.
    """
    places = places_that_see(plant, line, defect)
    if not places or not any(passes for passes, _, _ in sums.values()):
        return None
    mean, square, whole, guessed = np.ones(len(moments)), np.ones(len(moments)), 1.0, []
    for lanes in places:
        rows = [_lane(plant, lane, defect, sums, stretches, prior, moments) for lane in lanes]
        guessed += [lane for lane in lanes if not sums.get((lane, defect), (0.0,))[0]]
        lane_mean = sum(m for m, _, _ in rows) / len(rows)
        spread = sum(s - m**2 for m, s, _ in rows) / len(rows) ** 2
        whole *= sum(usual for _, _, usual in rows) / len(rows)
        mean, square = mean * lane_mean, square * (lane_mean**2 + spread)
    return Missed(mean, square, whole, tuple(guessed))


Passes = Mapping[tuple[str, str], tuple[float, float, float]]


def passes_by_kind(sums: pl.DataFrame) -> Passes:
    """Passes, caught and squares by station and defect. sums: as `sums_of` gives them."""
    rows = sums.select("station", "defect", "passes", "caught", "squares").iter_rows()
    return {(station, defect): (float(n), float(caught), float(q)) for station, defect, n, caught, q in rows}


def usual_of(
    station: str, defect: str, sums: Passes, stretches: Sequence[Doubt], prior: MissPrior, weights: Sequence[float] = ()
) -> tuple[float, float]:
    """Beta parameters (missed, found) of what a station usually misses: its own passes beside the works' stations'.

    weights: how far each of its failed stretches counts as a failure and so does not speak for the usual; whole without
    them.
    """
    passes, caught, squares = sums.get((station, defect), (0.0, 0.0, 0.0))
    effect = design_effect(passes, squares, prior.alike)
    mine = failures_of(station, defect, stretches)
    out = weights or [1.0] * len(mine)
    passes -= sum(w * d.passes for w, d in zip(out, mine, strict=True))
    caught -= sum(w * d.caught for w, d in zip(out, mine, strict=True))
    return prior.missed + max(0.0, passes - caught) / effect, prior.found + max(0.0, caught) / effect


def failures_of(station: str, defect: str, stretches: Sequence[Doubt]) -> list[Doubt]:
    """A station's stretches of doubt by failed challenges with a defect."""
    return [d for d in stretches if (d.station, d.defect) == (station, defect) and d.why == FAILED]


def chances_of(station: str, defect: str, sums: Passes, stretches: Sequence[Doubt], prior: MissPrior) -> list[float]:
    """How likely it is in each of a station's failed stretches that it really failed, against what it usually does.

    A stretch is held against all the station's other challenges: where every pass must be caught most of them fail too,
    and leaving those out would make any station look as if it usually missed nothing. Then once more, with the others
    out as far as they were real.
    """
    mine = failures_of(station, defect, stretches)
    chances = [0.0] * len(mine)
    for _ in range(2):
        chances = [
            failed_chance(
                doubt.failures,
                working(usual_of(station, defect, sums, mine, prior, [*chances[:n], 1.0, *chances[n + 1 :]])),
                prior.alike,
            )
            for n, doubt in enumerate(mine)
        ]
    return chances


def _lane(
    plant: Plant,
    lane: str,
    defect: str,
    sums: Passes,
    stretches: Sequence[Doubt],
    prior: MissPrior,
    moments: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, float]:
    mine, real = failures_of(lane, defect, stretches), chances_of(lane, defect, sums, stretches, prior)
    usual = _beta(*usual_of(lane, defect, sums, stretches, prior, real))
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
    return mean, square, usual[0]


def _beta(a: float, b: float) -> tuple[float, float]:
    """Mean and mean square of a beta distribution."""
    mean = a / (a + b)
    return mean, mean * (a + 1) / (a + b + 1)
