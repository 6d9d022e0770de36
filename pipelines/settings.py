"""One frozen object for everything a person may set from outside the plant file."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

MIB = 1 << 20


@dataclass(frozen=True)
class Settings:
    """Limits and waits. Sizes in bytes, waits in seconds.

    now: the moment of receipt; fixed in tests and by COLDLEDGER_NOW (RFC 3339), else the computer's clock.
    """

    largest_file: int = 512 * MIB
    longest_line: int = MIB
    rows_at_once: int = 1_500_000
    ahead: timedelta = timedelta(hours=1)
    lock_wait_s: float = 60.0
    writer_memory: str = "700MB"
    reader_memory: str = "1GB"
    fixed_now: datetime | None = field(default=None)

    def now(self) -> datetime:
        """The present moment in UTC."""
        return self.fixed_now or datetime.now(UTC)


def settings_from_environment() -> Settings:
    """Settings with what the environment overrides: COLDLEDGER_NOW, COLDLEDGER_LOCK_WAIT_S."""
    fixed = os.environ.get("COLDLEDGER_NOW")
    wait = os.environ.get("COLDLEDGER_LOCK_WAIT_S")
    return Settings(
        fixed_now=datetime.fromisoformat(fixed).astimezone(UTC) if fixed else None,
        lock_wait_s=float(wait) if wait else Settings.lock_wait_s,
    )


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
