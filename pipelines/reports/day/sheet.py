"""The sheet of a production day: one printed page that can be read in two minutes, the rest behind links."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

from pipelines.measures.signals.acts import most_harmful
from pipelines.numbers import count as broken_count
from pipelines.numbers import percent
from pipelines.plant.works import Plant
from pipelines.reports.addresses import behind_address, day_address
from pipelines.reports.day.sheet_tables import (
    MANY,
    actions_sheet,
    checks_sheet,
    lines_sheet,
    losses_sheet,
    open_signals_sheet,
)
from pipelines.reports.day.so_far import so_far_words
from pipelines.reports.frame.page import CAUTION, GLASS, Figure, Page, Section
from pipelines.words import day_named, joined, moment_dated, numeral, say, say_n
from schemas.answers.day import DayFurnace, DaySheet

MOST = 3  # losses
FEW = 3  # furnaces that have a figure each
ROWS, OF_MANY = 5, 4  # signals, actions, doubts, checks that the sheet has room for; of many lines


def count(value: float | None) -> str:
    """A number that no line break divides."""
    return broken_count(value).replace(" ", "\u00a0")


def sheet_page(
    plant: Plant,
    sheet: DaySheet,
    words: str = "",
    earlier: tuple[tuple[str, str], ...] = (),
    sources: tuple[str, ...] = (),
) -> Page:
    """The sheet as a page. words: which close wrote it; earlier: pages of the revisions before."""
    return Page(
        title=day_named(sheet.day),
        when=_when(plant, sheet, words),
        figures=tuple(_figures(plant, sheet)),
        sections=tuple(_sections(plant, sheet)),
        links=(*_links(sheet), *earlier, (say("all pages"), "../index.html")),
        cautions=(CAUTION, GLASS),
        sources=sources,
        made=say("A page a machine, laboratory, holds and all figures stand behind this sheet."),
        workbook=f"{sheet.day.isoformat()}.xlsx" if sheet.closed else "",
        paper="sheet",
    )


def _when(plant: Plant, sheet: DaySheet, words: str) -> str:
    clock = plant.clock
    hours = numeral((sheet.to - sheet.from_).total_seconds() / 3600, "g")
    start, end = (f"{clock.local(at):%H:%M}" for at in (sheet.from_, sheet.to))
    whole = say("{start} to {end}, {hours} hours, cold-end clock", start=start, end=end, hours=hours)
    if sheet.closed:
        return say("{whole}; {words}", whole=whole, words=words) if words else whole
    return say("{so_far}; {whole}", so_far=so_far_words(plant, sheet.as_of, sheet.to), whole=whole)


def _links(sheet: DaySheet) -> list[tuple[str, str]]:
    day = sheet.day
    found = [
        (say("← day before"), f"../{day_address(day - timedelta(days=1))}"),
        (say("day after →"), f"../{day_address(day + timedelta(days=1))}"),
    ]
    parts = (("laboratory", say("Laboratory")), ("holds", say("Holds")), ("figures", say("All figures")))
    return found + [(name, f"../{behind_address(day, part)}") for part, name in parts]


def _figures(plant: Plant, sheet: DaySheet) -> list[Figure]:
    """The headline: what was packed of what was melted, rejects, holds, signals, each with what it is of."""
    found = _furnaces(sheet)
    many = {"rejected": count(sheet.rejected), "ware": count(sheet.ware)}
    what = say("rejected at the cold end") if sheet.closed else say("rejected so far")
    found.append(
        Figure(percent(sheet.rejected_share, 1), what, say("{rejected} of {ware} containers", **many))
        if sheet.ware
        else Figure("–", what, say("not known: no count came"))
    )
    if not sheet.closed:
        found.append(_packed(sheet))
    found_open = most_harmful(sheet.signals)
    lost = sum(act.lost_per_hour for act in found_open)
    found.append(
        Figure(
            count(len(found_open)),
            say("signals open at its end") if sheet.closed else say("signals open"),
            say("{lost} containers lost an hour", lost=count(lost)) if found_open else _unjudged(sheet),
        )
    )
    found.append(Figure(count(sheet.pallets_held), say("pallets held"), say("now, of any day")))
    return found


def _unjudged(sheet: DaySheet) -> str:
    """That no line with counts has a past, so that no signal could be."""
    came = [line for line in sheet.lines if line.ware is not None]
    return say("no past to compare with") if came and not any(line.judged for line in came) else ""


def _furnaces(sheet: DaySheet) -> list[Figure]:
    """A figure a furnace; of many furnaces one, with each named under it."""
    if len(sheet.furnaces) <= FEW:
        return [
            _furnace(each, say("packed of melted, furnace {furnace}", furnace=each.furnace)) for each in sheet.furnaces
        ]
    named = joined(
        ", ", (say("{furnace} {share}", furnace=each.furnace, share=_share(each)) for each in sheet.furnaces)
    )
    what = say("packed of melted, all furnaces")
    if sheet.together is None:
        return [Figure("–", what, say("not known of all: {named}", named=named))]
    whole = _furnace(sheet.together, what)
    return [replace(whole, under=say("{under}; {named}", under=whole.under, named=named))]


def _share(furnace: DayFurnace) -> str:
    return percent(furnace.pack_to_melt, 1) if furnace.pack_to_melt is not None else say("not known")


def _furnace(furnace: DayFurnace, what: str) -> Figure:
    if furnace.low is None:
        return Figure("–", what, say("not known: {why}", why=furnace.why) if furnace.why else say("not known"))
    limits = {"low": percent(furnace.low, 1), "high": percent(furnace.high, 1)}
    parts = [say("95 %: {low} to {high}", **limits)] if furnace.pack_to_melt is not None else []
    if furnace.packed_kg is not None and furnace.melted_kg is not None:
        parts.append(
            say("{packed} of {melted} kg, as read", packed=count(furnace.packed_kg), melted=count(furnace.melted_kg))
        )
    if furnace.why:
        parts.append(furnace.why)
    value = percent(furnace.pack_to_melt, 1) if furnace.pack_to_melt is not None else say("{low} to {high}", **limits)
    return Figure(value, what, joined("; ", parts))


def _packed(sheet: DaySheet) -> Figure:
    known = [line.packed for line in sheet.lines if line.packed is not None]
    what = say("packed so far")
    if not known:
        return Figure("–", what, say("not known: no pallet came"))
    short = len(sheet.lines) - len(known)
    under = say("containers on finished pallets")
    if short:
        under = say_n("{under}; {n} line without any", "{under}; {n} lines without any", short, under=under)
    return Figure(count(sum(known)), what, under)


def _rows(sheet: DaySheet) -> int:
    return ROWS if len(sheet.lines) <= MANY else OF_MANY


def _sections(plant: Plant, sheet: DaySheet) -> list[Section]:
    most = _rows(sheet)
    return [
        Section(say("Lines"), sheet=lines_sheet(plant, sheet), wide=True),
        _losses(plant, sheet),
        _listed(
            say("Open signals"),
            open_signals_sheet(plant, sheet, most),
            len(most_harmful(sheet.signals)),
            say("No signal is open."),
        ),
        _checks(sheet),
        _doubts(sheet),
        _listed(
            say("What was done"),
            actions_sheet(plant, sheet, most),
            len(sheet.actions),
            say("No action came of this day."),
        ),
    ]


def _losses(plant: Plant, sheet: DaySheet) -> Section:
    title = say("Three largest losses")
    if not sheet.closed:
        end = moment_dated(plant.clock.local(sheet.to))
        words = (
            say("This production day is not closed: it ends at {end}.", end=end),
            say("Yield, losses and their causes are told at the close."),
        )
        return Section(title, words, wide=True)
    if not sheet.losses:
        return Section(title, (say("No loss is known of this day."),), wide=True)
    return Section(title, sheet=losses_sheet(plant, sheet.losses[:MOST]), wide=True)


def _listed(title: str, sheet: object, many: int, none: str) -> Section:
    from pipelines.reports.frame.sheet import Sheet

    assert isinstance(sheet, Sheet)
    if not many:
        return Section(title, (none,))
    return Section(title, sheet=sheet)


def _doubts(sheet: DaySheet) -> Section:
    """What is held, in doubt or not known."""
    title = say("Holds and doubts")
    if not sheet.doubts:
        return Section(title, (say("Nothing is held, in doubt or known to be missing."),))
    return Section(title, items=tuple(_first(sheet.doubts, _rows(sheet))))


def _first(items: Sequence[str], most: int) -> list[str]:
    """The first items, and how many more there are; never one alone."""
    if len(items) <= most + 1:
        return list(items)
    return [*items[:most], say("{n} more, behind this sheet.", n=len(items) - most)]


def _checks(sheet: DaySheet) -> Section:
    title = say("Checks outside limits")
    if not sheet.checks:
        none = say("None of {n} checks is outside its limits.", n=count(sheet.checks_made))
        return Section(title, (none if sheet.checks_made else say("No check of the laboratory came."),))
    return Section(title, sheet=checks_sheet(sheet, _rows(sheet)))
