"""The one form in which a page is kept, in memory and on disk: its data, packed, with the marks that the site had when
it was made. A page that a flow keeps beside its HTML is the same thing as one that was made for a reader.
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

from pipelines.answers.site_marks import SiteMarks
from pipelines.reports.frame.page import Page
from pipelines.whole_files import written_whole
from pipelines.words import packed, unpacked

_PAGE, _MARKS = TypeAdapter(Page), TypeAdapter(SiteMarks)
_RENAMED = {"number3": "chance"}  # kinds of columns, as pages of versions before had them


def kept_path(page: Path) -> Path:
    """Where the data of a page lies: beside it, under a name that starts with a point."""
    return page.with_name(f".{page.stem}.page.gz")


def packed_page(page: Page, marks: SiteMarks) -> bytes:
    """A page as bytes."""
    fields = asdict(page)
    for sheet in _sheets(fields):
        sheet["links"] = [[row, name, address] for (row, name), address in sheet["links"].items()]
    return gzip.compress(json.dumps({"marks": asdict(marks), "page": packed(fields)}).encode(), 1, mtime=0)


def unpacked_page(data: bytes) -> tuple[Page, SiteMarks]:
    """What was packed; tuples may have become lists where no field says what they are. ValueError, EOFError, KeyError,
    TypeError or OSError for what is no such page.
    """
    answer = json.loads(gzip.decompress(data))
    fields = unpacked(answer["page"])
    for column in (column for sheet in _sheets(fields) for column in sheet["columns"]):
        column["kind"] = _RENAMED.get(column["kind"], column["kind"])
    links = [{(row, name): address for row, name, address in sheet.pop("links")} for sheet in _sheets(fields)]
    marks = answer["marks"] if "marks" in answer else _older(answer)
    return _with_links(_PAGE.validate_python(fields), links), _MARKS.validate_python(marks)


def keep_page(page: Page, path: Path, marks: SiteMarks) -> None:
    """Keep a page's data beside its HTML."""
    with written_whole(kept_path(path)) as part:
        part.write_bytes(packed_page(page, marks))


def kept_page(path: Path) -> tuple[Page, SiteMarks] | None:
    """The page kept beside `path` and the marks of its making; None where none was kept or it cannot be read."""
    with suppress(OSError, ValueError, EOFError, KeyError, TypeError):
        return unpacked_page(kept_path(path).read_bytes())
    return None


def _older(answer: Mapping[str, Any]) -> dict[str, Any]:
    """Marks as pages of a version before had them: what they did not say equals nothing that is."""
    seen = answer.get("seen", 0)
    return {"works": "", "last_batch": answer["batch"], "acknowledgements": seen, "decisions": -1, "closes": -1}


def _sheets(fields: Mapping[str, Any]) -> list[dict[str, Any]]:
    return [part["sheet"] for part in fields["sections"] if part["sheet"] is not None]


def _with_links(page: Page, links: list[dict[tuple[int, str], str]]) -> Page:
    """The page with the links of its sheets, in their order."""
    rest = iter(links)
    sections = tuple(
        part if part.sheet is None else replace(part, sheet=replace(part.sheet, links=next(rest)))
        for part in page.sections
    )
    return replace(page, sections=sections)
