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
        return print_json([signal.told() for signal in signals])
    if format is Format.csv:
        _say_doubts(plant, doubts)
        return print_csv(CSV_COLUMNS, [[_flat(signal.told()[name]) for name in CSV_COLUMNS] for signal in signals])
    show = plant.clock.show
    excesses = [signal for signal in signals if signal.kind == "excess"]
    critical = [signal for signal in signals if signal.kind != "excess"]
    title = f"What is not chance, {show(span.start)} to {show(span.end)}"
    print_table(
        title,
        COLUMNS,
        [_row(plant, signal) for signal in excesses],
        "" if excesses else nothing_found([] if not doubts else ["see below."]),
    )
    if critical:
        rows = [
            (
                signal.line,
                signal.defect,
                signal.name,
                signal.calls,
                round(signal.ware),
                ", ".join(signal.moulds) or "not read",
                show(signal.onset),
            )
            for signal in critical
        ]
        columns = ("line", "defect", "name", "calls", "inspected for it", "moulds read", "first call")
        print_table("Critical calls, shown whatever chance says", columns, rows)
    for excess in excesses:
        typer.echo(_words(plant, excess))
    _say_doubts(plant, doubts, err=False)
    typer.echo(CAUTION)
    return None


def _say_doubts(plant: Plant, doubts: Sequence[tuple[str, datetime, str]], err: bool = True) -> None:
    """What could not be judged; beside JSON and CSV on standard error, whose rows have no place for it."""
    for line, hour, doubt in doubts:
        typer.echo(f"{line}, from {plant.clock.show(hour)}: {doubt}", err=err)


def _words(plant: Plant, signal: Signal) -> str:
    """What a row has no room for: where to look, when it was formed, what the logs say, what makes it go away, who has
    seen it.
    """
    sure = f"{signal.scope} {percent(signal.probability, 0)}" + (f", {signal.doubt}" if signal.doubt else "")
    if signal.undecided:
        others = sorted(((p, s) for s, p in signal.scopes.items() if s != signal.scope), reverse=True)[:1]
        sure += "".join(f" between it and {scope} {percent(p, 0)}" for p, scope in others)
    logs = f" The logs then: {'; '.join(signal.happened)}." if signal.happened else ""
    seen = (
        f" Seen by {signal.acknowledged_by}{': ' + signal.note if signal.note else ''}."
        if signal.acknowledged_by
        else ""
    )
    formed = f"formed from {plant.clock.show(signal.formed)} on"
    state = signal.closes if signal.ended is not None else f"look first at {signal.look_first}; {signal.closes}"
    return f"{signal.id} ({sure}; {formed}): {state}.{logs}{seen}"


def _row(plant: Plant, signal: Signal) -> tuple[object, ...]:
    local = plant.clock.local
    since = f"{local(signal.onset):%d %H:%M} ({local(signal.onset_low):%H:%M}-{local(signal.onset_high):%H:%M})"
    severe = f" ({signal.severity})" if signal.severity == "critical" else ""
    return (
        signal.line,
        f"{signal.defect} {signal.name}{severe}",
        f"{signal.scope} {', '.join(signal.members)}",
        since,
        f"{local(signal.ended):%d %H:%M}{' passed' if signal.passed else ''}" if signal.ended else "going on",
        signal.calls,
        expected(signal.expected),
        round(signal.ware),
        f"{signal.lost_per_hour:.0f}",
        f"{signal.q or 0:.1g}",
    )


def _flat(value: object) -> object:
    return " ".join(str(v) for v in value) if isinstance(value, list) else value
