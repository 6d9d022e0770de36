"""What a site must say, in plain dicts: the model beside which tests/fuzz/site.py runs a real one."""

from __future__ import annotations

import hashlib
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

HEAD = "window_start,line,station,mould,window_s,inspected,rejected\n"
ODD_HEAD = "when;line;station;mould;seen;out\n"
AHEAD = timedelta(hours=1)  # Settings.ahead
CLOCK_FROM = datetime(2026, 1, 5, 10, 3, tzinfo=UTC)  # of the station whose clock was wrong, by its own times
CLOCK_MINUTES = 30
MAPPING = """
[[mapping]]
files = ["odd-*.csv"]
feed = "station_counts"
separator = ";"
[mapping.columns]
when = "window_start"
line = "line"
station = "station"
mould = "mould"
seen = "inspected"
out = "rejected"
"""
CLOCK = f"""
[[clock]]
station = "K1-foot"
minutes = {CLOCK_MINUTES}
from = {CLOCK_FROM.isoformat()}
"""
NEW_LINE = """
[[line]]
id = "K7"
furnace = "F1"
sections = 6
gobs = 1
lehr_minutes = 90.0

[[station]]
id = "K7-side"
line = "K7"
order = 1
after_minutes = 0.0
sees = ["BSW"]
"""
EDITS = {"mapping": MAPPING, "clock": CLOCK, "line": NEW_LINE}
Key = tuple[datetime, str, str, str]


@dataclass(frozen=True)
class Row:
    """One row as its file has it. inspected, rejected: as texts."""

    at: datetime
    line: str
    station: str
    mould: str
    inspected: str
    rejected: str

    def csv(self) -> str:
        place = f"{self.at:%Y-%m-%dT%H:%M:%SZ},{self.line},{self.station},{self.mould}"
        return f"{place},60,{self.inspected},{self.rejected}\n"

    def odd(self) -> str:
        return (
            f"{self.at:%Y-%m-%dT%H:%M:%SZ};{self.line};{self.station};{self.mould};{self.inspected};{self.rejected}\n"
        )


@dataclass(frozen=True)
class File:
    """A file as it came. rows: None where nothing can be read of it, whatever its name."""

    name: str
    data: bytes
    rows: tuple[Row, ...] | None

    @property
    def sha256(self) -> str:
        return hashlib.sha256(self.data).hexdigest()

    @property
    def odd(self) -> bool:
        return self.name.startswith("odd-")


def good_file(name: str, rows: tuple[Row, ...]) -> File:
    odd = name.startswith("odd-")
    text = (ODD_HEAD if odd else HEAD) + "".join(row.odd() if odd else row.csv() for row in rows)
    return File(name, text.encode(), rows)


@dataclass(frozen=True)
class Receipt:
    """A file that was taken in. at: the moment.  retry_of: the receipt whose refused rows it mends."""

    file: File
    at: datetime
    retry_of: Receipt | None = None
    number: int = 0


@dataclass
class Model:
    """edits: those made to the plant file.  log: what was received, in order.  force: the value in force of each key:
    window [s], inspected, rejected.
    waits: what lies in quarantine/ of each receipt as it can be mended: rows, or the file where it was refused whole.
    refused: how many rows of each the ledger has as refused (1 for a whole file).
    """

    edits: frozenset[str] = frozenset()
    log: list[Receipt] = field(default_factory=list)
    force: dict[Key, tuple[int, int, int]] = field(default_factory=dict)
    waits: dict[Receipt, list[Row] | File] = field(default_factory=dict)
    refused: dict[Receipt, int] = field(default_factory=dict)
    known: set[tuple[str, str]] = field(default_factory=set)
    rolled_until: datetime | None = None
    ever: set[str] = field(default_factory=set)

    def feed_of(self, file: File) -> str:
        return "unknown" if file.odd and "mapping" not in self.edits else "station_counts"

    def kept(self, row: Row, at: datetime) -> bool:
        """Whether a row is right, as this plant file reads it at a moment."""
        known = row.line == "K1" or (row.line == "K7" and "line" in self.edits)
        counts = row.inspected.isdigit() and row.rejected.isdigit() and int(row.rejected) <= int(row.inspected)
        early = self.rolled_until is not None and row.at < self.rolled_until
        return known and counts and row.at <= at + AHEAD and not early

    def true_time(self, row: Row) -> datetime:
        wrong = "clock" in self.edits and row.station == "K1-foot" and row.at >= CLOCK_FROM
        return row.at - timedelta(minutes=CLOCK_MINUTES) if wrong else row.at

    def take(self, file: File, at: datetime, retry_of: Receipt | None = None) -> None:
        """One file, received at a moment."""
        content = (self.feed_of(file), file.sha256)
        if retry_of is None and content in self.known:
            return
        self.known.add(content)
        receipt = Receipt(file, at, retry_of, len(self.log))
        self.log.append(receipt)
        self._count(receipt)

    def _count(self, receipt: Receipt) -> None:
        if receipt.file.rows is None or self.feed_of(receipt.file) == "unknown":
            self.waits[receipt], self.refused[receipt] = receipt.file, 1
        else:
            wrong = []
            for row in receipt.file.rows:
                if self.kept(row, receipt.at):
                    self.force[self.true_time(row), row.line, row.station, row.mould] = (
                        60,
                        int(row.inspected),
                        int(row.rejected),
                    )
                else:
                    wrong.append(row)
            if wrong:
                self.waits[receipt], self.refused[receipt] = wrong, len(wrong)
        if receipt.retry_of is not None:
            self.waits.pop(receipt.retry_of, None)
            self.refused.pop(receipt.retry_of, None)

    def retry(self, now: datetime) -> None:
        """Every file of the quarantine offered again."""
        for receipt, rows in list(self.waits.items()):
            if isinstance(rows, File):
                these_rows = () if rows.rows is None or self.feed_of(rows) == "unknown" else rows.rows
                if any(self.kept(row, now) for row in these_rows):
                    self.take(rows, now, receipt)
            elif not rows or any(self.kept(row, now) for row in rows):
                data = f"{receipt.number} {rows}".encode()
                self.take(File("station_counts.again.csv", data, tuple(rows)), now, receipt)

    def mend(self, receipt: Receipt, number: int, row: Row | None) -> None:
        """A refused row given other values, or given up."""
        rows = self.waits[receipt]
        assert isinstance(rows, list)
        rows[number : number + 1] = [] if row is None else [row]

    def roll(self, start: datetime, end: datetime) -> None:
        """The minutes of a production day, as the ledger holds them in force, put into hours."""
        sums: Counter[tuple[Key, int]] = Counter()
        for key in [key for key in self.force if start <= key[0] < end]:
            window, *values = self.force.pop(key)
            hour = key[0] if window >= 3600 else key[0].replace(minute=0)
            for n, value in enumerate(values):
                sums[(hour, *key[1:]), n] += value
        for key, _ in sums:
            self.force[key] = (3600, sums[key, 0], sums[key, 1])
        self.rolled_until = end

    def again(self) -> None:
        """Made again from the archive, as this plant file reads it: every file at its own moment, minutes as minutes.
        What a person mended in what still waits is kept.
        """
        log, self.log, mended = self.log, [], self.waits
        self.force, self.waits, self.refused, self.known, self.rolled_until = {}, {}, {}, set(), None
        now: dict[Receipt, Receipt] = {}
        for receipt in log:
            before = len(self.log)
            self.take(receipt.file, receipt.at, now.get(receipt.retry_of) if receipt.retry_of else None)
            if len(self.log) > before:
                now[receipt] = self.log[-1]
        self.waits |= {new: mended[old] for old, new in now.items() if old in mended and new in self.waits}
