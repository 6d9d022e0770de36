"""What a page says is missing, waits or cannot be right."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pipelines.numbers import count
from pipelines.reports.frame.page import Section
from pipelines.words import say


def missing_section(items: Sequence[str]) -> Section:
    """What is missing or doubtful; said even when it is nothing."""
    texts = tuple(items) or (say("Nothing known to be missing."),)
    return Section(say("What is missing or doubtful"), items=texts, warn=bool(items), wide=True)


def waiting_words(rows: int, files: int) -> str:
    """What waits in quarantine: single rows, and files refused whole."""
    return say("{rows} {after}", rows=count(rows), after=waiting_after_rows(files))


def waiting_after_rows(files: int) -> str:
    """The same after the number of rows, which stands by itself."""
    return say("rows and {files} files wait in quarantine", files=count(files))


def uncalled_sentence(row: dict[str, Any]) -> str:
    """A station that rejected more containers than it made calls, in words."""
    return say(
        "{station}: {rejected} containers rejected and only {calls} calls; reject_counts are missing or "
        "late, and the Pareto is short of them.",
        station=row["station"],
        rejected=count(row["rejected"]),
        calls=count(row["calls"]),
    )
