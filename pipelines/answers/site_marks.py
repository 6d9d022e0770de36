"""What tells one state of a site from another: which files came, what people and closes have added, what works.toml
says.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from pipelines.ledger import Reader
from pipelines.plant.works import Plant


@dataclass(frozen=True)
class SiteMarks:
    """works: names what works.toml says, whatever its comments. last_batch: the last file received. acknowledgements,
    decisions, closes: how many there are; none of them is ever taken away.
    """

    works: str
    last_batch: int
    acknowledgements: int
    decisions: int
    closes: int


def works_mark(plant: Plant) -> str:
    """The same for two plant files that say the same, and for no others."""
    return hashlib.sha256(plant.model_dump_json().encode()).hexdigest()[:16]


def site_marks(reader: Reader, works: str) -> SiteMarks:
    """The marks of a ledger as it is now, beside the mark of its works.toml."""
    row = reader.ask("ledger_marks").row(0, named=True)
    return SiteMarks(works, **{name: int(number) for name, number in row.items()})
