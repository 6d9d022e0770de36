"""A machine's cavities over a window: what each was called for, defect by defect, and how unusual that is beyond what
signals explain.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import polars as pl

from pipelines.measures.pareto.explained_calls import CAPPED, WEIGHT, Explained, Spot
from pipelines.measures.signals.baseline import excess_p
from pipelines.measures.signals.scan import benjamini_hochberg
from pipelines.measures.statistics.shares import ratio

FAR, MORE = 0.01, 0.1  # adjusted probabilities below which a cavity stands out far, or stands out
HABIT = 0.25  # relative variance between moulds where nothing is known of them, as where signals are followed
OWN = ("far", "more")


@dataclass(frozen=True)
class Cell:
    """A defect in a cavity. expected: calls by the past or by the other cavities; explained: what signals bring beyond
    that;
    q: false-discovery-adjusted probability, over all cavities and defects, of so many by chance."""

    defect: str
    calls: int
    expected: float
    explained: float
    q: float
    level: str

    @property
    def should(self) -> float:
        return self.expected + self.explained

    @property
    def times(self) -> float | None:
        """Calls over what the past and the signals let expect."""
        return ratio(self.calls, self.should)


@dataclass(frozen=True)
class CavityState:
    """One cavity. moulds: numbers fitted in the window, the last one last. ware: containers of it, unread ones shared
    out in proportion. expected, explained: of the defects that could be judged. cells: those that stand out for what no
    signal explains, the surest first; signals: numbers of the signals in whose place it lies. worst: its most frequent
    defects, critical first.
    beyond: calls above what the past lets expect, of those that signals explain and of those it is named for.
    level: that of its cells, else "signal" (part of one), "usual", "unknown" (nothing to compare with) or "empty" (no
    ware).
    """

    section: int
    gob: str
    moulds: tuple[str, ...]
    calls: int
    critical: int
    ware: float
    expected: float | None
    explained: float
    q: float | None
    worst: tuple[tuple[str, int], ...]
    level: str
    cells: tuple[Cell, ...] = ()
    signals: tuple[int, ...] = ()
    beyond: float = 0.0

    @property
    def rate(self) -> float | None:
        return ratio(self.calls, self.ware)

    @property
    def times(self) -> float | None:
        """Calls over calls expected by the past."""
        return ratio(self.calls, self.expected)


@dataclass(frozen=True)
class Counts:
    """calls: [cavities, defects]; ware: [cavities] containers, unread ones shared out in proportion."""

    calls: np.ndarray
    ware: np.ndarray


@dataclass(frozen=True)
class ExpectedCalls:
    """What the cells should bring [cavities, defects]. variance: beyond Poisson, calls squared; doubt: standard
    deviation of expected [calls]; known: whether a cell can be judged.
    """

    calls: np.ndarray
    variance: np.ndarray
    doubt: np.ndarray
    known: np.ndarray


def cell_counts(
    calls: pl.DataFrame, ware: pl.DataFrame, places: Sequence[Spot], defects: Sequence[str], stations: Sequence[str]
) -> Counts:
    """Calls by cavity and defect, and ware by cavity.

    calls: defect, section, gob, calls; ware: station, mould, section, gob, inspected. stations: the lanes at which
    moulds are read first; their unread ware is shared out in proportion to the read.
    """
    rows, columns = {place: n for n, place in enumerate(places)}, {code: n for n, code in enumerate(defects)}
    values, passed = np.zeros((len(places), len(defects))), np.zeros(len(places))
    here = ware.filter(pl.col("station").is_in(list(stations)))
    known = float(here.filter(pl.col("mould").is_not_null())["inspected"].sum())
    scale = float(here["inspected"].sum()) / known if known else 0.0
    for section, gob, seen in here.group_by("section", "gob").agg(pl.col("inspected").sum()).iter_rows():
        if (section, gob) in rows:
            passed[rows[section, gob]] = seen * scale
    for section, gob, code, count in calls.group_by("section", "gob", "defect").agg(pl.col("calls").sum()).iter_rows():
        if (section, gob) in rows and code in columns:
            values[rows[section, gob], columns[code]] = count
    return Counts(values, passed)


def by_the_past(
    past: pl.DataFrame, moulds: Mapping[Spot, tuple[str, ...]], places: Sequence[Spot], defects: Sequence[str]
) -> ExpectedCalls:
    """What the past of the moulds fitted in each place leads one to expect. past: mould, defect, expected, variance,
    doubt.
    """
    rows = {mould: n for n, place in enumerate(places) for mould in moulds.get(place, ())}
    columns = {code: n for n, code in enumerate(defects)}
    answer = np.zeros((3, len(places), len(defects)))
    for mould, code, *values in past.select("mould", "defect", "expected", "variance", "doubt").iter_rows():
        if mould in rows and code in columns:
            answer[:, rows[mould], columns[code]] += values
    return ExpectedCalls(answer[0], answer[1], answer[2], answer[0] > 0)


def by_the_others(counts: Counts, inside: np.ndarray) -> ExpectedCalls:
    """What each cavity should bring of each defect at the rate of all others; `inside`: cells in a signal's place,
    which tell nothing.

    A rate known from n calls has the relative variance 1 / (n + 1/2) (Jeffreys' gamma posterior); what cavities differ
    beyond chance is drawn to HABIT and estimated from all cells but the one judged, so that a bad one does not widen
    its own limits.
    References: [1] Gelman et al., Bayesian Data Analysis, 3rd ed., 2.6 (gamma and Poisson). [2] McCullagh and Nelder,
    Generalized Linear Models, 2nd ed., 6.2 (moment estimates of over-dispersion).
    """
    calls, ware = counts.calls, np.broadcast_to(counts.ware[:, None], counts.calls.shape)
    outside = ~inside
    some: np.ndarray = np.logical_or.reduce(outside & (ware > 0), axis=0, keepdims=True)
    free = outside | ~some  # of a signal of the whole machine the cavities tell by themselves
    seen, passed = calls * free, ware * free
    others = seen.sum(axis=0) - seen + 0.5
    behind = passed.sum(axis=0) - passed
    called = calls.sum(axis=0) > 0
    known = (ware > 0) & (behind > 0) & called[None, :]
    expected = np.where(known, ware * others / np.maximum(behind, 1e-9), 0.0)
    apart = np.minimum((calls - expected) ** 2, CAPPED * (expected + HABIT * expected**2)) - expected
    of_cell, scale = apart * free * known, expected**2 * free * known
    spread = (np.maximum(0.0, of_cell.sum() - of_cell) + WEIGHT * HABIT) / (scale.sum() - scale + WEIGHT)
    return ExpectedCalls(expected, spread * expected**2, expected / np.sqrt(others), known)


def cavity_states(
    places: Sequence[Spot],
    defects: Sequence[str],
    counts: Counts,
    moulds: Mapping[Spot, tuple[str, ...]],
    expected: ExpectedCalls,
    explained: Explained,
    judged: Sequence[str],
    critical: Sequence[str],
    shown: Sequence[str],
) -> list[CavityState]:
    """Every place of the machine with what is unusual beyond what signals explain.

    judged: the defects that are faults of the ware; shown: those that are counted and told. All judged cells are tested
    at once, whatever is shown, so that a page of one defect says of it what the page of all says.
    """
    fault = np.array([code in judged for code in defects], bool)
    known = expected.known & (counts.ware > 0)[:, None] & fault[None, :]
    should = expected.calls + explained.calls
    q = np.ones(known.shape)
    if known.any():
        # a factor multiplies what is expected, and with it what is not known of it
        own = (expected.variance + expected.doubt**2)[known] / expected.calls[known] ** 2
        relative = own + explained.variance[known] / should[known] ** 2
        q[known] = benjamini_hochberg(excess_p(counts.calls[known], should[known], relative))
    chosen = np.array([code in shown for code in defects], bool)
    table = _Table(defects, counts, expected.calls, explained.calls, q, known & chosen[None, :], chosen, critical)
    return [
        table.state(n, place, moulds.get(place, ()), tuple(np.flatnonzero(explained.inside[:, n]).tolist()))
        for n, place in enumerate(places)
    ]


@dataclass(frozen=True)
class _Table:
    defects: Sequence[str]
    counts: Counts
    expected: np.ndarray
    explained: np.ndarray
    q: np.ndarray
    known: np.ndarray
    chosen: np.ndarray
    critical: Sequence[str] = field(default=())

    def state(self, n: int, place: Spot, moulds: tuple[str, ...], signals: tuple[int, ...]) -> CavityState:
        calls, ware, known = self.counts.calls[n] * self.chosen, float(self.counts.ware[n]), self.known[n]
        severe = np.array([code in self.critical for code in self.defects], bool)
        order = sorted(np.flatnonzero(calls).tolist(), key=lambda d: (not severe[d], -calls[d], self.defects[d]))
        out = sorted((d for d in np.flatnonzero(known).tolist() if self.q[n, d] < MORE), key=lambda d: self.q[n, d])
        cells = tuple(self._cell(n, d) for d in out)
        judged = bool(known.any())
        above = np.maximum(0.0, self.counts.calls[n] - self.expected[n])
        beyond = np.where(self.q[n] < MORE, above, np.minimum(above, self.explained[n]))
        return CavityState(
            *place,
            moulds,
            int(calls.sum()),
            int(calls[severe].sum()),
            ware,
            float(self.expected[n, known].sum()) if judged else None,
            float(self.explained[n, known].sum()),
            float(self.q[n, known].min()) if judged else None,
            tuple((self.defects[d], int(calls[d])) for d in order[:4]),
            _level(calls.sum(), ware, judged, cells, signals),
            cells,
            signals,
            float(beyond[known].sum()),
        )

    def _cell(self, n: int, d: int) -> Cell:
        q = float(self.q[n, d])
        return Cell(
            self.defects[d],
            int(self.counts.calls[n, d]),
            float(self.expected[n, d]),
            float(self.explained[n, d]),
            q,
            "far" if q < FAR else "more",
        )


def _level(calls: float, ware: float, judged: bool, cells: Sequence[Cell], signals: Sequence[int]) -> str:
    if not ware and not calls:
        return "empty"
    if cells:
        return cells[0].level
    if signals:
        return "signal"
    return "usual" if judged else "unknown"
