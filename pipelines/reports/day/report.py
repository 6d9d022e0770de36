"""The pages of a production day: its sheet, a page a machine, laboratory, holds, all figures."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from pipelines.answers.day import Day, answer_day
from pipelines.answers.day_sheet import sheet_of
from pipelines.ledger.reader import Reader
from pipelines.measures.yields.change import Revision
from pipelines.plant.works import Plant
from pipelines.reports.addresses import behind_address, day_address, machine_address
from pipelines.reports.breakages import breakage_sections
from pipelines.reports.day.figures import figures_sections
from pipelines.reports.day.held import holds_section
from pipelines.reports.day.laboratory import laboratory_sections
from pipelines.reports.day.machine import machine_page
from pipelines.reports.day.sheet import sheet_page
from pipelines.reports.day.tables import held_sheet
from pipelines.reports.frame.page import CAUTION, GLASS, Page, Section
from pipelines.reports.frame.sources import sources
from pipelines.words import day_named, say

LABORATORY, HOLDS, FIGURES = "laboratory", "holds", "figures"
BEHIND = {LABORATORY: say("Laboratory"), HOLDS: say("Holds"), FIGURES: say("All figures")}


def day_page(reader: Reader, plant: Plant, day: date, revision: str = "") -> Page:
    """The sheet of one production day. `revision` says which close wrote it."""
    return _sheet(plant, answer_day(reader, plant, day), revision)


def machine_day_page(reader: Reader, plant: Plant, line: str, day: date) -> Page:
    """The page of one machine on a production day."""
    return _machine(plant, answer_day(reader, plant, day), line)


def behind_page(reader: Reader, plant: Plant, part: str, day: date) -> Page:
    """A page behind the sheet: laboratory, holds or figures."""
    return _behind(plant, answer_day(reader, plant, day), part, None)


def pages_of(
    plant: Plant,
    day: Day,
    words: str = "",
    why: Revision | None = None,
    earlier: tuple[tuple[str, str], ...] = (),
) -> dict[str, Page]:
    """All pages of a day already answered, by address, its sheet first. words: which close wrote them; why: what that
    moved; earlier: pages of the revisions before.
    """
    return {
        day_address(day.day): _sheet(plant, day, words, earlier),
        **{machine_address(day.day, line): _machine(plant, day, line, words) for line in plant.lines},
        **{behind_address(day.day, part): _behind(plant, day, part, why, words) for part in BEHIND},
    }


def addresses_of(plant: Plant, day: date) -> Sequence[str]:
    """Where the pages of a day lie, its sheet first."""
    machines = (machine_address(day, line) for line in plant.lines)
    return [day_address(day), *machines, *(behind_address(day, part) for part in BEHIND)]


def _sheet(plant: Plant, day: Day, words: str = "", earlier: tuple[tuple[str, str], ...] = ()) -> Page:
    return sheet_page(plant, sheet_of(plant, day), words, earlier, sources(day.asked, day.files))


def _machine(plant: Plant, day: Day, line: str, words: str = "") -> Page:
    of_line = next(each for each in day.yields.lines if each.line == line)
    return machine_page(plant, day, of_line, words)


def _behind(plant: Plant, day: Day, part: str, why: Revision | None, words: str = "") -> Page:
    clock = plant.clock
    return Page(
        title=say("{part}, {day}", part=BEHIND[part], day=day_named(day.day)),
        when=say(
            "{start} to {end}{words}",
            start=clock.show(day.span.start),
            end=clock.show(day.span.end),
            words=say("; {words}", words=words) if words else "",
        ),
        sections=tuple(_behind_sections(plant, day, part, why)),
        links=(
            (say("the day"), f"../../{day_address(day.day)}"),
            *((BEHIND[other], f"{other}.html") for other in BEHIND if other != part),
        ),
        cautions=(CAUTION, GLASS),
        sources=sources(day.asked, day.files),
        made=say(
            "The yield follows the same ware from the melt to the pallet, each step in its own time-aligned window."
        ),
        workbook=f"{part}.xlsx",
    )


def _behind_sections(plant: Plant, day: Day, part: str, why: Revision | None) -> list[Section]:
    if part == LABORATORY:
        return laboratory_sections(plant, day)
    if part == HOLDS:
        held = Section(say("Pallets held, to be re-sorted, scrapped"), sheet=held_sheet(plant, day), wide=True)
        return [holds_section(plant, day), held, *breakage_sections(plant, day.breakages)]
    return figures_sections(plant, day, why)
