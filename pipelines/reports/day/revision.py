"""What a later close of a day moved."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pipelines.measures.yields.change import Revision
from pipelines.numbers import count, percent
from pipelines.plant.works import Plant
from pipelines.reports.frame.page import Section
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.words import recalled, say, template

_MOVED = (
    template("pack to melt"),
    template("melted kg"),
    template("packed kg"),
    template("unaccounted kg"),
    template("gobs cut"),
    template("hot rejected"),
    template("inspected"),
    template("rejected"),
    template("packed units"),
    template("unaccounted units"),
    template("calls of {defect}"),
    template("calls"),
)


def moved_section(plant: Plant, why: Revision) -> Section:
    """What a later close moved, and the files that moved it."""
    rows = [
        {
            "of": moved.of,
            "what": recalled(moved.what, _MOVED),
            "before": _written(moved.what, moved.before),
            "after": _written(moved.what, moved.after),
        }
        for moved in why.moved
    ]
    columns = (
        Column("of", say("Of")),
        Column("what", say("What")),
        Column("before", say("Before")),
        Column("after", say("Now")),
    )
    came = [_came(plant, file) for file in why.files]
    head = say(
        "Closed before on {at} as revision {after}. Since then these files came:",
        at=plant.clock.show(why.closed_at),
        after=why.after,
    )
    sheet = Sheet(
        "moved",
        say("Moved"),
        columns,
        rows,
        say("Before: as that close told it; its page stays, and `coldledger yield --as-known-at`."),
    )
    return Section(
        say("What moved since revision {after}", after=why.after),
        (head,),
        sheet=sheet,
        items=tuple(came or [say("none: the program or works.toml changed")]),
        wide=True,
    )


def _came(plant: Plant, file: Mapping[str, Any]) -> str:
    return say(
        "{feed}: {file}, received {at}, {kept} rows kept, {replacing} of them in place of earlier ones",
        feed=file["feed"],
        file=file["file"],
        at=plant.clock.show(file["received_at"]),
        kept=file["rows_kept"],
        replacing=file["rows_replacing"],
    )


def _written(what: str, value: float | None) -> str:
    return percent(value) if what == "pack to melt" else count(value)
