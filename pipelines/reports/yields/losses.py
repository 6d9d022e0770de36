"""Where the glass went, as pictures and tables: furnace, machine, causes, balances, meters."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from pipelines.measures.pareto.kinds_of_call import WORDS
from pipelines.measures.statistics.shares import ratio
from pipelines.measures.yields.losses import summed
from pipelines.measures.yields.meter_sentences import yield_words
from pipelines.measures.yields.names import (
    NOT_MADE,
    balance_name,
    broad_cause,
    cause_name,
    meter_name,
    place_name,
    plain_word,
)
from pipelines.numbers import count, percent
from pipelines.plant.works import Plant
from pipelines.reports.frame.page import Section
from pipelines.reports.frame.sheet import CSV, SHOWN, TERMINAL, Column, Sheet, in_csv
from pipelines.words import joined, say
from schemas.answers.yields import FurnaceYield, LineYield, Yield


def money(plant: Plant, kg: float) -> float | None:
    """What lost glass costs by works.toml, None where it names no cost."""
    return kg / 1000 * plant.cost.glass_per_t if plant.cost else None


def money_column(plant: Plant) -> tuple[Column, ...]:
    return (Column("money", plant.cost.currency or say("Cost"), "count", SHOWN),) if plant.cost else ()


def biggest(plant: Plant, day_yield: Yield, most: int) -> list[dict[str, Any]]:
    """The losses of all lines by kind and cause, and of the furnaces before the shears, the greatest mass first."""
    sums = {
        (line.line, *key): values
        for line in day_yield.lines
        for key, values in summed(line.causes, lambda cause: (cause.kind, broad_cause(plant, cause))).items()
    }
    for furnace in day_yield.furnaces:
        if furnace.unaccounted_kg:
            sums[furnace.furnace, "unaccounted", say("unaccounted before the shears")] = (
                math.nan,
                furnace.unaccounted_kg,
            )
    order = sorted(sums.items(), key=lambda answer: -answer[1][1])[:most]
    return [
        {
            "of": of,
            "kind": plain_word(kind),
            "cause": cause,
            "units": None if math.isnan(units) else units,
            "kg": kg,
            "money": money(plant, kg),
            "made": say("not made") if kind in NOT_MADE else say("made and lost"),
        }
        for (of, kind, cause), (units, kg) in order
    ]


def biggest_sheet(plant: Plant, day_yield: Yield, most: int, name: str, title: str) -> Sheet:
    columns = (
        Column("of", say("Where")),
        Column("kind", say("Kind")),
        Column("cause", say("Cause")),
        Column("units", say("Containers"), "count"),
        Column("kg", say("kg of glass"), "count"),
        *money_column(plant),
        Column("made", say("Made or not")),
    )
    caption = say(
        "Not made: containers that the machine's own cycle rate could have made in the time. Made and "
        "lost: glass that was melted and goes back as cullet."
    )
    return Sheet(name, title, columns, biggest(plant, day_yield, most), caption)


def furnace_picture(furnace: FurnaceYield) -> Section:
    """From melt to pack, bar under bar."""
    from pipelines.reports.frame import charts

    rows = _falling([(step.name, step.kg, step.kind) for step in furnace.flow], "kg")
    base = _base(rows)
    words = say(
        "Furnace {furnace}, kg of glass from melt to pack: {steps}", furnace=furnace.furnace, steps=_steps_words(rows)
    )
    head = say(
        "The day's ware: {kg} kg melted for it, {share} of that packed. Reconciled: every meter gave way by its own "
        "uncertainty. Full bars: what is there. Pale: counted losses. Dashed: no meter names it.",
        kg=count(furnace.flow[0].kg),
        share=yield_words(furnace.pack_to_melt, furnace.low, furnace.high),
    )
    return Section(
        say("Furnace {furnace}: from melt to pack", furnace=furnace.furnace),
        (head,),
        charts.svg(charts.waterfall, words, rows, _axis(say("kg of glass"), base)),
    )


def machine_picture(line: LineYield) -> Section:
    """From what the cycle rate could have made to what was packed good, in containers."""
    from pipelines.reports.frame import charts

    sums = {kind: units for kind, (units, _) in summed(line.causes, lambda cause: cause.kind).items()}
    named = (
        ("stoppage", say("stopped"), "counted"),
        (say("job change"), say("job change"), "counted"),
        ("cycles", say("slower cycles, gobs not counted"), "unaccounted"),
        (say("hot end"), say("rejected hot"), "counted"),
        ("station", say("rejected at stations"), "counted"),
        ("start-up", say("start-up of a job"), "counted"),
        *((name, name, "counted") for name in WORDS.values()),
        ("pallets", say("re-sort, scrapped pallets"), "counted"),
        ("unaccounted", say("unaccounted"), "unaccounted"),
    )
    steps = [(say("could make"), line.could or 0.0, "stock")]
    steps += [(name, sums[kind], look) for kind, name, look in named if abs(sums.get(kind, 0.0)) >= 0.5]
    if line.packed_good is not None:
        steps.append((say("packed good"), line.packed_good, "stock"))
    rows = _falling(steps, "")
    words = say(
        "{line}, containers from what it could make to packed good: {steps}", line=line.line, steps=_steps_words(rows)
    )
    made = say(
        "packed good {good} / {could} that its cycle rate could have made",
        good=count(line.packed_good),
        could=count(line.could),
    )
    head = say("Efficiency {efficiency} = {made}.", efficiency=percent(line.efficiency, 1), made=made)
    if line.efficiency is None and line.efficiency_why:
        head = say("No efficiency is told: {why} ({made}).", why=line.efficiency_why, made=made)
    return Section(
        say("Where the containers went"),
        (head,),
        charts.svg(charts.waterfall, words, rows, _axis(say("containers"), _base(rows))),
    )


def _steps_words(rows: Sequence[dict[str, Any]]) -> str:
    return joined("; ", (say("{step} {shown}", step=row["label"], shown=row["shown"]) for row in rows))


def _falling(steps: Sequence[tuple[str, float, str]], unit: str) -> list[dict[str, Any]]:
    """Rows of a waterfall: stocks from zero, losses hanging from what was left before them."""
    rows, left = [], 0.0
    for name, value, kind in steps:
        low, high = (0.0, value) if kind == "stock" else (left - value, left)
        left = value if kind == "stock" else left - value
        sign = "" if kind == "stock" or abs(value) < 0.5 else "−" if value >= 0 else "+"
        rows.append(
            {
                "label": name,
                "low": low,
                "high": high,
                "top": max(low, high),
                "kind": kind,
                "shown": f"{sign}{count(abs(value))} {unit}".strip(),
            }
        )
    return rows


def _base(rows: list[dict[str, Any]]) -> float:
    """Where the axis begins, so that losses can be seen: as far below the last bar as all losses together; the bars are
    cut there.
    """
    least, most = min(row["high"] for row in rows), max(row["high"] for row in rows)
    step = 10 ** max(0, len(f"{max(most - least, 1):.0f}") - 1)
    base = max(0.0, (least - (most - least)) // step * step)
    for row in rows:
        row["low"] = max(row["low"], base)
    return base


def _axis(unit: str, base: float) -> str:
    return say("{unit}; the axis begins at {base}", unit=unit, base=count(base)) if base else unit


def _cause_columns(plant: Plant) -> tuple[Column, ...]:
    return (
        Column("line", say("Line"), ways=TERMINAL + CSV),
        *in_csv("shift", "job"),
        Column("kind", say("Kind")),
        Column("where", say("Where")),
        Column("cause", say("Cause"), ways=SHOWN),
        Column("code", say("Cause"), ways=CSV, csv="cause"),
        Column("units", say("Containers"), "count", csv="containers"),
        Column("share", say("Of what it could make"), "percent", SHOWN),
        Column("kg", say("kg"), "count"),
        *money_column(plant),
        Column("how", say("Known by"), ways=SHOWN),
        *in_csv("counted"),
    )


def every_cause(plant: Plant, day_yield: Yield) -> Sheet:
    """Every loss of every line by cause, shift and job, for programs."""
    rows = [
        {"line": line.line, **cause.model_dump(), "code": cause.cause}
        for line in day_yield.lines
        for cause in line.causes
    ]
    return Sheet("causes", say("Losses by cause, shift and job"), _cause_columns(plant), rows)


def greatest_causes(plant: Plant, day_yield: Yield, most: int) -> Sheet:
    """The greatest losses of all lines, the greatest mass first."""
    rows = [
        {"line": line.line, **row}
        for line in day_yield.lines
        for row in causes_sheet(plant, line, most=len(line.causes)).rows
    ]
    rows.sort(key=lambda row: -row["kg"])
    return Sheet("causes", say("The greatest losses by cause"), _cause_columns(plant), rows[:most])


def causes_sheet(plant: Plant, line: LineYield, most: int = 15) -> Sheet:
    """The losses of a line by cause, all shifts together; the rest in one row, so that the table adds up."""
    sums = summed(line.causes, lambda cause: (cause.kind, cause.where, cause_name(plant, cause), cause.counted))
    ordered = sorted(sums.items(), key=lambda answer: -answer[1][1])
    rows: list[dict[str, Any]] = [_cause_row(plant, line, *key[:3], *values, key[3]) for key, values in ordered[:most]]
    if ordered[most:]:
        units, kg = (sum(values[place] for _, values in ordered[most:]) for place in (0, 1))
        smaller = say("{n} smaller", n=len(ordered) - most)
        rows.append(_cause_row(plant, line, smaller, "", "", units, kg, True))
    caption = say(
        "One container called for several defects is shared between them. Start-up: rejects of ware "
        "formed in a job's first hour. Stops by the stoppage log, at the cycle rate of their time. "
        "Differences are worked out, not counted; negative: more was cut than the rate tells."
    )
    return Sheet(f"causes-{line.line}", say("{line} causes", line=line.line), _cause_columns(plant), rows, caption)


def _cause_row(
    plant: Plant, line: LineYield, kind: str, where: str, cause: str, units: float, kg: float, counted: bool
) -> dict[str, Any]:
    return {
        "kind": plain_word(kind),
        "where": place_name(where),
        "cause": cause,
        "units": units,
        "share": ratio(units, line.could),
        "kg": kg,
        "money": money(plant, kg),
        "how": say("counted") if counted else say("difference"),
    }


def steps_sheet(day_yield: Yield) -> Sheet:
    """Where every line's glass went, step by step, by the readings."""
    rows = [
        {"line": line.line, **loss.model_dump(), "how": "measured" if loss.measured else "unaccounted"}
        for line in day_yield.lines
        for loss in line.losses
    ]
    columns = (
        Column("line", say("Line")),
        Column("step", say("Step")),
        Column("units", say("Containers"), "count"),
        Column("kg", say("kg"), "count"),
        Column("how", say("How known")),
    )
    return Sheet("steps", say("Where it went, by the readings"), columns, rows)


def worked_sheet(line: LineYield) -> Sheet:
    """A line's shifts and jobs: what they could have made, cut, lost, packed good, and their losses by kind."""
    rows = []
    for by, parts in (("shift", line.by_shift), ("job", line.by_job)):
        for part in parts:
            kinds = {this_cause.kind: 0.0 for this_cause in line.causes}
            for cause in line.causes:
                if getattr(cause, by) == part.name:
                    kinds[cause.kind] += cause.units
            rows.append(
                {
                    "by": plain_word(by),
                    **part.model_dump(),
                    "name": plain_word(part.name),
                    **{kind.replace(" ", "_"): units for kind, units in kinds.items()},
                }
            )
    columns = (
        Column("by", say("By", "part of a day")),
        Column("name", say("Name")),
        Column("hours", say("Hours"), "number"),
        Column("could", say("Could make"), "count"),
        Column("stoppage", say("Stopped"), "count"),
        Column("job_change", say("Job change"), "count"),
        Column("start-up", say("Start-up"), "count"),
        Column("cut", say("Gobs cut"), "count"),
        Column("hot_end", say("Hot rejects"), "count"),
        Column("station", say("At stations"), "count"),
        Column("pallets", say("Re-sort, scrap"), "count"),
        Column("good", say("Packed good"), "count"),
        Column("efficiency", say("Efficiency"), "percent1"),
    )
    caption = say(
        "By the first station's clock; what a shift met was partly formed in the one before. Efficiency ="
        " packed good / could make."
    )
    return Sheet(f"worked-{line.line}", say("{line} shifts and jobs", line=line.line), columns, rows, caption)


def balances_sheet(day_yield: Yield) -> Sheet:
    """What did not close, and what is left of it."""
    rows = [
        {**row.model_dump(), "balance": balance_name(row.balance), "unit": plain_word(row.unit)}
        for row in day_yield.balances
    ]
    columns = (
        Column("furnace", say("Furnace")),
        Column("balance", say("Balance")),
        Column("unit", say("Unit")),
        Column("before", say("Did not close by"), "count"),
        Column("into", say("In, reconciled"), "count"),
        Column("out", say("Out, reconciled"), "count"),
        Column("unaccounted", say("Unaccounted"), "count"),
        Column("after", say("Left open"), "count"),
    )
    caption = say(
        "In less out by the readings (negative: the meters found more than came in); then the same after "
        "reconciliation, in whole containers."
    )
    return Sheet("balances", say("Balances"), columns, rows, caption)


def meters_sheet(day_yield: Yield) -> Sheet:
    """Every meter: what it read and what it becomes."""
    rows = [
        {
            **row.model_dump(),
            "meter": meter_name(row.meter),
            "unit": plain_word(row.unit),
            "moved": row.reconciled - row.reading if row.reading is not None else None,
            "said": "" if row.reading is not None else say("worked out"),
        }
        for row in day_yield.meters
    ]
    columns = (
        Column("meter", say("Meter")),
        Column("unit", say("Unit")),
        Column("reading", say("Read"), "number"),
        Column("uncertainty", say("Standard uncertainty"), "number"),
        Column("reconciled", say("Reconciled"), "number"),
        Column("low", say("95 % from"), "number"),
        Column("high", say("to"), "number"),
        Column("moved", say("Moved by"), "number"),
        Column("z", "z", "number2"),
        Column("said", say("Verdict")),
    )
    caption = say(
        "By furnace, the meter that most probably lies first. z: how far it had to give way, over the "
        "standard deviation of that. Uncertainties as works.toml states them, with what the day's limits "
        "add."
    )
    return Sheet("meters", say("Meters"), columns, rows, caption)
