"""Signals as a terminal table, as CSV and as the contract's JSON."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import typer

from pipelines.cautions import CAUTION
from pipelines.clock import Span
from pipelines.measures.signals.tell import nothing_found
from pipelines.numbers import expected
from pipelines.plant.works import Plant
from pipelines.reports.terminal.answers import percent
from pipelines.reports.terminal.table import Format, print_csv, print_json, print_table
from schemas.answers.signals import Signal

CSV_COLUMNS = (
    "id",
    "kind",
    "line",
    "furnace",
    "defect",
    "severity",
    "scope",
    "members",
    "moulds",
    "onset",
    "onset_low",
    "onset_high",
    "formed",
    "ended",
    "passed",
    "calls",
    "expected",
    "ware",
    "rate_before",
    "rate_after",
    "lost_per_hour",
    "q",
    "probability",
    "undecided",
    "acknowledged_by",
    "note",
)
COLUMNS = ("line", "defect", "place", "since (95 %)", "ended", "calls", "expected", "of ware", "lost/h", "q")


def show_signals(
    plant: Plant, signals: Sequence[Signal], doubts: Sequence[tuple[str, datetime, str]], span: Span, format: Format
) -> None:
    if format is Format.json:
        _say_doubts(plant, doubts)
        return print_json([one.told() for one in signals])
    if format is Format.csv:
        _say_doubts(plant, doubts)
        return print_csv(CSV_COLUMNS, [[_flat(one.told()[name]) for name in CSV_COLUMNS] for one in signals])
    show = plant.clock.show
    excesses = [one for one in signals if one.kind == "excess"]
    critical = [one for one in signals if one.kind != "excess"]
    title = f"What is not chance, {show(span.start)} to {show(span.end)}"
    print_table(
        title,
        COLUMNS,
        [_row(plant, one) for one in excesses],
        "" if excesses else nothing_found([] if not doubts else ["see below."]),
    )
    if critical:
        rows = [
            (
                one.line,
                one.defect,
                one.name,
                one.calls,
                round(one.ware),
                ", ".join(one.moulds) or "not read",
                show(one.onset),
            )
            for one in critical
        ]
        columns = ("line", "defect", "name", "calls", "inspected for it", "moulds read", "first call")
        print_table("Critical calls, shown whatever chance says", columns, rows)
    for one in excesses:
        typer.echo(_words(plant, one))
    _say_doubts(plant, doubts, err=False)
    typer.echo(CAUTION)
    return None


def _say_doubts(plant: Plant, doubts: Sequence[tuple[str, datetime, str]], err: bool = True) -> None:
    """What could not be judged; beside JSON and CSV on standard error, whose rows have no place for it."""
    for line, hour, doubt in doubts:
        typer.echo(f"{line}, from {plant.clock.show(hour)}: {doubt}", err=err)


def _words(plant: Plant, one: Signal) -> str:
    """What a row has no room for: where to look, when it was formed, what the logs say, what makes it go away, who has
    seen it.
    """
    sure = f"{one.scope} {percent(one.probability, 0)}" + (f", {one.doubt}" if one.doubt else "")
    if one.undecided:
        others = sorted(((p, s) for s, p in one.scopes.items() if s != one.scope), reverse=True)[:1]
        sure += "".join(f" between it and {scope} {percent(p, 0)}" for p, scope in others)
    logs = f" The logs then: {'; '.join(one.happened)}." if one.happened else ""
    seen = f" Seen by {one.acknowledged_by}{': ' + one.note if one.note else ''}." if one.acknowledged_by else ""
    formed = f"formed from {plant.clock.show(one.formed)} on"
    state = one.closes if one.ended is not None else f"look first at {one.look_first}; {one.closes}"
    return f"{one.id} ({sure}; {formed}): {state}.{logs}{seen}"


def _row(plant: Plant, one: Signal) -> tuple[object, ...]:
    local = plant.clock.local
    since = f"{local(one.onset):%d %H:%M} ({local(one.onset_low):%H:%M}-{local(one.onset_high):%H:%M})"
    severe = f" ({one.severity})" if one.severity == "critical" else ""
    return (
        one.line,
        f"{one.defect} {one.name}{severe}",
        f"{one.scope} {', '.join(one.members)}",
        since,
        f"{local(one.ended):%d %H:%M}{' passed' if one.passed else ''}" if one.ended else "going on",
        one.calls,
        expected(one.expected),
        round(one.ware),
        f"{one.lost_per_hour:.0f}",
        f"{one.q or 0:.1g}",
    )


def _flat(value: object) -> object:
    return " ".join(str(v) for v in value) if isinstance(value, list) else value
