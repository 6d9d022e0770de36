"""A day's figures against earlier days, as a table."""

from __future__ import annotations

from pipelines.measures.laboratory.words import signed, signed_whole
from pipelines.measures.yields.change import Against, YieldChange
from pipelines.measures.yields.names import plain_word
from pipelines.numbers import count, percent
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.words import joined, say


def changes_sheet(chosen: list[YieldChange], name: str) -> Sheet:
    """Figures against their last 7 and 28 closed days."""
    rows = [
        {
            "of": yield_change.of,
            "name": plain_word(yield_change.name),
            "value": _figure(yield_change, yield_change.value),
            "week": _mean(yield_change, yield_change.week),
            "from_week": _verdict(yield_change, yield_change.week),
            "month": _mean(yield_change, yield_change.month),
            "from_month": _verdict(yield_change, yield_change.month),
        }
        for yield_change in chosen
    ]
    strong = [
        number
        for number, yield_change in enumerate(chosen)
        if any(past is not None and past.beyond for past in (yield_change.week, yield_change.month))
    ]
    columns = (
        Column("of", say("Of")),
        Column("name", say("Figure")),
        Column("value", say("This day")),
        Column("week", say("Last 7 days")),
        Column("from_week", say("Change")),
        Column("month", say("Last 28 days")),
        Column("from_month", say("Change")),
    )
    caption = say(
        "Mean of the closed days (how many). More than noise: outside the limits that 95 of 100 further "
        "days of the same kind would keep, by the spread from day to day of the last 28; with so many "
        "figures a day, one in twenty is outside by chance."
    )
    return Sheet(
        name,
        say("What changed") if name == "changed" else say("All against earlier days"),
        columns,
        rows,
        caption,
        strong=strong,
    )


def _figure(yield_change: YieldChange, value: float) -> str:
    return percent(value) if yield_change.kind == "percent" else joined(" ", (count(value), yield_change.kind))


def _mean(yield_change: YieldChange, past: Against | None) -> str:
    if past is None:
        return say("no closed day")
    return say("{mean} ({days})", mean=_figure(yield_change, past.mean), days=past.days)


def _verdict(yield_change: YieldChange, past: Against | None) -> str:
    if past is None:
        return ""
    moved = (
        say("{moved} points", moved=signed(100 * past.difference))
        if yield_change.kind == "percent"
        else say("{moved} {unit}", moved=signed_whole(past.difference), unit=yield_change.kind)
    )
    noise = {None: say("too few days to tell"), True: say("more than noise"), False: say("within noise")}[past.beyond]
    return say("{moved}, {noise}", moved=moved, noise=noise)
