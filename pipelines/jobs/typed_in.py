"""What a person types in: an ordinary feed file with the person's name, taken in like any other. One way in.

The same values make the same bytes under the same name, so that what is sent twice is there once.
"""

from __future__ import annotations

import csv
import hashlib
import io
import random
import re
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pipelines.intake import IntakeReport
from pipelines.intake.filing import write_whole
from pipelines.intake.foreign.trial import FileFault, Tried, try_data
from pipelines.intake.run import Intake, taking_in
from pipelines.ledger.reader import Reader
from pipelines.site.folder import OpenSite
from schemas.feeds import ALL_FEEDS

MARK = ".typed-"
SHOWN = 40  # rows, and the files in which they are looked for
Row = Mapping[str, str]


@dataclass(frozen=True)
class Saved:
    """A file that was typed, what it would become as it was seen before, and what the intake made of it."""

    file: str
    tried: Tried
    report: IntakeReport


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
    """Check rows as the intake does, write them as a file of the feed, take it in; all under the intake's lock, so that
    nobody else's row comes between.

    by: who typed; stands in the file's name, and in its `by` where the feed has one and it is empty. replace: rows with
    these keys may be replaced (what was there is kept with the time). NotRight, OtherThere, LedgerBusy: nothing was
    written.
    """
    with taking_in(opened.site, opened.settings):
        columns = list(ALL_FEEDS[feed].columns)
        name, data = _file(feed, rows, by, columns)
        (tried,) = try_data(data, name, opened.site, opened.plant, opened.settings)
        if tried.faults:
            raise NotRight([(max(0, fault.line - 2), fault) for fault in tried.faults])
        if tried.replacing and not replace:
            raise OtherThere(tried.replacing)
        if tried.replacing:  # the same values as once before are a new act: a file of other bytes
            random.Random(time.time_ns()).shuffle(columns)
            name, data = _file(feed, rows, by, columns)
        write_whole(opened.site.inbox / name, data)
        return Saved(name, tried, Intake(opened.site, opened.plant, opened.settings, None).run())


def _file(feed: str, rows: Sequence[Row], by: str, columns: Sequence[str]) -> tuple[str, bytes]:
    """Name and bytes."""
    data = _text(rows, by, columns).encode()
    return f"{feed}{MARK}{_plain(by)}.{hashlib.sha256(data).hexdigest()[:12]}.csv", data


def _text(rows: Sequence[Row], by: str, columns: Sequence[str]) -> str:
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
    """The rows typed last, as they stand in their archived files: each with `batch`, `row` of the file (from 0), when
    it came and by whom. Newest first.
    """
    found: list[dict[str, Any]] = []
    for file in reader.ask("typed_files", feed=feed, mark=MARK, most=SHOWN).iter_rows(named=True):
        path = opened.site.archive / file["archived_as"]
        if len(found) >= SHOWN or not path.is_file():
            continue
        who = file["file"].split(MARK, 1)[1].rsplit(".", 2)[0].replace("_", " ")
        with path.open(encoding="utf-8", newline="") as text:
            for number, row in enumerate(csv.DictReader(text)):
                about = {"batch": file["batch"], "row": number, "typed_at": file["received_at"]}
                found.append({**row, **about, "typed_by": row.get("by") or who})
    return found[:SHOWN]
