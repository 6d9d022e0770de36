"""Signals as a terminal table, as CSV and as the contract's JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

import typer

from pipelines.cautions import CAUTION
from pipelines.clock import Span
from pipelines.measures.signals.tell import nothing_found
from pipelines.plant.works import Plant
from pipelines.reports.frame.table_terminal import print_sheet
from pipelines.reports.signals import critical_sheet, plain_signals, signals_sheet
from pipelines.reports.terminal.answers import percent
from pipelines.reports.terminal.formats import Format, print_csv, print_json
from schemas.answers.signals import Signal


def show_signals(
    plant: Plant, signals: Sequence[Signal], doubts: Sequence[tuple[str, datetime, str]], span: Span, format: Format
) -> None:
    if format is Format.json:
        _say_doubts(plant, doubts)
        return print_json([signal.told() for signal in signals])
    if format is Format.csv:
        _say_doubts(plant, doubts)
        return print_csv(plain_signals(signals))
    excesses = [signal for signal in signals if signal.kind == "excess"]
    critical = [signal for signal in signals if signal.kind != "excess"]
    title = f"What is not chance, {plant.clock.show(span.start)} to {plant.clock.show(span.end)}"
    caption = "" if excesses else nothing_found([] if not doubts else ["see below."])
    print_sheet(replace(signals_sheet(plant, excesses, span.start), title=title, caption=caption))
    if critical:
        print_sheet(critical_sheet(plant, critical))
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
