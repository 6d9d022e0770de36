"""A Pareto as a table and as bars."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from pipelines.measures.pareto.kinds_of_call import apart_words
from pipelines.measures.pareto.words import doubt_words
from pipelines.numbers import count
from pipelines.reports.frame.sheet import CSV, PAGE, SHOWN, Column, Sheet, in_csv
from pipelines.words import say, worded
from schemas.answers.pareto import Pareto, ParetoRow

MOST_BARS = 12


def label(row: ParetoRow) -> str:
    """A bar's name; what is critical has its sign."""
    name = row.name if row.key in row.name else say("{key} {name}", key=row.key, name=row.name)
    return say("◆ {name}", name=name) if row.severity == "critical" else name


def shown_rows(pareto: Pareto, most: int = MOST_BARS) -> list[ParetoRow]:
    """The first rows, and every later one that holds a critical call."""
    return [row for number, row in enumerate(pareto.rows) if number < most or row.critical_calls]


def pareto_chart(pareto: Pareto, words: str, lit: Collection[str] = (), most: int = MOST_BARS) -> str:
    """Bars of calls with a tick at the number the job's past would lead one to expect; lit: the defects of open
    signals, of which what is above expectation is filled strongly.
    """
    from pipelines.reports.frame import charts

    rows: list[dict[str, Any]] = []
    for row in shown_rows(pareto, most):
        expected = row.baseline * pareto.ware if row.baseline is not None else None
        rows.append(
            {
                "label": label(row),
                "value": row.calls,
                "plain": min(row.calls, expected) if row.key in lit and expected is not None else row.calls,
                "shown": f"{row.calls}",
                "expected": expected,
                "top": max(row.calls, expected or 0),
            }
        )
    return charts.svg(charts.bars, words, rows, say("calls")) if rows else ""


PARETO_COLUMNS = (
    Column("key", say("Code")),
    Column("name", say("Name")),
    Column("severity", say("Severity"), ways=SHOWN),
    *in_csv(plain_severity="severity"),
    Column("calls", say("Calls"), "count"),
    Column("share", say("Share"), "percent1"),
    Column("cumulative", say("Cumulative"), "percent1"),
    Column("rate", say("Rate on line's ware"), "percent3"),
    Column("baseline", say("Expected"), "percent3"),
    Column("q", say("q of the excess"), "chance", PAGE + CSV),
    Column("own_ware", say("Own ware"), "count"),
    Column("own_rate", say("Rate on own ware"), "percent3"),
    *in_csv("critical_calls", "kind"),
)


def _severity(row: ParetoRow) -> str:
    if row.severity:
        return worded(row.severity)
    return say("{calls} critical", calls=row.critical_calls) if row.critical_calls else ""


def pareto_sheet(pareto: Pareto, name: str, title: str) -> Sheet:
    """The whole Pareto as a table, with both denominators in its caption."""
    rows = [row.model_dump() | {"severity": _severity(row), "plain_severity": row.severity} for row in pareto.rows]
    caption = say(
        "{calls} calls; rate = calls / {ware} containers at the first station; own ware = containers that"
        " could have been called so.",
        calls=count(pareto.calls),
        ware=count(pareto.ware),
    )
    caption += doubt_words(pareto)
    if pareto.refed:
        caption += say(
            " {refed} more went through the first station again and are no new ware.", refed=count(pareto.refed)
        )
    if pareto.apart:
        caption += say(
            " Thrown out for no fault, and in no figure above: {apart_words}.", apart_words=apart_words(pareto.apart)
        )
    if pareto.why:
        caption = pareto.why
    strong = [number for number, row in enumerate(pareto.rows) if row.critical_calls]
    return Sheet(name, title, PARETO_COLUMNS, rows, caption, strong=strong)
