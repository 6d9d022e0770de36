"""What the name of a file says."""

from __future__ import annotations

import re

from pipelines.errors import FileRefused
from pipelines.plant.mapping import Mapping
from schemas.reasons import Reason


def said_by_name(mapping: Mapping, name: str) -> dict[str, str]:
    """Each part of a file's name that a mapping names. FileRefused where the name does not fit."""
    if mapping.from_name is None:
        return {}
    found = re.search(mapping.from_name, name)
    if found is None:
        raise FileRefused(Reason.NAME_LACKS, mapping.from_name)
    return {column: word or "" for column, word in found.groupdict().items()}
