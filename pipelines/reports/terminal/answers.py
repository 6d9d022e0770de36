"""Each answer as a terminal table, with its denominators; JSON and CSV for machines."""

from __future__ import annotations

from typing import Any

import typer

from pipelines.measures.pareto.kinds_of_call import apart_words
from pipelines.measures.pareto.words import doubt_words
from pipelines.measures.yields.losses import summed
from pipelines.measures.yields.meter_sentences import meter_sentences, yield_words
from pipelines.plant.works import Plant
from pipelines.reports.terminal.table import Format, print_csv, print_json, print_table
from schemas.answers.pareto import Pareto
from schemas.answers.yields import Cause, Yield

PARETO_COLUMNS = (
    "key",
    "name",
    "severity",
    "calls",
    "share",
    "cumulative",
    "rate",
    "baseline",
    "q",
    "own_ware",
    "own_rate",
    "critical_calls",
    "kind",
)


def percent(value: float | None, digits: int = 2) -> str:
    return "-" if value is None else f"{100 * value:.{digits}f} %"


_PARETO = (
    "name",
    "severity",
    "calls",
    "share",
    "cumulative",
    "rate on ware",
    "before",
    "own ware",
    "rate on own",
)


def show_pareto(plant: Plant, pareto: Pareto, format: Format) -> None:
    if format is Format.json:
        return print_json(pareto.told())
    if format is Format.csv:
        if pareto.why:
            typer.echo(pareto.why, err=True)
        rows = [*pareto.rows, *pareto.apart]
        return print_csv(PARETO_COLUMNS, [[getattr(row, name, None) for name in PARETO_COLUMNS] for row in rows])
    clock = plant.clock
    shown = [
        (
            r.key,
            r.name,
            r.severity or (f"{r.critical_calls} critical" if r.critical_calls else ""),
            r.calls,
            percent(r.share, 1),
            percent(r.cumulative, 1),
            percent(r.rate, 3),
            percent(r.baseline, 3),
            r.own_ware,
            percent(r.own_rate, 3),
        )
        for r in pareto.rows
    ]
    return print_table(
        f"Rejects of {pareto.line}, {clock.show(pareto.from_)} to {clock.show(pareto.to)}",
        (pareto.by, *_PARETO),
        shown,
        _pareto_caption(plant, pareto),
    )


def _pareto_caption(plant: Plant, pareto: Pareto) -> str:
    """Both denominators, and what has to be said of them; or that nothing came."""
    if pareto.why:
        return pareto.why
    caption = (
        f"{pareto.ware:,} containers at the first station; {pareto.rejected:,} rejected at the stations that send "
        f"counts; {pareto.calls:,} calls."
    )
    caption += doubt_words(pareto)
    if pareto.refed:
        caption += f" {pareto.refed:,} more went through it again and are no new ware."
    if pareto.apart:
        caption += f" For no fault of theirs: {apart_words(pareto.apart)}; in no share and no rate above."
    if pareto.baseline_from:
        caption += f" Before: pooled rate of the same job since {plant.clock.show(pareto.baseline_from)}."
    return caption


CAUSE_COLUMNS = ("line", "shift", "job", "kind", "where", "cause", "containers", "kg", "counted")
MOST_CAUSES = 10
RECONCILED = (
    "* reconciled: what all meters together make it. Without *: read, as its own meter says it or follows from such "
    "readings."
)


def show_yield(plant: Plant, day_yield: Yield, format: Format) -> None:
    if format is Format.json:
        return print_json(day_yield.told())
    if format is Format.csv:
        return print_csv(
            CAUSE_COLUMNS, [_cause_row(line.line, cause) for line in day_yield.lines for cause in line.causes]
        )
    steps = [
        (line.line, x.step, x.units, x.kg, "measured" if x.measured else "unaccounted")
        for line in day_yield.lines
        for x in line.losses
    ]
    if day_yield.known_at is not None:
        which = "no close had been made: worked out from the rows known then"
        if day_yield.revision is not None and day_yield.closed_at is not None:
            which = f"revision {day_yield.revision}, closed {plant.clock.show(day_yield.closed_at)}"
        typer.echo(f"As known at {plant.clock.show(day_yield.known_at)}: {which}.")
    _show_furnaces(day_yield)
    _show_lines(day_yield)
    print_table("Where it went, by the readings", ("line", "step", "containers", "kg", ""), steps)
    _show_causes(day_yield)
    notes = meter_sentences(day_yield)
    notes += [f"{furnace.furnace}: {furnace.why}" for furnace in day_yield.furnaces if furnace.why]
    notes += [f"{line.line}: {line.why}" for line in day_yield.lines if line.why]
    notes += [f"{line.line}: {note}" for line in day_yield.lines for note in line.notes]
    notes += [f"{furnace.furnace}: {note}" for furnace in day_yield.furnaces for note in furnace.notes]
    for note in dict.fromkeys(notes):
        typer.echo(note)
    return None


def _cause_row(line: str, cause: Cause) -> tuple[Any, ...]:
    return (line, cause.shift, cause.job, cause.kind, cause.where, cause.cause, cause.units, cause.kg, cause.counted)


def _show_causes(day_yield: Yield) -> None:
    """The greatest losses by cause, all shifts and jobs together; every one of them, by shift and job, is in the
    CSV.
    """
    sums = [
        ((line.line, *key), values)
        for line in day_yield.lines
        for key, values in summed(line.causes, lambda cause: (cause.kind, cause.where, cause.cause)).items()
    ]
    rows = [(*key, *values) for key, values in sorted(sums, key=lambda answer: -answer[1][1])[:MOST_CAUSES]]
    columns = ("line", "kind", "where", "cause", "containers", "kg")
    print_table("The greatest losses by cause", columns, rows, "every cause, by shift and job: --format csv")


def _show_furnaces(day_yield: Yield) -> None:
    rows = [
        (
            f.furnace,
            f.melted_kg,
            f.pull_kg,
            f.cut_kg,
            f.packed_kg,
            yield_words(f.pack_to_melt, f.low, f.high),
            yield_words(f.packed_over_cut, f.packed_over_cut_low, f.packed_over_cut_high),
            percent(f.raw),
            f.unaccounted_kg,
        )
        for f in day_yield.furnaces
    ]
    columns = (
        "furnace",
        "melted kg",
        "pull kg",
        "cut kg*",
        "packed kg",
        "pack-to-melt*",
        "packed/cut*",
        "plain quotient",
        "unaccounted kg*",
    )
    print_table(f"Pack-to-melt of {day_yield.day}", columns, rows, RECONCILED)


def _show_lines(day_yield: Yield) -> None:
    rows = [
        (
            y.line,
            y.gobs_cut,
            y.hot_rejected,
            y.to_lehr,
            None if y.silent else y.inspected,
            None if y.silent else y.rejected,
            y.packed_units,
            yield_words(y.pack_to_melt, y.low, y.high),
            y.unaccounted_units,
            percent(y.efficiency, 1),
            y.giveaway_kg,
        )
        for y in day_yield.lines
    ]
    columns = (
        "line",
        "gobs cut",
        "hot",
        "to lehr",
        "inspected",
        "rejected",
        "packed",
        "packed/cut* (95 %)",
        "unaccounted*",
        "efficiency",
        "giveaway kg",
    )
    print_table("Lines, in containers", columns, rows, RECONCILED)


def show_rows(title: str, rows: list[dict[str, Any]], format: Format) -> None:
    if format is Format.json:
        return print_json(rows)
    columns = list(rows[0]) if rows else ["nothing"]
    cells = [list(row.values()) for row in rows]
    return print_csv(columns, cells) if format is Format.csv else print_table(title, columns, cells)
