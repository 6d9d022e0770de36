"""What the ledger remembers beside facts: the plant files it was worked with, and the closes of days."""

from __future__ import annotations

from datetime import datetime

from pipelines.ledger.store import Ledger


def former_plants(ledger: Ledger) -> dict[str, str]:
    """Every works.toml ever used, by its SHA-256, oldest first."""
    if not ledger.exists:
        return {}
    with ledger.reading() as reader:
        rows = reader.ask("plants")
    return dict(zip(rows["sha256"].to_list(), rows["content"].to_list(), strict=True))


def remember_plant(ledger: Ledger, sha256: str, content: str, at: datetime) -> None:
    """Keep a works.toml that was not used before."""
    with ledger.writing() as con:
        told = {"sha256": sha256, "content": content, "at": at.replace(tzinfo=None)}
        con.execute("insert into plants values ($sha256, $content, $at)", told)
