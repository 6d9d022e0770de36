"""Temper numbers, a person's samples, and what was due and not done."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

import polars as pl

from pipelines.clock import Span
from pipelines.measures.holds.sampling import for_sample
from pipelines.measures.statistics.shares import proportion_interval
from pipelines.measures.trace.trust import LATE
from pipelines.plant.tables import SEVERITIES
from pipelines.plant.works import Plant
from schemas.answers.laboratory import DueChecks, RunningQuality, TemperLane, VisualSample

UNNAMED = "not noted"
REAL_AT_MM = 4.06  # thickness at which a temper number as read is the real one: 0.160 inch


def real_temper(apparent: float, thickness_mm: float | None) -> float | None:
    """Real temper number: the apparent one, as read, brought to glass of REAL_AT_MM; None where the thickness is not
    known.

    Retardation grows with the way of the light, so thick glass looks more strained than it is, thin glass less.
    thickness_mm: of the glass where the greatest retardation was read.
    References: [1] ASTM C148, section 1.2, note 1: TR = TA (0.160 / t) with t in inches, TA (4.06 / t) in millimetres.
    """
    return apparent * REAL_AT_MM / thickness_mm if thickness_mm else None


def lanes_of(tempers: pl.DataFrame, temper_max: float | None) -> list[TemperLane]:
    """By lane of a line's temper checks (lane, temper, real; real may be null), the worst first. A number equal to the
    limit is within it.
    """
    found = []
    for (lane,), rows in tempers.group_by(["lane"], maintain_order=True):
        numbers = rows["temper"].to_numpy()
        beyond = int((numbers > temper_max).sum()) if temper_max is not None else None
        real = rows["real"].drop_nulls().to_list()
        found.append(
            TemperLane(
                lane=str(lane) if lane else UNNAMED,
                n=len(numbers),
                mean=float(numbers.mean()),
                worst=float(numbers.max()),
                beyond=beyond,
                worst_real=max(real, default=None),
            )
        )
    return sorted(found, key=lambda answer: (-answer.worst, answer.lane))


def thickness_of(plant: Plant, moulds: Sequence[str | None], spans: pl.DataFrame) -> list[float | None]:
    """Thickness [mm] of the item behind each temper check: of its mould by the log (number, item), else of the line's
    only item; None where several items ran and the mould tells none, or works.toml gives no thickness.
    """
    items: dict[str, set[str]] = {}
    for number, item in spans.select("number", "item").drop_nulls().iter_rows():
        items.setdefault(str(number), set()).add(item)
    every = set().union(*items.values()) if items else set()
    found = []
    for mould in moulds:
        mine = items.get(mould or "", every)
        item = next(iter(mine)) if len(mine) == 1 else ""
        found.append(plant.items[item].temper_thickness_mm if item in plant.items else None)
    return found


@dataclass(frozen=True)
class Sampled:
    """One sample against one severity, of whose defects at least `fewest` containers are faulty, where the same ones
    had several.
    """

    sample: VisualSample
    fewest: int


def samples_of(plant: Plant, checks: pl.DataFrame) -> list[Sampled]:
    """Every sample (sampled_at, item, mould, defect, sample_units, found) against each severity: a critical defect
    accepts none; major and minor by the acceptance number of ISO 2859-1, normal inspection, at the works' AQL.
    Containers with several defects count for each of them; containers of one mould are a sample of their own.
    """
    answer = []
    key = [name for name in ("sampled_at", "item", "mould") if name in checks.columns]
    if plant.no_faults:
        fault = ~pl.col("defect").is_in(plant.no_faults).fill_null(False)
        checks = checks.with_columns(found=pl.when(fault).then(pl.col("found")).otherwise(0))
    for (at, item, *moulds), rows in checks.sort(key).group_by(key, maintain_order=True):
        mould = str(moulds[0]) if moulds and moulds[0] is not None else None
        n = int(rows["sample_units"].to_numpy().max())
        for severity in SEVERITIES:
            mine = [
                row
                for row in rows.iter_rows(named=True)
                if row["defect"] and _severity(plant, row["defect"]) == severity
            ]
            found = sum(row["found"] for row in mine)
            aql = {"major": plant.sampling.aql_major, "minor": plant.sampling.aql_minor}.get(severity)
            ac = 0 if aql is None else for_sample(n, aql)
            sample = VisualSample(
                at=at,
                item=str(item),
                severity=severity,
                n=n,
                found=found,
                defects=tuple(f"{row['defect']} {row['found']}" for row in mine if row["found"]),
                aql=aql,
                ac=ac,
                accepted=None if ac is None else found <= ac,
                mould=mould,
            )
            answer.append(Sampled(sample, max((row["found"] for row in mine), default=0)))
    return answer


def _severity(plant: Plant, defect: str) -> str:
    return plant.defects[defect].severity if defect in plant.defects else "major"


def running_quality(samples: Sequence[Sampled]) -> list[RunningQuality]:
    """Process average by severity, without the inspection that follows. A container with two defects stands in both of
    their counts: the interval reaches from the fewest faulty containers that the counts allow to the most, and `found`
    is the most.
    References: [1] ISO 2859-1, process average.
    [2] the interval: Clopper and Pearson (1934).
    """
    answer = []
    for severity in SEVERITIES:
        mine = [each for each in samples if each.sample.severity == severity]
        n, found = sum(each.sample.n for each in mine), sum(min(each.sample.found, each.sample.n) for each in mine)
        fewest = sum(min(each.fewest, each.sample.n) for each in mine)
        if n:
            low, high = proportion_interval(fewest, n)[0], proportion_interval(found, n)[1]
            answer.append(
                RunningQuality(
                    severity=severity,
                    samples=len(mine),
                    n=n,
                    found=found,
                    share=found / n,
                    low=low,
                    high=high,
                    aql=mine[0].sample.aql,
                    fewest=fewest,
                )
            )
    return answer


def due(
    kind: str,
    of: str,
    every_min: float,
    made: Sequence[datetime],
    window: Span,
    standing: Sequence[Span] = (),
    known_until: datetime | None = None,
) -> DueChecks | None:
    """What was due each `every_min` of running time in a window, and where none was made; None where nothing is due
    (0).

    made: times of the checks made, also before the window. standing: when nothing ran. A check is missed when LATE
    times the interval has gone by without one.
    known_until: to when the feeds speak, for a window that is not over.
    """
    if not every_min:
        return None
    end = min(window.end, known_until or window.end)
    if end <= window.start:
        return None
    times = sorted(set(made))
    before = [at for at in times if at < window.start]
    inside = [at for at in times if window.start <= at < window.end]
    every = timedelta(minutes=every_min)
    whole = round((end - window.start - _overlap(standing, window.start, end)) / every)
    if not times:
        never = ((window.start, end),) if whole else ()
        return DueChecks(kind=kind, of=of, every_min=every_min, due=whole, made=0, missed=whole, gaps=never)
    edges = [max(before[-1], window.start - every) if before else window.start, *inside, end]
    gaps, missed = [], 0
    for start, stop in pairwise(edges):
        ran = stop - start - _overlap(standing, start, stop)
        if ran > LATE * every:
            gaps.append((max(start, window.start), stop))
            missed += max(1, int(ran / every - (LATE - 1)))
    return DueChecks(
        kind=kind, of=of, every_min=every_min, due=whole, made=len(inside), missed=missed, gaps=tuple(gaps)
    )


def _overlap(spans: Sequence[Span], start: datetime, end: datetime) -> timedelta:
    parts = (min(span.end, end) - max(span.start, start) for span in spans)
    return sum((part for part in parts if part > timedelta(0)), timedelta(0))
