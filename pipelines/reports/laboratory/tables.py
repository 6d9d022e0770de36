"""The tables of the laboratory page."""

from __future__ import annotations

from pipelines.measures.laboratory.tell import all_due
from pipelines.numbers import decimals
from pipelines.plant.works import Plant
from pipelines.reports.frame.sheet import Column, Sheet
from schemas.answers.laboratory import Capacity, FurnaceLaboratory


def capacity_sheet(plant: Plant, capacity: Capacity, name: str) -> Sheet:
    """Every container checked."""
    rows = [
        {
            "at": f"{plant.clock.local(check.at):%H:%M}",
            "mould": check.mould,
            "cavity": check.cavity,
            "empty": check.empty_g,
            "water": check.water_c,
            "value": check.capacity_ml,
            "verdict": "outside" if check.outside else "",
        }
        for check in capacity.checks
    ]
    columns = (
        Column("at", "Checked"),
        Column("mould", "Mould", "id"),
        Column("cavity", "Cavity", "id"),
        Column("empty", "Empty, g", "number"),
        Column("water", "Water, °C", "number"),
        Column("value", "Capacity, ml", "number2"),
        Column("verdict", "Against limits"),
    )
    strong = [row for row, check in enumerate(capacity.checks) if check.outside]
    caption = f"{capacity.n} containers, {capacity.fill.replace('_', ' ')}, at the water's temperature."
    if capacity.sd_ml is not None and capacity.low is not None and capacity.high is not None:
        caption += (
            f" Mean {decimals(capacity.mean_ml, 2)} ml (95 %: {decimals(capacity.low, 2)} to "
            f"{decimals(capacity.high, 2)}), sd {decimals(capacity.sd_ml, 2)} ml."
        )
    return Sheet(f"capacity-{name}", f"Capacity {name}", columns, rows, caption, strong=strong)


_MEASURING = (
    Column("line", "Line"),
    Column("item", "Item"),
    Column("method", "Method"),
    Column("n", "Containers", "count"),
    Column("sample", "Of"),
    Column("verdict", "Verdict"),
    Column("margin_ml", "Margin, ml", "number2"),
    Column("mean_ml", "Mean, ml", "number2"),
    Column("spread_ml", "Spread, ml", "number2"),
    Column("low", "Mean − k spread", "number2"),
    Column("least", "at least", "number2"),
    Column("high", "Mean + k spread", "number2"),
    Column("most", "at most", "number2"),
    Column("spread_most", "Spread at most", "number2"),
    Column("error", "Error allowed, ml", "number2"),
)


def measuring_sheet(furnace: FurnaceLaboratory) -> Sheet:
    """The verdicts on every measuring container by both methods, with their bounds and margins."""
    rows = [
        {
            "line": line.line,
            "item": capacity.item,
            "error": capacity.measuring.error_ml,
            **verdict.model_dump(exclude={"sample_from", "sample_to"}),
            "sample": "one hour" if verdict.one_hour else "a longer time",
            "verdict": "accepted" if verdict.accepted else f"refused: {', '.join(verdict.broken)}",
        }
        for line in furnace.lines
        for capacity in line.capacity
        if capacity.measuring is not None
        for verdict in capacity.measuring.verdicts
    ]
    caption = (
        "The newest 35 containers of each item by mean and spread, 40 by mean and range (8 groups of 5), at 20 °C, of "
        "one hour where it holds so many (Directive 75/107/EEC, annex II 1). Against the indicated capacity and the "
        "greatest permitted error."
    )
    return Sheet(
        "measuring",
        "Measuring containers",
        _MEASURING,
        rows,
        caption,
        strong=[n for n, row in enumerate(rows) if not row["accepted"]],
    )


def inferred_sheet(capacity: Capacity, name: str) -> Sheet:
    """Mean capacity of each mould by its weight."""
    rows = [
        {
            "mould": inferred.mould,
            "weight": inferred.weight_g,
            "value": inferred.capacity_ml,
            "low": inferred.low,
            "high": inferred.high,
            "beyond": inferred.beyond,
            "known": "checked" if inferred.checked else "not checked yet: by the other moulds",
        }
        for inferred in capacity.inferred
    ]
    columns = (
        Column("mould", "Mould", "id"),
        Column("weight", "Weight, g", "number"),
        Column("value", "Capacity, ml", "number2"),
        Column("low", "95 % from", "number2"),
        Column("high", "to", "number2"),
        Column("beyond", "Probability beyond a limit", "percent1"),
        Column("known", "Mould's volume"),
    )
    strong = [row for row, inferred in enumerate(capacity.inferred) if inferred.called]
    caption = "Mean by the latest weighings and the volume that the mould encloses; an estimate, not a check."
    return Sheet(f"inferred-{name}", f"By weight {name}", columns, rows, caption, strong=strong)


def temper_sheet(furnace: FurnaceLaboratory) -> Sheet:
    """Temper numbers by line and lane."""
    rows = [
        {"line": line.line, **lane.model_dump(), "limit": line.temper.limit}
        for line in furnace.lines
        for lane in line.temper.lanes
    ]
    columns = (
        Column("line", "Line"),
        Column("lane", "Lane"),
        Column("n", "Containers", "count"),
        Column("mean", "Mean", "number2"),
        Column("worst", "Worst", "number"),
        Column("worst_real", "Worst, real", "number"),
        Column("limit", "Limit as read", "number"),
        Column("beyond", "Beyond", "count"),
    )
    strong = [number for number, row in enumerate(rows) if row["beyond"]]
    return Sheet(
        "temper",
        "Temper numbers",
        columns,
        rows,
        "Temper numbers by polarised light (ASTM C148), as read; real: brought to glass of 4.06 mm. The limits are "
        "the works' own; a number on one is within it.",
        strong=strong,
    )


def visual_sheet(plant: Plant, furnace: FurnaceLaboratory) -> Sheet:
    """Every sample with something found, and every severity of every sample that was not accepted."""
    rows = [
        {
            "line": line.line,
            "at": f"{plant.clock.local(sample.at):%H:%M}",
            "item": sample.taken_of,
            "severity": sample.severity,
            "n": sample.n,
            "found": sample.found,
            "what": ", ".join(sample.defects),
            "aql": "none" if sample.aql is None else f"{sample.aql:g}",
            "ac": sample.ac,
            "verdict": {None: "too small to judge", True: "accepted", False: "not accepted"}[sample.accepted],
        }
        for line in furnace.lines
        for sample in line.visual.samples
        if sample.found
    ]
    columns = (
        Column("line", "Line"),
        Column("at", "Taken"),
        Column("item", "Item"),
        Column("severity", "Severity"),
        Column("n", "Looked at", "count"),
        Column("found", "Found", "count"),
        Column("what", "Defects"),
        Column("aql", "AQL"),
        Column("ac", "Accepts", "count"),
        Column("verdict", "Verdict"),
    )
    looked = sum(sample.n for line in furnace.lines for sample in line.visual.samples if sample.severity == "critical")
    samples = sum(sample.severity == "critical" for line in furnace.lines for sample in line.visual.samples)
    strong = [
        number for number, row in enumerate(rows) if row["verdict"] == "not accepted" or row["severity"] == "critical"
    ]
    caption = (
        f"{samples} samples, {looked} containers looked at; those with something found. Acceptance numbers of ISO "
        "2859-1, normal inspection; a critical defect accepts none."
    )
    return Sheet("visual", "Samples", columns, rows, caption, strong=strong)


def due_sheet(plant: Plant, furnace: FurnaceLaboratory) -> Sheet:
    """Checks by kind and place; challenges, which are many, only where one was missed, and summed up."""
    every = [due for due in all_due(furnace) if due.kind != "challenge" or due.missed]
    fine = [due for due in all_due(furnace) if due.kind == "challenge" and not due.missed]
    rows = [
        {
            "kind": due.kind,
            "of": due.of,
            "every": f"{due.every_min:g} min" if due.every_min < 120 else f"{due.every_min / 60:g} h",
            "due": due.due,
            "made": due.made,
            "missed": due.missed,
            "gaps": "; ".join(
                f"{plant.clock.local(start):%H:%M} to {plant.clock.local(end):%H:%M}" for start, end in due.gaps
            ),
        }
        for due in every
    ]
    columns = (
        Column("kind", "Check"),
        Column("of", "Where"),
        Column("every", "Each"),
        Column("due", "Due", "count"),
        Column("made", "Made", "count"),
        Column("missed", "Missed", "count"),
        Column("gaps", "None from, to"),
    )
    caption = (
        f"By [checks] of works.toml, while the line ran; missed from 1.25 times the interval on. {len(fine)} "
        "challenges of stations with a defect that were all made are not listed."
    )
    return Sheet(
        "due", "Checks due", columns, rows, caption, strong=[row for row, due in enumerate(every) if due.missed]
    )
