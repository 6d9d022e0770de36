"""Markdown that the lists of the topics are made of."""

from __future__ import annotations

from collections.abc import Iterable


def table(head: Iterable[str], rows: Iterable[Iterable[object]]) -> str:
    """A Markdown table; what stands in a cell never ends it."""
    texts = list(head)
    lines = [texts, ["---"] * len(texts), *([str(cell) for cell in row] for row in rows)]
    return "\n".join(f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in line)} |" for line in lines)
