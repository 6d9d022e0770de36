"""The laboratory's day in two tables: capacities by item, and for programs every single reading with what it is judged
by.
"""

from __future__ import annotations

from typing import Any

from pipelines.measures.laboratory.tell import all_due
from pipelines.reports.frame.sheet import Column, Sheet, in_csv
from schemas.answers.laboratory import (
    Capacity,
    CapacityCheck,
    DensityReading,
    DueChecks,
    FurnaceLaboratory,
    LaboratoryDay,
    LineLaboratory,
    VisualSample,
)
from schemas.answers.measuring import MeasuringVerdict

_CAPACITIES = (
    Column("line", "Line"),
    Column("item", "Item"),
    Column("fill", "Fill"),
    Column("n", "Checks", "count"),
    Column("mean_ml", "Mean, ml", "number2"),
    Column("sd_ml", "SD, ml", "number2"),
    Column("capacity_min_ml", "Least, ml", "number2"),
    Column("capacity_max_ml", "Greatest, ml", "number2"),
    Column("outside", "Outside", "count"),
    Column("verdict", "As measuring container"),
)
_READINGS = in_csv("furnace", "line", "kind", "of", "at", "value", "unit", "least", "most", "verdict")


def capacities_sheet(laboratory: LaboratoryDay, furnace: FurnaceLaboratory) -> Sheet:
    """A furnace's capacities, an item a row."""
    rows = [
        {**capacity.model_dump(), "line": line.line, "item": capacity.item or "?", "verdict": _verdict(capacity)}
        for line in furnace.lines
        for capacity in line.capacity
    ]
    title = f"Laboratory, furnace {furnace.furnace}, production day {laboratory.day}"
    return Sheet("capacities", title, _CAPACITIES, rows, "Capacity by weighing water.")


def _verdict(capacity: Capacity) -> str:
    if capacity.measuring is None:
        return "-"
    return "; ".join(_by_method(verdict) for verdict in capacity.measuring.verdicts) or "no verdict"


def _by_method(verdict: MeasuringVerdict) -> str:
    """A verdict with its condition beside it: the directive judges the production of one hour."""
    whole = "" if verdict.one_hour else " (not of one hour)"
    return f"{'accepted' if verdict.accepted else 'REFUSED'} by {verdict.method}{whole}"


def readings_sheet(laboratory: LaboratoryDay) -> Sheet:
    """Every single reading of the day, for programs."""
    rows = [
        {"furnace": furnace.furnace, **row} for furnace in laboratory.furnaces for row in _readings_of_furnace(furnace)
    ]
    return Sheet("readings", f"Laboratory, {laboratory.day}", _READINGS, rows)


def _readings_of_furnace(furnace: FurnaceLaboratory) -> list[dict[str, Any]]:
    density = furnace.density
    return [
        *(_density(reading, density.low, density.high) for reading in density.readings),
        *({"line": line.line, **row} for line in furnace.lines for row in _readings_of_line(line)),
        *(_due(each) for each in all_due(furnace)),
    ]


def _density(reading: DensityReading, low: float | None, high: float | None) -> dict[str, Any]:
    at = reading.at.isoformat()
    limits = {"least": low, "most": high}
    return {"kind": "density", "of": reading.how, "at": at, "value": reading.density_g_cm3, "unit": "g/cm3", **limits}


def _due(due: DueChecks) -> dict[str, Any]:
    judged = {"least": due.due, "verdict": f"{due.missed} missed"}
    return {"kind": f"due {due.kind}", "of": due.of, "value": due.made, "unit": "made", **judged}


def _readings_of_line(line: LineLaboratory) -> list[dict[str, Any]]:
    temper = [
        {
            "kind": "temper",
            "of": lane.lane,
            "value": lane.worst,
            "unit": "worst of the day",
            "most": line.temper.limit,
            "verdict": f"{lane.beyond or 0} beyond of {lane.n}",
        }
        for lane in line.temper.lanes
    ]
    checks = [_check(capacity, check) for capacity in line.capacity for check in capacity.checks]
    return [*checks, *temper, *(_visual(sample) for sample in line.visual.samples)]


def _check(capacity: Capacity, check: CapacityCheck) -> dict[str, Any]:
    return {
        "kind": "capacity",
        "of": f"{capacity.item or ''} {check.mould}",
        "at": check.at.isoformat(),
        "value": check.capacity_ml,
        "unit": "ml",
        "least": capacity.capacity_min_ml,
        "most": capacity.capacity_max_ml,
        "verdict": "outside" if check.outside else "within",
    }


def _visual(sample: VisualSample) -> dict[str, Any]:
    return {
        "kind": f"visual {sample.severity}",
        "of": f"{sample.taken_of} {' '.join(sample.defects)}".strip(),
        "at": sample.at.isoformat(),
        "value": sample.found,
        "unit": f"of {sample.n}",
        "least": 0,
        "most": sample.ac,
        "verdict": {None: "too small to judge", True: "accepted", False: "not accepted"}[sample.accepted],
    }
