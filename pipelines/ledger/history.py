"""What the ledger remembers beside facts: the plant files it was worked with, and the closes of days."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import Protocol

import duckdb
import polars as pl

from pipelines.ledger.queries import query
from pipelines.ledger.store import Ledger
from schemas.answers.yields import Yield


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
        row = {"sha256": sha256, "content": content, "at": at.replace(tzinfo=None)}
        con.execute(query("keep_plant", "writes"), row)


class KeptBalance(Protocol):
    """What a close keeps of a furnace's day beside its answers."""

    @property
    def furnace(self) -> str: ...
    def reading_json(self) -> str: ...
    def usual_json(self) -> str: ...


def keep_close(
    ledger: Ledger,
    day_yield: Yield,
    revision: int,
    at: datetime,
    answers: str,
    digest: str,
    moved: str | None,
    kept: Sequence[KeptBalance],
) -> None:
    """Keep what a close of a day answered, and what its meters read; earlier revisions stay."""
    with ledger.writing() as con:
        row = {
            "day": day_yield.day,
            "revision": revision,
            "at": at.replace(tzinfo=None),
            "answers": answers,
            "digest": digest,
            "moved": moved,
        }
        con.execute(query("keep_close", "writes"), row)
        keep_balances(con, day_yield.day, revision, kept, day_yield)


def keep_balances(
    con: duckdb.DuckDBPyConnection, day: date, revision: int, kept: Sequence[KeptBalance], day_yield: Yield
) -> None:
    """Keep what the meters of each furnace read on a day, with the yield told of it."""
    for kept_balance in kept:
        row = {
            "day": day,
            "revision": revision,
            "furnace": kept_balance.furnace,
            "reading": kept_balance.reading_json(),
            "usual": kept_balance.usual_json(),
        }
        con.execute(query("keep_balance", "writes"), {**row, "told": day_yield.brief(kept_balance.furnace)})


def confirm_close(ledger: Ledger, day: date, revision: int) -> None:
    """Note that a revision still holds after everything received so far."""
    with ledger.writing() as con:
        row = {"day": day, "revision": revision}
        con.execute(query("confirm_close", "writes"), row)


def note_repeats(ledger: Ledger, repeats: list[tuple[str, str, str]], at: datetime) -> None:
    """Note arrivals of files (feed, SHA-256, name) whose bytes the ledger knows already."""
    frame = pl.DataFrame(repeats, schema=["feed", "sha256", "file"], orient="row")
    with ledger.writing() as con:
        con.register("repeats", frame.to_arrow())
        con.execute(query("note_repeats", "writes"), {"at": at.replace(tzinfo=None)})
        con.unregister("repeats")
