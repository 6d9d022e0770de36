"""The signals that were open when the ware of a trace was formed, and how far the same fault reaches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

from pipelines.answers.signals import kept_signals
from pipelines.answers.trace.line_ware import LineView
from pipelines.clock import Span
from pipelines.ledger.reader import Reader
from pipelines.measures.signals.tell import CRITICAL_CALL
from pipelines.measures.trace.exposure import Stay, hull
from pipelines.plant.works import Plant
from schemas.answers.signals import Signal

FAULT_REACH = timedelta(days=3)  # how far from the window the same fault is followed


def kept_excesses(reader: Reader, plant: Plant, defect: str | None, stays: Sequence[Stay]) -> list[Signal]:
    """The excesses of a defect, ware's and not a station's, that were kept about the time of the stays."""
    if defect is None:
        return []
    lines = list(dict.fromkeys(s.line for s in stays))
    ways = [timedelta(minutes=plant.lines[line].lehr_minutes) for line in lines]
    whole = hull(stays)
    signals = kept_signals(
        reader, whole.start + min(ways) - timedelta(hours=1), whole.end + max(ways) + FAULT_REACH, lines
    )
    return [s for s in signals if s.defect == defect and s.kind != CRITICAL_CALL and s.scope != "station"]


def faults_at(plant: Plant, line: str, kept: Sequence[Signal], moulds: set[str], window: Span) -> list[Signal]:
    """The signals of a line at any of the moulds whose ware was formed in the window."""
    lehr = timedelta(minutes=plant.lines[line].lehr_minutes)
    mine = [s for s in kept if s.line == line and moulds & set(s.moulds)]
    return [s for s in mine if s.formed_low < window.end and (s.ended is None or s.ended - lehr > window.start)]


def reach_of(plant: Plant, line: str, faults: Sequence[Signal], window: Span) -> Span | None:
    """The forming window, lengthened by what the signals say of how long the fault lasted; None where none was open."""
    if not faults:
        return None
    lehr = timedelta(minutes=plant.lines[line].lehr_minutes)
    start = min(s.formed_low for s in faults)
    end = max(s.ended - lehr if s.ended else window.end + FAULT_REACH for s in faults)
    return Span(
        max(window.start - FAULT_REACH, min(start, window.start)), min(window.end + FAULT_REACH, max(end, window.end))
    )


def stays_beyond(view: LineView, fault: Span | None, window: Span, moulds: set[str]) -> list[Stay]:
    """The stays of the signals' moulds before and after the window, while the fault lasted."""
    if fault is None:
        return []
    found = []
    for stay in view.stays:
        for part in (Span(fault.start, window.start), Span(window.end, fault.end)):
            start, end = max(stay.span.start, part.start), min(stay.span.end, part.end)
            if stay.mould in moulds and start < end:
                found.append(replace(stay, span=Span(start, end)))
    return found
