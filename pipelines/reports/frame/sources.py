"""What a page was made from: the queries that were asked for it and the files behind it."""

from __future__ import annotations

from collections.abc import Collection

import polars as pl


def queries_words(asked: Collection[str]) -> str:
    """The queries that were asked for a page, in a sentence of its sources."""
    return f"queries: {', '.join(f'sql/{name}.sql' for name in sorted(asked))}"


def sources(asked: Collection[str], files: pl.DataFrame) -> tuple[str, ...]:
    """The queries that were asked for a page, and the received files behind it."""
    named = [
        f"{row['feed']}: {row['rows_used']} rows of archive/{row['archived_as']} (SHA-256 {row['sha256'][:16]}…)"
        for row in files.head(60).iter_rows(named=True)
    ]
    more = [f"and {files.height - 60} more files"] if files.height > 60 else []
    return (queries_words(asked), *named, *more)
