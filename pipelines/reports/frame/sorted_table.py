"""Tables of a page of the application by name: the address that sorts one, and a name that an address can hold."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from urllib.parse import urlencode

from pipelines.reports.frame.sheet import Sheet


def address(query: Mapping[str, str], **more: str) -> str:
    """The page's own question with something added."""
    return "?" + urlencode({**{k: v for k, v in query.items() if k not in ("sort", "as", "table", "part")}, **more})


def named_sheets(sheets: Sequence[Sheet]) -> dict[str, Sheet]:
    """The tables of a page, each under a name of its own that an address can hold."""
    these_sheets: dict[str, Sheet] = {}
    for sheet in sheets:
        plain = re.sub(r"[^a-z0-9]+", "-", sheet.name.lower()).strip("-") or "table"
        name, number = plain, 1
        while name in these_sheets:
            number += 1
            name = f"{plain}-{number}"
        these_sheets[name] = sheet
    return these_sheets
