"""What was traced, in short; and where a pallet is, as far as anybody knows: its state by the warehouse, and what that
says of whether it has left the works.
"""

from __future__ import annotations

from collections.abc import Iterable

from pipelines.plant.works import Plant
from pipelines.words import joined, say, say_n
from schemas.answers.trace import Trace, TracedPallet

NAMES = {
    "complaint": say("complaint"),
    "complaints": say("complaints"),
    "pallet": say("pallet"),
    "item": say("item"),
    "line": say("line"),
    "mould": say("mould"),
    "defect": say("defect"),
    "made_from": say("made from"),
    "made_to": say("made to"),
    "received": say("received"),
}
OUT = ("scrapped", "emptied")  # states in which a pallet carries nothing any more


def trace_title(trace: Trace) -> str:
    """What was traced, in short: the complaints, else what was in hand."""
    if trace.complaints:
        return say_n(
            "complaint {complaints}",
            "complaints {complaints}",
            len(trace.complaints),
            complaints=", ".join(trace.complaints),
        )
    keys = [key for key in ("pallet", "item", "line", "mould", "defect") if key in trace.asked]
    return joined(", ", (say("{what} {name}", what=NAMES[key], name=trace.asked[key]) for key in keys)) or say("ware")


def left_known(plant: Plant) -> bool:
    """Whether `released` says that a pallet has left the works."""
    return plant.warehouse.released_means_gone


def whereabouts(plant: Plant) -> str:
    """What `released` means here, in a sentence."""
    if left_known(plant):
        return say("Released means gone from the works (works.toml).")
    return say("Released means cleared. Whether a pallet has left is not known: no dispatches came.")


def released_words(plant: Plant, count: int) -> str:
    """How many of some pallets were released, and what that says."""
    if not count:
        return ""
    if left_known(plant):
        return say("{count} of them gone", count=count)
    return say("{count} of them released, perhaps gone", count=count)


def is_gone(plant: Plant, pallet: TracedPallet) -> bool | None:
    """True: it has left. False: it was not cleared to leave. None: nobody knows."""
    return (True if left_known(plant) else None) if pallet.cleared else False


def named(pallets: Iterable[TracedPallet], most: int = 12) -> str:
    every = [p.pallet for p in pallets]
    shown = ", ".join(every[:most])
    return say("{pallets} and {more} more", pallets=shown, more=len(every) - most) if len(every) > most else shown
