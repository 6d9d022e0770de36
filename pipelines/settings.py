"""One frozen object for everything a person may set from outside the plant file.

**The clock** is `Settings.now()`; `COLDLEDGER_CLOCK=2026-03-05T05:05:00+00:00x600` makes all processes read another one
that runs fast. The invented works is served at the time its feeds end (its mark file).
"""

from __future__ import annotations

import os
import time
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from pipelines import typed
from pipelines.errors import WrongUse

MIB = 1 << 20
FASTEST = 10_000.0  # of a clock, against the computer's
LONGEST_WAIT_S = 86_400.0
# What may be set from outside, each with what it says; the topic `environment` is made from it.
ENVIRONMENT = {
    "COLDLEDGER_SITE": "the site folder of commands that get no `--site`; else the current folder",
    "COLDLEDGER_NOW": "a fixed moment for the present one, with its offset: for tests and demonstrations",
    "COLDLEDGER_CLOCK": "another clock: `MOMENT`, `MOMENTxSPEED` or `MOMENT@SECONDSxSPEED`; all processes read it",
    "COLDLEDGER_LOCK_WAIT_S": "how many seconds a command waits for another that writes",
    "COLDLEDGER_LOG": "`json`: logs are a JSON object a line, as `--log json` makes them",
    "PREFECT_API_URL": "a Prefect server of your own, which then sees every run; for `coldledger deployments`",
    "PREFECT_HOME": "where Prefect keeps its own files; else in the site's `.prefect/`",
    "AWS_ACCESS_KEY_ID": "who asks an object store",
    "AWS_SECRET_ACCESS_KEY": "the key of who asks an object store",
    "AWS_ENDPOINT_URL": "where the object store is",
}
_LAST_REAL, _CENTURY_S = 4_133_980_800.0, 101 * 366 * 86_400.0  # 2101-01-01 in seconds since 1970


@dataclass(frozen=True)
class RunningClock:
    """A clock that stood at `start` when the computer's clock read `real` [s since 1970], and runs `speed` times as
    fast.
    """

    start: datetime
    real: float
    speed: float = 1.0

    def now(self) -> datetime:
        """What it reads; it stands at the end of the last year that a works can have."""
        ahead = timedelta(seconds=min((time.time() - self.real) * self.speed, _CENTURY_S))
        return typed.within(self.start + ahead)

    def text(self) -> str:
        """The clock for COLDLEDGER_CLOCK, so that several processes read the same time."""
        return f"{self.start.isoformat()}@{self.real:.3f}x{self.speed:g}"


def clock_of(text: str, name: str = "a clock") -> RunningClock:
    """A clock from `MOMENT`, `MOMENTxSPEED` or `MOMENT@SECONDSxSPEED`; it starts now where no seconds are told.
    WrongUse for other texts, with `name` in the sentence.
    """
    rest, fast, speed = text.partition("x")
    start, at, real = rest.partition("@")
    try:
        return RunningClock(
            typed.moment(start),
            typed.amount(real, 0, _LAST_REAL, "seconds since 1970") if at else time.time(),
            typed.amount(speed, 0.001, FASTEST, "its speed") if fast else 1.0,
        )
    except WrongUse as error:
        why = f": {error}" if start else ""
        raise WrongUse(
            f"{name} is MOMENT, MOMENTxSPEED or MOMENT@SECONDSxSPEED, such as 2026-03-05T05:05:00Zx600, not "
            f"'{typed.shown(text)}'{why}"
        ) from None


@dataclass(frozen=True)
class Settings:
    """Limits and waits. Sizes in bytes, waits in seconds. largest_file and most_lines: of one file, unpacked; what is
    more would take more memory than an intake may.

    now: the moment of receipt; fixed in tests and by COLDLEDGER_NOW (RFC 3339), by another clock in COLDLEDGER_CLOCK,
    else the computer's clock.
    """

    largest_file: int = 512 * MIB
    most_lines: int = 6_000_000
    longest_line: int = MIB // 8  # the ledger reads 2,048 rows at once, refused ones as long as they are
    rows_at_once: int = 1_500_000
    ahead: timedelta = timedelta(hours=1)
    lock_wait_s: float = 60.0
    writer_memory: str = "700MB"
    reader_memory: str = "1GB"
    fixed_now: datetime | None = field(default=None)
    clock: RunningClock | None = field(default=None)

    def now(self) -> datetime:
        """The present moment in UTC."""
        if self.clock is not None and self.fixed_now is None:
            return self.clock.now()
        return self.fixed_now or datetime.now(UTC)

    @property
    def speed(self) -> float:
        """How many seconds of `now` pass in one of the computer's."""
        return self.clock.speed if self.clock is not None else 1.0


def log_kind(text: str | None = None) -> str:
    """How to log, `text` or `json`: as --log tells, else as COLDLEDGER_LOG does, else text. WrongUse for anything
    else.
    """
    name, kind = ("--log", text) if text is not None else ("COLDLEDGER_LOG", os.environ.get("COLDLEDGER_LOG", ""))
    kind = kind.strip() or "text"
    if kind not in ("text", "json"):
        raise WrongUse(f"{name} is text or json, not '{typed.shown(kind)}'")
    return kind


def settings_from_environment() -> Settings:
    """Settings with what the environment overrides: COLDLEDGER_NOW, COLDLEDGER_CLOCK, COLDLEDGER_LOCK_WAIT_S. WrongUse
    for what they, or COLDLEDGER_LOG, cannot be.
    """
    log_kind()
    fixed = os.environ.get("COLDLEDGER_NOW", "").strip()
    running = os.environ.get("COLDLEDGER_CLOCK", "").strip()
    wait = os.environ.get("COLDLEDGER_LOCK_WAIT_S", "").strip()
    return Settings(
        fixed_now=_fixed(fixed) if fixed else None,
        clock=clock_of(running, "COLDLEDGER_CLOCK") if running else None,
        lock_wait_s=typed.amount(wait, 0, LONGEST_WAIT_S, "COLDLEDGER_LOCK_WAIT_S") if wait else Settings.lock_wait_s,
    )


def _fixed(text: str) -> datetime:
    try:
        return typed.moment(text)
    except WrongUse as error:
        raise WrongUse(f"COLDLEDGER_NOW: {error}") from None


@dataclass(frozen=True)
class Site:
    """The site folder and the places in it."""

    root: Path

    @property
    def works_toml(self) -> Path:
        return self.root / "works.toml"

    @property
    def inbox(self) -> Path:
        return self.root / "inbox"

    @property
    def ledger(self) -> Path:
        return self.root / "ledger.duckdb"

    @property
    def archive(self) -> Path:
        return self.root / "archive"

    @property
    def quarantine(self) -> Path:
        return self.root / "quarantine"

    @property
    def reports(self) -> Path:
        return self.root / "reports"

    @property
    def locks(self) -> Path:
        return self.root / ".locks"

    @property
    def serve(self) -> Path:
        """What `coldledger serve` keeps: people, sessions, runs, notices, where its servers listen."""
        return self.root / ".serve"


def keep_private() -> None:
    """What this process and those it begins write can be read by its account and its group, and by nobody else."""
    before = os.umask(0o077)
    os.umask(before | 0o007)
