"""All that a window's weighings of one item on one line tell."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import numpy as np
import polars as pl

from pipelines.clock import Span
from pipelines.measures.lehr.lehr_time import LehrTime
from pipelines.measures.statistics.capability import Capability, capability
from pipelines.measures.statistics.components import Component, components
from pipelines.measures.weights.charts import Judge, MouldChart, judge_for, mould_charts
from pipelines.measures.weights.drift import Fit, GobSeries, alarms, fit, gob_series, with_spread
from pipelines.measures.weights.reference import Reference, reference_of
from pipelines.measures.weights.rounds import NOWHERE, Rounds, rounds_of
from pipelines.measures.weights.spreads import Spread, own_spreads
from pipelines.plant.tables import Item
from schemas.answers.weights import Weights

PAST = timedelta(hours=48)  # of the same item before the window, by which it is judged


@dataclass(frozen=True)
class GobFound:
    """A gob position: its series, when it was first called in the window (None: never), whether it still is, and its
    drift.
    """

    gob: str
    series: GobSeries
    average: np.ndarray
    limit: float
    called_s: float | None
    still: bool
    fit: Fit | None
    usual_g: float


@dataclass(frozen=True)
class MouldFound:
    """One mould in the window. cap, perf: indices by its own spread within (`spread`) and by its overall one."""

    mould: str
    chart: MouldChart
    values: np.ndarray
    cavities: tuple[str, ...]
    cap: Capability
    perf: Capability
    spread: Spread


@dataclass(frozen=True)
class Study:
    """Everything about one item at one point; see `schemas.answers.weights.Weights`. judged_by: what was usual; rounds:
    past and window.
    """

    item: Item | None
    point: str
    rows: pl.DataFrame
    rounds: Rounds
    usual: Reference
    judge: Judge
    moulds: tuple[MouldFound, ...]
    gobs: tuple[GobFound, ...]
    parts: dict[str, Component]
    start_s: float

    @property
    def here(self) -> Rounds:
        return self.rounds.between(self.start_s, np.inf)


@dataclass(frozen=True)
class ItemStudy:
    """One item's answer with the study behind each weighing point; the first is the answer's own."""

    weights: Weights
    points: tuple[Study, ...]


def study(item: Item | None, point: str, weighings: pl.DataFrame, span: Span, lehr: LehrTime) -> Study | None:
    """What the weighings (sampled_at, mould, weight_g, section, gob) of an item at a point tell of [span.start,
    span.end), judged by those before it; None without any in it.
    """
    rows = weighings.filter(pl.col("sampled_at") >= span.start)
    if rows.is_empty():
        return None
    rounds, start_s = rounds_of(weighings), span.start.timestamp()
    past, here = rounds.between(-np.inf, start_s), rounds.between(start_s, np.inf)
    usual = reference_of(past, here)
    judged = here if usual.own else rounds
    judge = judge_for(here.n.any(axis=0).sum(), rounds.every_s)
    series = [with_spread(these_series, start_s) for these_series in gob_series(judged, usual)]
    charts = mould_charts(judged, start_s, usual, judge, series)
    return Study(
        item,
        point,
        rows,
        judged,
        usual,
        judge,
        _moulds(item, rows, here, charts),
        _gobs(judged, series, usual, start_s, item, point, lehr),
        _parts(rows, here),
        start_s,
    )


def _moulds(item: Item | None, rows: pl.DataFrame, here: Rounds, charts: list[MouldChart]) -> tuple[MouldFound, ...]:
    spreads = own_spreads(here)
    low, high = (item.weight_min_g, item.weight_max_g) if item else (None, None)
    values_of = dict(rows.group_by("mould").agg(pl.col("weight_g")).iter_rows())
    places: dict[str, list[str]] = {}
    for mould, section, gob in (
        rows.select("mould", "section", "gob").unique(maintain_order=True).drop_nulls().iter_rows()
    ):
        places.setdefault(mould, []).append(f"{section}{gob}")
    found = []
    for chart in charts:
        values, spread = np.array(values_of[chart.mould]), spreads[here.moulds.index(chart.mould)]
        mean, n = float(values.mean()), len(values)
        cap = capability(mean, spread.sd, spread.worth, spread.freedom, low, high)
        r = spread.correlation
        overall = float(values.std(ddof=1)) if spread.sd is not None and n > 1 else None
        perf = capability(mean, overall, spread.worth, (n - 1) * (1 - r**2) / (1 + r**2), low, high)
        place = tuple(places.get(chart.mould, ()))
        found.append(MouldFound(chart.mould, chart, values, place, cap, perf, spread))
    return tuple(found)


def _gobs(
    rounds: Rounds,
    series: list[GobSeries],
    usual: Reference,
    start_s: float,
    item: Item | None,
    point: str,
    lehr: LehrTime,
) -> tuple[GobFound, ...]:
    if not series:
        return ()
    averages, beyond, limit = alarms(series, usual.rounds, rounds.every_s, usual.own)
    inside = rounds.seconds >= start_s
    ahead = lehr.minutes * 60 if point == "cold" else 0.0
    found = []
    for number, (gob, these_series) in enumerate(zip(rounds.gobs, series, strict=True)):
        at = np.flatnonzero(inside & beyond[:, number] & ~np.isnan(these_series.value))
        seen = np.flatnonzero(inside & ~np.isnan(these_series.value))
        still = bool(len(at) and at[-1] == seen[-1])
        usual_g = _usual_of(rounds, usual, number)
        drift = fit(these_series, item.weight_g if item else usual_g, ahead) if still else None
        called = float(rounds.seconds[at[0]]) if len(at) else None
        found.append(
            GobFound(gob, these_series, averages[:, number], limit, called, still and drift is not None, drift, usual_g)
        )
    return tuple(found)


def _usual_of(rounds: Rounds, usual: Reference, number: int) -> float:
    """Mean of what is usual for the moulds of a gob position, those that it has last."""
    last = np.array(
        [column[column != NOWHERE][-1] if (column != NOWHERE).any() else NOWHERE for column in rounds.gob.T]
    )
    mine = usual.mean[last == number]
    known = mine if len(mine) and not np.isnan(mine).all() else usual.mean
    return float(np.nanmean(known)) if not np.isnan(known).all() else float("nan")


def _parts(rows: pl.DataFrame, here: Rounds) -> dict[str, Component]:
    """Components of moulds, gob positions and times (rounds); gob positions only where every weighing has one."""
    second = rows["sampled_at"].dt.epoch("ms").to_numpy() / 1000
    times = np.searchsorted(here.seconds, second, side="right") - 1
    effects = {"moulds": rows["mould"].rank("dense").to_numpy(), "times": times}
    if rows["gob"].null_count() == 0:
        effects["gobs"] = rows["gob"].rank("dense").to_numpy()
    return components(rows["weight_g"].to_numpy(), effects)
