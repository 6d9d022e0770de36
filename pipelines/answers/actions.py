"""What was done, in words."""

from __future__ import annotations

from typing import Any

from pipelines.words import joined, say


def action_words(row: dict[str, Any]) -> str:
    """The kind, where, and by how much; kinds are the works' own words."""
    place = f"{row['section'] or ''}{row['gob'] or ''}"
    parts = [place, row["station"], say("mould {mould}", mould=row["mould"]) if row["mould"] else ""]
    value = f"{row['value']:+g}".replace("-", "−") if row["value"] is not None else ""
    kind = str(row["kind"]).replace("_", " ")
    said = joined(" ", [part for part in (kind, *parts, value) if part])
    return say("{action} for {defect}", action=said, defect=row["defect"]) if row["defect"] else said
