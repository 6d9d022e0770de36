"""What the ledger remembers beside facts: the plant files it was worked with, and the closes of days."""

from __future__ import annotations

from datetime import date, datetime

import polars as pl

from pipelines.ledger.queries import query
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
        con.execute(query("keep_plant", "writes"), told)


def keep_close(ledger: Ledger, day: date, revision: int, at: datetime, answers: str, digest: str) -> None:
    """Keep what a close of a day answered; earlier revisions stay."""
    with ledger.writing() as con:
        told = {
            "day": day,
            "revision": revision,
            "at": at.replace(tzinfo=None),
            "answers": answers,
            "digest": digest,
        }
        con.execute(query("keep_close", "writes"), told)


def confirm_close(ledger: Ledger, day: date, revision: int) -> None:
    """Note that a revision still holds after everything received so far."""
    with ledger.writing() as con:
        told = {"day": day, "revision": revision}
        con.execute(query("confirm_close", "writes"), told)


def note_repeats(ledger: Ledger, repeats: list[tuple[str, str, str]], at: datetime) -> None:
    """Note arrivals of files (feed, SHA-256, name) whose bytes the ledger knows already."""
    frame = pl.DataFrame(repeats, schema=["feed", "sha256", "file"], orient="row")
    with ledger.writing() as con:
        con.register("repeats", frame.to_arrow())
        con.execute(query("note_repeats", "writes"), {"at": at.replace(tzinfo=None)})
        con.unregister("repeats")
