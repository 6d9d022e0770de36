"""A works.toml from which ids have gone that the ledger still speaks of."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime
from typing import Any

from pipelines.ledger import Ledger
from pipelines.ledger.history import former_plants, remember_plant
from pipelines.plant.tables import NAMED
from pipelines.plant.works import Plant, read_plant
from pipelines.settings import Site


def vanished_ids(ledger: Ledger, plant: Plant, site: Site, at: datetime) -> list[str]:
    """A sentence for each list of works.toml that has lost ids with rows in the ledger. Remembers this works.toml."""
    content = site.works_toml.read_text(encoding="utf-8")
    digest = hashlib.sha256(content.encode()).hexdigest()
    known = former_plants(ledger)
    if digest not in known:
        remember_plant(ledger, digest, content, at.astimezone(UTC))
    former = [read_plant(text) for text in known.values()]
    lost = any(set(old.ids(kind)) - set(plant.ids(kind)) for old in former for kind in NAMED)
    return missing_in(plant, ledger) if lost else []


def missing_in(plant: Plant, ledger: Ledger) -> list[str]:
    """Which ids have rows in the ledger and no place in this plant, in words."""
    with ledger.reading() as reader:
        used = reader.ask("ids_in_use")
    said = []
    for kind in NAMED:
        gone: list[dict[str, Any]] = [
            row for row in used.filter(used["kind"] == kind).iter_rows(named=True) if row["id"] not in plant.ids(kind)
        ]
        if gone:
            names = ", ".join(f"{row['id']} ({row['rows']:,} rows)" for row in gone)
            said.append(
                f"works.toml no longer has the {kind} {names}: the rows stay in the ledger and are shown as before; "
                "put the id back, or leave it if that equipment is gone"
            )
    return said
