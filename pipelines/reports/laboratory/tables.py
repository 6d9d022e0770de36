"""The tables of the laboratory page."""

from __future__ import annotations

from datetime import datetime

from pipelines.measures.laboratory.checks import LATE
from pipelines.measures.laboratory.sample_sentences import taken_of
from pipelines.measures.laboratory.tell import all_due, every_words
from pipelines.numbers import decimals
from pipelines.plant.works import Plant
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.words import joined, numeral, say, worded
from schemas.answers.laboratory import Capacity, FurnaceLaboratory


def capacity_sheet(plant: Plant, line: str, capacity: Capacity) -> Sheet:
    """Every container checked."""
    rows = [
        {
            "at": f"{plant.clock.local(check.at):%H:%M}",
            "mould": check.mould,
            "cavity": check.cavity,
            "empty": check.empty_g,
            "water": check.water_c,
            "value": check.capacity_ml,
            "verdict": say("outside") if check.outside else "",
        }
        for check in capacity.checks
    ]
    columns = (
        Column("at", say("Checked")),
        Column("mould", say("Mould"), "id"),
        Column("cavity", say("Cavity"), "id"),
        Column("empty", say("Empty, g"), "number"),
        Column("water", say("Water, °C"), "number"),
        Column("value", say("Capacity, ml"), "number2"),
        Column("verdict", say("Against limits")),
    )
    strong = [row for row, check in enumerate(capacity.checks) if check.outside]
    caption = say(
        "{n} containers, {fill}, at the water's temperature.",
        n=capacity.n,
        fill=worded(capacity.fill.replace("_", " ")),
    )
    if capacity.sd_ml is not None and capacity.low is not None and capacity.high is not None:
        mean = say(
            "Mean {mean} ml (95 %: {low} to {high}), sd {sd} ml.",
            mean=decimals(capacity.mean_ml, 2),
            low=decimals(capacity.low, 2),
            high=decimals(capacity.high, 2),
            sd=decimals(capacity.sd_ml, 2),
        )
        caption = joined(" ", (caption, mean))
    title = say("Capacity {line}-{item}", line=line, item=_item(capacity))
    return Sheet(f"capacity-{line}-{_item(capacity)}", title, columns, rows, caption, strong=strong)


def _item(capacity: Capacity) -> str:
    return capacity.item or say("unknown")


_MEASURING = (
    Column("line", say("Line")),
    Column("item", say("Item")),
    Column("method", say("Method")),
    Column("n", say("Containers"), "count"),
    Column("sample", say("Of")),
    Column("verdict", say("Verdict")),
    Column("margin_ml", say("Margin, ml"), "number2"),
    Column("mean_ml", say("Mean, ml"), "number2"),
    Column("spread_ml", say("Spread, ml"), "number2"),
    Column("low", say("Mean − k spread"), "number2"),
    Column("least", say("at least"), "number2"),
    Column("high", say("Mean + k spread"), "number2"),
    Column("most", say("at most"), "number2"),
    Column("spread_most", say("Spread at most"), "number2"),
    Column("error", say("Error allowed, ml"), "number2"),
)


def measuring_sheet(furnace: FurnaceLaboratory) -> Sheet:
    """The verdicts on every measuring container by both methods, with their bounds and margins."""
    rows = [
        {
            "line": line.line,
            "item": capacity.item,
            "error": capacity.measuring.error_ml,
            **verdict.model_dump(exclude={"sample_from", "sample_to"}),
            "method": verdict.method,
            "sample": say("one hour") if verdict.one_hour else say("a longer time"),
            "verdict": say("accepted")
            if verdict.accepted
            else say("refused: {broken}", broken=joined(", ", verdict.broken)),
        }
        for line in furnace.lines
        for capacity in line.capacity
        if capacity.measuring is not None
        for verdict in capacity.measuring.verdicts
    ]
    caption = say(
        "The newest 35 containers of each item by mean and spread, 40 by mean and range (8 groups of 5), "
        "at 20 °C, of one hour where it holds so many (Directive 75/107/EEC, annex II 1). Against the "
        "indicated capacity and the greatest permitted error."
    )
    return Sheet(
        "measuring",
        say("Measuring containers"),
        _MEASURING,
        rows,
        caption,
        strong=[n for n, row in enumerate(rows) if not row["accepted"]],
    )


def inferred_sheet(line: str, capacity: Capacity) -> Sheet:
    """Mean capacity of each mould by its weight."""
    rows = [
        {
            "mould": inferred.mould,
            "weight": inferred.weight_g,
            "value": inferred.capacity_ml,
            "low": inferred.low,
            "high": inferred.high,
            "beyond": inferred.beyond,
            "known": say("checked") if inferred.checked else say("not checked yet: by the other moulds"),
        }
        for inferred in capacity.inferred
    ]
    columns = (
        Column("mould", say("Mould"), "id"),
        Column("weight", say("Weight, g"), "number"),
        Column("value", say("Capacity, ml"), "number2"),
        Column("low", say("95 % from"), "number2"),
        Column("high", say("to"), "number2"),
        Column("beyond", say("Probability beyond a limit"), "percent1"),
        Column("known", say("Mould's volume")),
    )
    strong = [row for row, inferred in enumerate(capacity.inferred) if inferred.called]
    caption = say("Mean by the latest weighings and the volume that the mould encloses; an estimate, not a check.")
    title = say("By weight {line}-{item}", line=line, item=_item(capacity))
    return Sheet(f"inferred-{line}-{_item(capacity)}", title, columns, rows, caption, strong=strong)


def temper_sheet(furnace: FurnaceLaboratory) -> Sheet:
    """Temper numbers by line and lane."""
    rows = [
        {"line": line.line, **lane.model_dump(), "lane": worded(lane.lane), "limit": line.temper.limit}
        for line in furnace.lines
        for lane in line.temper.lanes
    ]
    columns = (
        Column("line", say("Line")),
        Column("lane", say("Lane")),
        Column("n", say("Containers"), "count"),
        Column("mean", say("Mean"), "number2"),
        Column("worst", say("Worst"), "number"),
        Column("worst_real", say("Worst, real"), "number"),
        Column("limit", say("Limit as read"), "number"),
        Column("beyond", say("Beyond"), "count"),
    )
    strong = [number for number, row in enumerate(rows) if row["beyond"]]
    return Sheet(
        "temper",
        say("Temper numbers"),
        columns,
        rows,
        say(
            "Temper numbers by polarised light (ASTM C148), as read; real: brought to glass of 4.06 mm. The "
            "limits are the works' own; a number on one is within it."
        ),
        strong=strong,
    )


_ACCEPTED = {None: say("too small to judge"), True: say("accepted"), False: say("not accepted")}


def visual_sheet(plant: Plant, furnace: FurnaceLaboratory) -> Sheet:
    """Every sample with something found, and every severity of every sample that was not accepted."""
    rows = [
        {
            "line": line.line,
            "at": f"{plant.clock.local(sample.at):%H:%M}",
            "item": taken_of(sample),
            "severity": worded(sample.severity),
            "n": sample.n,
            "found": sample.found,
            "what": ", ".join(sample.defects),
            "aql": say("none") if sample.aql is None else numeral(sample.aql, "g"),
            "ac": sample.ac,
            "verdict": _ACCEPTED[sample.accepted],
        }
        for line in furnace.lines
        for sample in line.visual.samples
        if sample.found
    ]
    columns = (
        Column("line", say("Line")),
        Column("at", say("Taken")),
        Column("item", say("Item")),
        Column("severity", say("Severity")),
        Column("n", say("Looked at"), "count"),
        Column("found", say("Found"), "count"),
        Column("what", say("Defects")),
        Column("aql", say("AQL")),
        Column("ac", say("Accepts"), "count"),
        Column("verdict", say("Verdict")),
    )
    each = [sample.n for line in furnace.lines for sample in line.visual.samples if sample.severity == "critical"]
    strong = [
        number for number, row in enumerate(rows) if row["verdict"] == "not accepted" or row["severity"] == "critical"
    ]
    caption = say(
        "{samples} samples, {looked} containers looked at; those with something found. Acceptance numbers of ISO "
        "2859-1, normal inspection; a critical defect accepts none.",
        samples=len(each),
        looked=sum(each),
    )
    return Sheet("visual", say("Samples"), columns, rows, caption, strong=strong)


def due_sheet(plant: Plant, furnace: FurnaceLaboratory) -> Sheet:
    """Checks by kind and place; challenges, which are many, only where one was missed, and summed up."""
    every = [due for due in all_due(furnace) if due.kind != "challenge" or due.missed]
    fine = [due for due in all_due(furnace) if due.kind == "challenge" and not due.missed]
    rows = [
        {
            "kind": worded(due.kind),
            "of": due.of,
            "every": every_words(due),
            "due": due.due,
            "made": due.made,
            "missed": due.missed,
            "gaps": joined("; ", (_gap(plant, *gap) for gap in due.gaps)),
        }
        for due in every
    ]
    columns = (
        Column("kind", say("Check")),
        Column("of", say("Where")),
        Column("every", say("Each")),
        Column("due", say("Due"), "count"),
        Column("made", say("Made"), "count"),
        Column("missed", say("Missed"), "count"),
        Column("gaps", say("None from, to")),
    )
    caption = say(
        "By [checks] of works.toml, while the line ran; missed from {times} times the interval on. {fine} challenges "
        "of stations with a defect that were all made are not listed.",
        times=numeral(LATE, "g"),
        fine=len(fine),
    )
    return Sheet(
        "due", say("Checks due"), columns, rows, caption, strong=[row for row, due in enumerate(every) if due.missed]
    )


def _gap(plant: Plant, start: datetime, end: datetime) -> str:
    return say("{start} to {end}", start=f"{plant.clock.local(start):%H:%M}", end=f"{plant.clock.local(end):%H:%M}")
