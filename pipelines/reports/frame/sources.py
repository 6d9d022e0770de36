"""What a page was made from: the queries that were asked for it and the files behind it."""

from __future__ import annotations

from collections.abc import Collection

import polars as pl

from pipelines.words import joined, say, say_n


def queries_words(asked: Collection[str]) -> str:
    """The queries that were asked for a page, in a sentence of its sources."""
    return say("queries: {asked}", asked=joined(", ", (f"sql/{name}.sql" for name in sorted(asked))))


def sources(asked: Collection[str], files: pl.DataFrame) -> tuple[str, ...]:
    """The queries that were asked for a page, and the received files behind it."""
    named = [
        say_n(
            "{feed}: {n} row of archive/{archived_as} (SHA-256 {sha256}…)",
            "{feed}: {n} rows of archive/{archived_as} (SHA-256 {sha256}…)",
            row["rows_used"],
            feed=row["feed"],
            archived_as=row["archived_as"],
            sha256=row["sha256"][:16],
        )
        for row in files.head(60).iter_rows(named=True)
    ]
    more = [say("and {height} more files", height=files.height - 60)] if files.height > 60 else []
    return (queries_words(asked), *named, *more)
