"""The reject Pareto: calls by defect, mould, section, gob position, station, zone or severity."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import polars as pl

from pipelines.measures.pareto.kinds_of_call import faults, no_faults, rejected_for_none, uncounted
from pipelines.measures.pareto.mould_places import UNPLACED, UNREAD
from pipelines.measures.pareto.unread import Unread, unread_calls
from pipelines.measures.statistics.shares import ratio
from pipelines.plant.tables import SEVERITIES
from pipelines.plant.works import Plant
from pipelines.words import say, template, worded
from schemas.answers.pareto import Apart, Pareto, ParetoRow

DIMENSIONS = ("defect", "mould", "section", "gob", "station", "zone", "severity")
NEEDS_PLACE = ("section", "gob")
NOTHING_CAME = template(
    "Nothing came: no window of counts of {line} begins in this time. What was rejected in it is not known."
)


def pareto(
    plant: Plant,
    line: str,
    span: tuple[datetime, datetime],
    by: str,
    calls: pl.DataFrame,
    ware: pl.DataFrame,
    expected: pl.DataFrame | None = None,
    past_from: datetime | None = None,
) -> Pareto:
    """The Pareto of one line and window.

    calls: station, mould, defect, calls (and section, gob where `by` needs them). ware: station, mould, inspected,
    rejected (and section, gob). expected: kind, key, expected, variance, doubt: calls that the line's own past leads
    one to expect in the window, from which baseline and q follow; past_from: since when that past counts. Critical
    defects come first whatever their number; the rest by calls. Calls that are no fault of the ware stand apart, in no
    share and no rate of defects.
    """
    every, calls = calls, faults(plant, calls)
    total = int(calls["calls"].sum())
    first = plant.first_stations(line)
    line_ware = int(ware.filter(pl.col("station").is_in(first))["inspected"].sum())
    sums = summed(plant, calls, by)
    own = own_ware(plant, line, by, ware)
    baseline = _baseline(plant, by, expected, {row["key"]: row["calls"] for row in sums.iter_rows(named=True)})
    rows = _rows(plant, by, sums, line_ware, own, baseline)
    unread = unread_calls(calls) if by in ("mould", *NEEDS_PLACE) else Unread()
    return Pareto(
        line=line,
        from_=span[0],
        to=span[1],
        by=by,
        ware=line_ware,
        rejected=int(ware["rejected"].sum()),
        calls=total,
        unread_share=unread.share,
        unread_stations=dict(unread.stations),
        baseline_from=past_from if baseline else None,
        rows=tuple(rows),
        refed=_refed(first, ware),
        rejected_apart=rejected_for_none(plant, every, ware),
        apart=_apart(plant, by, every, line_ware),
        uncounted=tuple(uncounted(every, ware)),
        why=say(NOTHING_CAME, line=line) if ware.is_empty() and every.is_empty() else "",
    )


def _rows(
    plant: Plant,
    by: str,
    sums: pl.DataFrame,
    line_ware: int,
    own: dict[str, float],
    baseline: dict[str, tuple[float, float]],
) -> list[ParetoRow]:
    total, running = int(sums["calls"].sum()), 0
    rows = []
    for row in sums.iter_rows(named=True):
        running += row["calls"]
        mine = own.get(row["key"])
        rows.append(
            ParetoRow(
                key=row["key"],
                name=_name(plant, by, row["key"]),
                severity=severity_of(plant, row["key"]) if by == "defect" else row["key"] if by == "severity" else None,
                calls=row["calls"],
                share=row["calls"] / total,
                cumulative=running / total,
                rate=ratio(row["calls"], line_ware),
                baseline=ratio(baseline[row["key"]][0], line_ware) if row["key"] in baseline else None,
                q=baseline[row["key"]][1] if row["key"] in baseline else None,
                own_ware=mine,
                own_rate=ratio(row["calls"], mine),
                critical_calls=row["critical_calls"],
            )
        )
    return rows


def _refed(first: tuple[str, ...], ware: pl.DataFrame) -> int:
    return int(ware.filter(pl.col("station").is_in(first))["refed"].sum()) if "refed" in ware.columns else 0


def _apart(plant: Plant, by: str, calls: pl.DataFrame, line_ware: int) -> tuple[Apart, ...]:
    """What was thrown out for no fault, by the same keys, most first."""
    kinds = {code: defect.kind for code, defect in plant.defects.items()}
    mine = no_faults(plant, calls).filter(pl.col("calls") > 0).with_columns(key=_key(plant, by))
    kind = pl.col("defect").replace_strict(kinds, default=None, return_dtype=pl.String)
    sums = mine.with_columns(kind=kind).group_by("key", "kind").agg(pl.col("calls").sum())
    return tuple(
        Apart(key=key, name=_name(plant, by, key), kind=kind, calls=count, of_ware=ratio(count, line_ware))
        for key, kind, count in sums.sort("calls", "kind", "key", descending=[True, False, False]).iter_rows()
    )


def severity_of(plant: Plant, code: str) -> str | None:
    """critical, major or minor, as works.toml says; None for a code that it does not name."""
    defect = plant.defects.get(code)
    return defect.severity if defect else None


def summed(plant: Plant, calls: pl.DataFrame, by: str) -> pl.DataFrame:
    """key, calls, critical_calls; critical defects first, then by calls, then by key."""
    critical = [code for code, defect in plant.defects.items() if defect.severity == "critical"]
    severe = pl.when(pl.col("defect").is_in(critical)).then(pl.col("calls")).otherwise(0).sum().alias("critical_calls")
    frame = (
        calls.filter(pl.col("calls") > 0)
        .with_columns(key=_key(plant, by))
        .group_by("key")
        .agg(pl.col("calls").sum(), severe)
    )
    if by == "severity":
        return frame.sort(pl.col("key").replace_strict(_ranks(), default=9))
    first = pl.col("critical_calls") > 0 if by == "defect" else pl.col("critical_calls") < 0
    return frame.sort(first, pl.col("calls"), pl.col("key"), descending=[True, True, False])


def _ranks() -> dict[str, int]:
    return {severity: rank for rank, severity in enumerate(SEVERITIES)}


def _key(plant: Plant, by: str) -> pl.Expr:
    if by == "mould":
        return pl.col("mould").fill_null(UNREAD)
    if by in NEEDS_PLACE:
        placed = pl.col(by).cast(pl.String)
        return pl.when(pl.col("mould").is_null()).then(pl.lit(UNREAD)).otherwise(placed.fill_null(UNPLACED))
    if by in ("zone", "severity"):
        row = {code: getattr(defect, by) for code, defect in plant.defects.items()}
        return pl.col("defect").replace_strict(row, default="unknown", return_dtype=pl.String)
    return pl.col(by)


def _name(plant: Plant, by: str, key: str) -> str:
    if by == "defect":
        return plant.defects[key].name if key in plant.defects else say("{key} (not in works.toml)", key=key)
    if key in (UNREAD, UNPLACED):
        return say("mould number not read") if key == UNREAD else say("mould not fitted then, by the mould log")
    if by in ("mould", "section", "gob"):
        return say("{kind} {key}", kind=worded(by), key=key)
    return worded(key) if by in ("severity", "zone") else key


def own_ware(plant: Plant, line: str, by: str, ware: pl.DataFrame) -> dict[str, float]:
    """The ware that could have been called under each key.

    station: containers it inspected. defect, zone, severity: containers at the first stations that can call them.
    mould, section, gob: containers of that mould (place) where moulds are read first; the unread are shared out in
    proportion to the read.
    """
    if by == "station":
        return {row[0]: float(row[1]) for row in ware.group_by("station").agg(pl.col("inspected").sum()).iter_rows()}
    if by in ("defect", "zone", "severity"):
        return _ware_of_defects(plant, line, by, ware)
    return _ware_of_moulds(plant, line, by, ware)


def _ware_of_defects(plant: Plant, line: str, by: str, ware: pl.DataFrame) -> dict[str, float]:
    inspected = {row[0]: row[1] for row in ware.group_by("station").agg(pl.col("inspected").sum()).iter_rows()}
    stations = plant.stations_of(line)
    groups: dict[str, list[str]] = {}
    for code, defect in plant.faults.items():
        groups.setdefault(code if by == "defect" else getattr(defect, by), []).append(code)
    found = {}
    for key, codes in groups.items():
        able = [s for s in stations if any(s.can_call(code) for code in codes)]
        first = [s.id for s in able if s.order == able[0].order]
        if first:
            found[key] = float(sum(inspected.get(station, 0) for station in first))
    return found


def _ware_of_moulds(plant: Plant, line: str, by: str, ware: pl.DataFrame) -> dict[str, float]:
    best = reading_stations(plant, line, ware)
    here = ware.filter(pl.col("station").is_in(best))
    read = here.filter(pl.col("mould").is_not_null())
    known = float(read["inspected"].sum())
    if not known:
        return {}
    scale = float(here["inspected"].sum()) / known
    keyed = read.with_columns(key=_key(plant, by)).group_by("key").agg(pl.col("inspected").sum())
    return {row[0]: row[1] * scale for row in keyed.iter_rows()}


def reading_stations(plant: Plant, line: str, ware: pl.DataFrame) -> list[str]:
    """The lanes of the first order at which mould numbers are read at all."""
    readers = set(ware.filter(pl.col("mould").is_not_null() & (pl.col("inspected") > 0))["station"].unique())
    reading = [s for s in plant.stations_of(line) if s.id in readers]
    return [s.id for s in plant.stations_of(line) if reading and s.order == reading[0].order]


def _baseline(
    plant: Plant, by: str, expected: pl.DataFrame | None, calls: dict[str, int]
) -> dict[str, tuple[float, float]]:
    """Expected calls and q of every key that the past tells of; keys without a call take part in q."""
    from pipelines.measures.signals.expected import excess_q

    if expected is None or expected.is_empty():
        return {}
    summed = _by_key(plant, by, expected)
    seen = np.array([calls.get(key, 0) for key in summed["key"]], float)
    q = excess_q(seen, *(summed[name].to_numpy() for name in ("expected", "variance", "doubt")))
    return dict(zip(summed["key"].to_list(), zip(summed["expected"].to_list(), q.tolist(), strict=True), strict=True))


def _by_key(plant: Plant, by: str, expected: pl.DataFrame) -> pl.DataFrame:
    """Expectations by the keys of a dimension; those of zones and severities are sums over their defects."""
    if by in ("zone", "severity"):
        row = {code: getattr(defect, by) for code, defect in plant.defects.items()}
        here = expected.filter(pl.col("kind") == "defect")
        keyed = here.with_columns(key=pl.col("key").replace_strict(row, default="unknown", return_dtype=pl.String))
        squared = (pl.col("doubt") ** 2).sum().sqrt()
        return keyed.group_by("key", maintain_order=True).agg(
            pl.col("expected", "variance").sum(), squared.alias("doubt")
        )
    return expected.filter(pl.col("kind") == by)
