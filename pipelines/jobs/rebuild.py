"""Computing days again: side by side, with progress, and going on where it was stopped."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from importlib.metadata import version
from pathlib import Path
from typing import Any

from pipelines.errors import WrongUse
from pipelines.jobs.days import Rebuilt, rebuild_day
from pipelines.jobs.laboratory import laboratory_pages, pages_of_day, pages_to_write
from pipelines.jobs.pages import hour_pages, hours_of_days, hours_to_write, write_index
from pipelines.jobs.pool import side_by_side
from pipelines.jobs.signals import AT_ONCE, refresh_signals
from pipelines.plant.works import Plant
from pipelines.site.folder import OpenSite
from pipelines.whole_files import written_whole

Progress = Callable[[int, int, str], None]


@dataclass
class Notebook:
    """What of a rebuild is done; kept in the site after every step, so that the same command goes on after a stop of
    any kind.
    """

    path: Path
    of: dict[str, Any]
    followed: list[str]
    answered: dict[str, bool | None]
    paged: list[str]

    @classmethod
    def opened(cls, opened: OpenSite, first: date, last: date) -> Notebook:
        """The notes of the same rebuild of the same ledger by the same program, else empty ones."""
        path = opened.site.root / ".rebuild.json"
        with opened.ledger.reading() as reader:
            batch = reader.ask("last_batch").item()
        of = {"from": str(first), "to": str(last), "last_batch": batch, "version": version("coldledger")}
        try:
            answer = json.loads(path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            answer = {}
        if answer.get("of") != of:
            return cls(path, of, [], {}, [])
        return cls(path, of, answer["followed"], answer["answered"], answer["paged"])

    def note(self) -> None:
        said = json.dumps({name: value for name, value in vars(self).items() if name != "path"})
        with written_whole(self.path) as part:
            part.write_text(said, encoding="utf-8")


def rebuild_days(opened: OpenSite, first: date, last: date, progress: Progress | None = None) -> list[Rebuilt]:
    """Signals, answers and pages of every day from `first` to `last`, worked out again from what was taken in. WrongUse
    where nothing came on any of them, and none was closed.
    """
    days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
    _check_something_came(opened, days)
    notes = Notebook.opened(opened, first, last)
    _signals(opened, days, notes, progress)
    rebuilt = _answers(opened, days, notes, progress)
    _pages(opened, days, notes, progress)
    write_index(opened, _lying(opened, days))
    notes.path.unlink(missing_ok=True)
    return rebuilt


def _check_something_came(opened: OpenSite, days: Sequence[date]) -> None:
    """Pages of days of which nothing was ever heard would look as if the works had stood."""
    clock = opened.plant.clock
    with opened.ledger.reading() as reader:
        came = reader.ask("files_of_window", from_time=clock.day(days[0]).start, to_time=clock.day(days[-1]).end).item()
        if came or set(days) & set(reader.ask("last_closes")["day"].to_list()):
            return
    which = f"these days, {days[0]} to {days[-1]}" if len(days) > 1 else f"production day {days[0]}"
    raise WrongUse(f"nothing came on {which}: there is nothing to rebuild, and nothing was written")


def _signals(opened: OpenSite, days: Sequence[date], notes: Notebook, progress: Progress | None) -> None:
    left = [day for day in days if str(day) not in notes.followed]
    for start in range(0, len(left), AT_ONCE):
        part = left[start : start + AT_ONCE]
        refresh_signals(opened, part)
        notes.followed += [str(day) for day in part]
        notes.note()
        if progress:
            progress(len(notes.followed), len(days), "signals")


def _answers(opened: OpenSite, days: Sequence[date], notes: Notebook, progress: Progress | None) -> list[Rebuilt]:
    left = [day for day in days if str(day) not in notes.answered]
    for rebuilt in side_by_side(opened, _one_day, left):
        notes.answered[str(rebuilt.day)] = rebuilt.same
        notes.note()
        if progress:
            progress(len(notes.answered), len(days), str(rebuilt.day))
    return [Rebuilt(day, notes.answered[str(day)], opened.site.reports / "day" / f"{day}.html") for day in days]


def _one_day(opened: OpenSite, plant: Plant, day: date) -> Rebuilt:
    laboratory_pages(opened, plant, pages_to_write(opened, pages_of_day(plant, day)))
    return rebuild_day(opened, day)


def _pages(opened: OpenSite, days: Sequence[date], notes: Notebook, progress: Progress | None) -> None:
    left = [day for day in days if str(day) not in notes.paged]
    parts = []
    for day in left:
        hours = hours_to_write(opened, hours_of_days(opened.plant, list(opened.plant.lines), [day]))
        parts += [(day, hours[start : start + 12], start + 12 >= len(hours)) for start in range(0, len(hours), 12)]
    done = side_by_side(opened, _page_part, parts)
    for day, count, whole in done:
        if whole:
            notes.paged.append(str(day))
            notes.note()
        if progress and count:
            progress(len(notes.paged), len(days), f"{day} hour pages")


def _lying(opened: OpenSite, days: Sequence[date]) -> list[Path]:
    """All pages of some days that lie under reports/, earlier revisions too."""
    return [path for day in days for name in (f"day/{day}*.html", f"*/{day}/*.html") for path in _glob(opened, name)]


def _glob(opened: OpenSite, name: str) -> list[Path]:
    return [path for path in opened.site.reports.glob(name) if not path.name.startswith(".")]


def _page_part(opened: OpenSite, plant: Plant, part: tuple[date, Sequence[Any], bool]) -> tuple[date, int, bool]:
    return part[0], len(hour_pages(opened, plant, part[1])), part[2]
