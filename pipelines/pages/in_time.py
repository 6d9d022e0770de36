"""The time picture of one thing as parts of its page: what was counted of it and what happened, and the window of the
page, chosen by dragging or in two fields.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from pipelines.answers.line_times import LineTimes, OnlyOf, answer_line_times
from pipelines.answers.now import newest_hour
from pipelines.clock import Span
from pipelines.ledger import Reader
from pipelines.pages.forms import form, moment
from pipelines.plant.works import Plant
from pipelines.reports.frame.page import Part, Section, Special
from pipelines.reports.line_times import happened_sheet, line_picture
from pipelines.words import say

HOURS = 24  # before the newest count that are drawn
LONGEST = timedelta(hours=72)


def drawn_around(reader: Reader, plant: Plant, line: str, chosen: Span | None, now: datetime) -> Span:
    """The hours up to the newest count, or those about the chosen window."""
    if chosen is not None:
        wide = max(timedelta(hours=HOURS), chosen.end - chosen.start)
        return Span(chosen.end - wide, chosen.end)
    newest = newest_hour(reader, plant, line, now)
    end = newest.end if newest is not None else now.replace(second=0, microsecond=0)
    return Span(end - timedelta(hours=HOURS), end)


def time_parts(
    reader: Reader, plant: Plant, line: str, only: OnlyOf, span: Span, chosen: Span | None, address: str, now: datetime
) -> tuple[Part, ...]:
    """Picture, form and what happened. address: of the page; now: of a live picture."""
    times = answer_line_times(reader, plant, line, span, only=only)
    live = now if chosen is None and now - span.end < timedelta(hours=HOURS) else None
    chart, words = line_picture(plant, times, live, chosen)
    return (
        Section(say("Calls on two clocks"), _explained(times), chart, words, wide=True),
        window_form(plant, chosen or span, address),
        *([Section(say("What happened"), sheet=happened_sheet(plant, times), wide=True)] if times.happened else []),
    )


def window_form(plant: Plant, window: Span, address: str) -> Special:
    """The two fields that dragging over a picture fills. address: of the page."""
    fields = [
        moment("from", say("From, by the cold-end clock"), plant.clock.typed(window.start), plant),
        moment("to", say("To"), plant.clock.typed(window.end), plant),
    ]
    return form(say("A window"), address, fields, (("", say("Show")),), method="get")


def _explained(times: LineTimes) -> tuple[str, ...]:
    if times.only is not None and times.only.mould is not None:
        return (say("Calls with this number read. Dashed: the mean of the machine's moulds; grey: chance alone."),)
    return (say("Calls of this station alone; what is usual of a single station is not known."),)
