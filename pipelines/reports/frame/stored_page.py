"""A page kept beside its HTML as data, so that it can be shown again in another frame without asking everything
anew.
"""

from __future__ import annotations

import gzip
import json
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from pipelines.reports.frame.page import Page
from pipelines.whole_files import written_whole

_PAGE = TypeAdapter(Page)


def kept_path(page: Path) -> Path:
    """Where the data of a page lies: beside it, under a name that starts with a point."""
    return page.with_name(f".{page.stem}.page.gz")


def keep_page(page: Page, path: Path, batch: int, seen: int = 0) -> None:
    """Keep a page's data. batch: the last file received when it was made.  seen: how many acknowledgements there
    were.
    """
    fields = asdict(page)
    for section in fields["sections"]:
        if section["sheet"] is not None:
            section["sheet"]["links"] = [
                [row, name, address] for (row, name), address in section["sheet"]["links"].items()
            ]
    with written_whole(kept_path(path)) as part:
        part.write_bytes(gzip.compress(json.dumps({"batch": batch, "seen": seen, "page": fields}).encode(), 4, mtime=0))


def kept_page(path: Path) -> tuple[Page, int, int] | None:
    """The page kept beside `path`, the last file received and the acknowledgements when it was made; None where none
    was kept or it cannot be read.
    """
    with suppress(OSError, ValueError, EOFError, KeyError, TypeError):
        answer = json.loads(gzip.decompress(kept_path(path).read_bytes()))
        return _restored(answer["page"]), int(answer["batch"]), int(answer.get("seen", 0))
    return None


def _restored(fields: Mapping[str, Any]) -> Page:
    links = []
    for section in fields["sections"]:
        sheet = section["sheet"]
        links.append({(row, name): address for row, name, address in sheet.pop("links")} if sheet is not None else {})
    page = _PAGE.validate_python(fields)
    sections = tuple(
        section if section.sheet is None else replace(section, sheet=replace(section.sheet, links=of))
        for section, of in zip(page.sections, links, strict=True)
    )
    return replace(page, sections=sections)
