"""What a later close of a day moved."""

from __future__ import annotations

from pipelines.measures.yields.change import Revision
from pipelines.numbers import count, percent
from pipelines.plant.works import Plant
from pipelines.reports.frame.page import Section
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.words import say


def moved_section(plant: Plant, why: Revision) -> Section:
    """What a later close moved, and the files that moved it."""
    rows = [
        {
            "of": moved.of,
            "what": moved.what,
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
    came = [
        f"{file['feed']}: {file['file']}, received {plant.clock.show(file['received_at'])}, {file['rows_kept']} rows "
        f"kept, {file['rows_replacing']} of them in place of earlier ones"
        for file in why.files
    ]
    head = f"Closed before on {plant.clock.show(why.closed_at)} as revision {why.after}. Since then these files came:"
    sheet = Sheet(
        "moved",
        say("Moved"),
        columns,
        rows,
        say("Before: as that close told it; its page stays, and `coldledger yield --as-known-at`."),
    )
    return Section(
        f"What moved since revision {why.after}",
        (head,),
        sheet=sheet,
        items=tuple(came or [say("none: the program or the plant file changed")]),
        wide=True,
    )


def _written(what: str, value: float | None) -> str:
    return percent(value) if what == "pack to melt" else count(value)
