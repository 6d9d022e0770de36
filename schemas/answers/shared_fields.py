"""Fields that several shapes have: their types, each with what it says everywhere. Codes, numbers and places in the
words of the glossary (schemas/quantities.py). A field's own docstring adds what holds of it in its shape.
"""

from __future__ import annotations

from typing import Annotated

from schemas.answers.shape import Meaning, Moment
from schemas.quantities import QUANTITIES
from schemas.texts import Text


def _glossary(name: str) -> Meaning:
    """What a column of that name says; its unit too, where it is an id in works.toml."""
    column = QUANTITIES[name]
    return Meaning(column.meaning.split(";")[0], column.unit if column.known_as else "")


WindowFrom = Annotated[Moment, Meaning("begin of the window, included", "cold-end clock")]
WindowTo = Annotated[Moment, Meaning("end of the window, not included", "cold-end clock")]
LineId = Annotated[str, _glossary("line")]
FurnaceId = Annotated[str, _glossary("furnace")]
StationId = Annotated[str, _glossary("station")]
DefectCode = Annotated[str, _glossary("defect")]
DefectName = Annotated[Text, Meaning("the defect's name in works.toml")]
ItemCode = Annotated[str, _glossary("item")]
ItemName = Annotated[str, Meaning("the item's name in works.toml")]
Severity = Annotated[str, Meaning("severity of the defect in works.toml: critical, major or minor")]
MouldNumber = Annotated[str, Meaning("number engraved in the blow mould")]
SectionNumber = Annotated[int, Meaning(_glossary("section").words, "-")]
GobPosition = Annotated[str, _glossary("gob")]
BlankNumber = Annotated[Text, Meaning("number of the blank fitted there then, several joined where it was changed")]
NeckRingNumber = Annotated[
    Text, Meaning("number of the neck ring fitted there then, several joined where it was changed")
]
PalletId = Annotated[str, Meaning("identity of the pallet")]
PalletState = Annotated[str, Meaning("state of the pallet, as the pallets feed last said it")]
PackedFrom = Annotated[Moment, Meaning("when its first container was put on the pallet", "cold-end clock")]
PackedTo = Annotated[Moment, Meaning("when its last container was put on the pallet", "cold-end clock")]
PalletUnits = Annotated[int, Meaning("containers on the pallet, as reported", "containers")]
PalletHolds = Annotated[
    tuple[Text, ...], Meaning("holds that hold it now, then those that propose it, marked as proposed")
]
Probability = Annotated[float, Meaning("probability", "0..1")]
Low95 = Annotated[float, Meaning("lower end of the 95 % interval")]
High95 = Annotated[float, Meaning("upper end of the 95 % interval")]
Low95Moment = Annotated[Moment, Meaning("lower end of the 95 % interval")]
High95Moment = Annotated[Moment, Meaning("upper end of the 95 % interval")]
SeenAt = Annotated[
    Moment, Meaning("when a correction made at the end of the window comes to the cold end", "cold-end clock")
]
Notes = Annotated[tuple[Text, ...], Meaning("what has to be said beside the figures, a sentence each")]
