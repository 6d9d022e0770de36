"""The first page of reports/: the newest days and hours, by line."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from pipelines.plant.works import Plant
from pipelines.reports.frame.page import CAUTION, Page, Section
from pipelines.reports.frame.sheet import Column, Sheet

NO_MORE_HOURS = "`works.toml` names no hours in `[reports]`: those here are kept true, no others are written."


def index_page(plant: Plant, reports: Path) -> Page:
    """A page that leads to every page there is in the folder."""
    days = sorted((path.stem for path in (reports / "day").glob("*.html")), reverse=True)
    traces = sorted(path.stem for path in (reports / "trace").glob("*.html"))
    newest = _newest_hours(plant, reports)
    return Page(
        title="Reports",
        when="pages that open from disk",
        sections=(
            *_hours(plant, newest),
            Section("Production days", sheet=_links("days", "Day", [(day, f"day/{day}.html") for day in days])),
            Section(
                "The newest weights of each line",
                sheet=_links("weights", "Line", _newest(reports, "weights", plant.lines)),
            ),
            Section(
                "The newest laboratory pages",
                sheet=_links("laboratory", "Furnace", _newest(reports, "laboratory", plant.furnaces)),
            ),
            Section("Traces", sheet=_links("traces", "Trace", [(name, f"trace/{name}.html") for name in traces])),
        ),
        links=(("holds", "holds.html"),) if (reports / "holds.html").exists() else (),
        cautions=(CAUTION,),
    )


def _hours(plant: Plant, newest: list[tuple[str, str]]) -> tuple[Section, ...]:
    """Hours whose pages lie there: those that works.toml names, or some that were written before."""
    if not newest:
        return ()
    texts = () if "hour" in plant.reports.pages else (NO_MORE_HOURS,)
    return (Section("The newest hour of each line", texts, sheet=_links("newest", "Line", newest)),)


def _newest_hours(plant: Plant, reports: Path) -> list[tuple[str, str]]:
    found = []
    for line in plant.lines:
        pages = sorted(reports.glob(f"hour/*/{line}-[0-9][0-9]-*.html"), key=lambda path: (path.parent.name, path.name))
        if pages:
            last = pages[-1]
            text = f"{line}: production day {last.parent.name}, hour from {last.stem[-4:-2]}:{last.stem[-2:]}"
            found.append((text, f"hour/{last.parent.name}/{last.name}"))
    return found


def _newest(reports: Path, folder: str, of: Iterable[str]) -> list[tuple[str, str]]:
    """The newest page of each line or furnace in a folder that has a folder a day."""
    found = []
    for each in of:
        pages = sorted(reports.glob(f"{folder}/*/{each}.html"), key=lambda path: path.parent.name)
        if pages:
            day = pages[-1].parent.name
            found.append((f"{each}: production day {day}", f"{folder}/{day}/{each}.html"))
    return found


def _links(name: str, heading: str, links: list[tuple[str, str]]) -> Sheet:
    rows = [{"page": text} for text, _ in links]
    return Sheet(
        name,
        heading,
        (Column("page", heading),),
        rows,
        links={(n, "page"): address for n, (_, address) in enumerate(links)},
    )
