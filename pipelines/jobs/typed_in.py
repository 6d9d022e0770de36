"""What a person types in: an ordinary feed file with the person's name, taken in like any other. One way in.

The same values make the same bytes under the same name, so that what is sent twice is there once.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipelines.errors import SiteError
from pipelines.intake import IntakeReport, take_in
from pipelines.intake.filing import write_whole
from pipelines.intake.foreign.trial import FileFault, Tried, try_file
from pipelines.ledger.reader import Reader
from pipelines.site.folder import OpenSite
from schemas.feeds import ALL_FEEDS

MARK = ".typed-"
SHOWN = 40
Row = Mapping[str, str]


@dataclass(frozen=True)
class Saved:
    """A file that was typed. report: what the intake made of it; None where another intake was running, and the file
    waits in the inbox for it. tried: what it would become, seen before.
    """

    file: str
    tried: Tried
    report: IntakeReport | None


class NotRight(Exception):
    """Values that the intake would refuse, each with its column and row (from 0); nothing was written."""

    def __init__(self, faults: Sequence[tuple[int, FileFault]]):
        super().__init__(f"{len(faults)} values are not right")
        self.faults = tuple(faults)


class OtherThere(Exception):
    """Rows with these keys are in the ledger with other values; nothing was written."""

    def __init__(self, rows: int):
        super().__init__(f"{rows} rows would be replaced")
        self.rows = rows


def save_typed(opened: OpenSite, feed: str, rows: Sequence[Row], by: str, replace: bool = False) -> Saved:
    """Check rows as the intake does, write them as a file of the feed, take it in.

    by: who typed; stands in the file's name, and in its `by` where the feed has one and it is empty. replace: rows with
    these keys may be replaced (what was there is kept with the time). NotRight, OtherThere: nothing was written.
    """
    data = _text(feed, rows, by).encode()
    name = f"{feed}{MARK}{_plain(by)}.{hashlib.sha256(data).hexdigest()[:12]}.csv"
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(data)
        (tried,) = try_file(path, name, opened.site, opened.plant, opened.settings)
    if tried.faults:
        raise NotRight([(max(0, fault.line - 2), fault) for fault in tried.faults])
    if tried.replacing and not replace:
        raise OtherThere(tried.replacing)
    write_whole(opened.site.inbox / name, data)
    try:
        return Saved(name, tried, take_in(opened.site, opened.plant, opened.settings))
    except SiteError:
        return Saved(name, tried, None)


def _text(feed: str, rows: Sequence[Row], by: str) -> str:
    columns = ALL_FEEDS[feed].columns
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    for row in rows:
        values = {**row, "by": row.get("by") or by}
        writer.writerow([values.get(column, "") for column in columns])
    return out.getvalue()


def _plain(name: str) -> str:
    return re.sub(r"[^\w]+", "_", name).strip("_")[:40] or "somebody"


def typed_lately(opened: OpenSite, reader: Reader, feed: str) -> list[dict[str, Any]]:
    """The rows typed last, as they stand in their archived files: each with `batch`, `line` of the file, when it came
    and by whom. Newest first.
    """
    found: list[dict[str, Any]] = []
    for file in reader.ask("typed_files", feed=feed, most=SHOWN).iter_rows(named=True):
        path = opened.site.archive / file["archived_as"]
        if not path.is_file():
            continue
        who = file["file"].split(MARK, 1)[1].rsplit(".", 2)[0].replace("_", " ")
        with path.open(encoding="utf-8", newline="") as text:
            for number, row in enumerate(csv.DictReader(text)):
                about = {"batch": file["batch"], "row": number, "typed_at": file["received_at"], "typed_by": who}
                found.append({**row, **about})
    return found[:SHOWN]
