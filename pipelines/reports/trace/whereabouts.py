"""Where a pallet is, as far as anybody knows: its state by the warehouse, and what that says of whether it has left the
works.
"""

from __future__ import annotations

from collections.abc import Iterable

from pipelines.plant.works import Plant
from pipelines.words import say
from schemas.answers.trace import TracedPallet

OUT = ("scrapped", "emptied")  # states in which a pallet carries nothing any more


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
    return f"{count} of them gone" if left_known(plant) else f"{count} of them released, perhaps gone"


def is_gone(plant: Plant, pallet: TracedPallet) -> bool | None:
    """True: it has left. False: it was not cleared to leave. None: nobody knows."""
    return (True if left_known(plant) else None) if pallet.cleared else False


def named(pallets: Iterable[TracedPallet], most: int = 12) -> str:
    every = [p.pallet for p in pallets]
    return ", ".join(every[:most]) + (f" and {len(every) - most} more" if len(every) > most else "")
