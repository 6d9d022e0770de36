"""A day, or a machine's day, beside another: the figures of both and what lies between them."""

from __future__ import annotations

from typing import Any

from pipelines.measures.laboratory.words import signed_whole
from pipelines.measures.yields.names import plain_word
from pipelines.numbers import count, decimals, percent
from pipelines.reports.day.sheet_tables import signed_points
from pipelines.reports.frame.page import Section
from pipelines.reports.frame.sheet import SHOWN, Column, Sheet, in_csv
from pipelines.words import defect_name, joined, say
from schemas.answers.day import ComparedFigure, DayCompared

DEFECTS = 8  # those that differ most
PIVOTED = ("pack-to-melt", "packed / cut, kg", "rejected / inspected", "efficiency")  # of all lines together


def compared_sections(compared: DayCompared) -> list[Section]:
    """What is compared, or why nothing can be."""
    title = say("Against {other}", other=compared.against)
    if compared.why:
        return [Section(title, (compared.why,), wide=True)]
    figures = Section(title, sheet=figures_sheet(compared), wide=True)
    if not compared.defects:
        return [figures]
    return [figures, Section(say("Defects that differ most"), sheet=defects_sheet(compared), wide=True)]


def figures_sheet(compared: DayCompared) -> Sheet:
    """A row a figure."""
    chosen = [each for each in compared.figures if compared.line or each.name in PIVOTED]
    rows = [_row(each) for each in chosen]
    columns = (
        Column("of", say("Of"), "id"),
        Column("name", say("Figure")),
        Column("this", say("This day"), "id", SHOWN),
        Column("then", say("The other"), "id", SHOWN),
        Column("differs", say("Difference"), "id", SHOWN),
        *in_csv("unit", "value", "other", "difference", "margin"),
    )
    caption = say("± 95 %, by the spread from day to day of the last 28 closed days; bold: more than that.")
    if not any(each.margin is not None for each in chosen):
        caption = say("Too few closed days tell how far days differ by themselves.")
    strong = [number for number, each in enumerate(chosen) if each.beyond]
    return Sheet("compared", say("Compared"), columns, rows, caption, strong=strong)


def _row(figure: ComparedFigure) -> dict[str, Any]:
    return {
        **figure.model_dump(),
        "name": plain_word(figure.name),
        "this": _written(figure, figure.value),
        "then": _written(figure, figure.other),
        "differs": difference_words(figure),
    }


def _written(figure: ComparedFigure, value: float | None) -> str:
    if value is None:
        return say("not known")
    return percent(value) if figure.unit == "percent" else joined(" ", (count(value), figure.unit))


def difference_words(figure: ComparedFigure) -> str:
    """The difference with its interval; that it cannot be told from what days differ by themselves."""
    if figure.difference is None:
        return say("cannot be told")
    points = figure.unit == "percent"
    shown = signed_points(figure.difference) if points else signed_whole(figure.difference)
    if figure.margin is None:
        return say("{difference}, cannot be told", difference=shown)
    margin = decimals(100 * figure.margin, 1) if points else count(figure.margin)
    return say("{difference} ± {margin}", difference=shown, margin=margin)


def defects_sheet(compared: DayCompared, most: int = DEFECTS) -> Sheet:
    """Calls over ware of the defects that differ most."""
    rows = [
        {**row.model_dump(), "name": defect_name(row.name), "difference": row.rate - row.other}
        for row in (compared.defects[:most] if most else compared.defects)
    ]
    columns = (
        Column("defect", say("Code"), "id"),
        Column("name", say("Defect")),
        Column("calls", say("Calls"), "count"),
        Column("rate", say("This day"), "percent3"),
        Column("other", say("The other"), "percent3"),
        Column("difference", say("Difference"), "percent3"),
    )
    return Sheet("defects", say("Defects"), columns, rows, say("Calls over containers at the first station."))
