"""A ledger kept open to read between the answers of a long-lived process, and let go at once when somebody wants to
write.

To open a year's ledger and to read where its tables lie costs more than most answers. But nobody can write while
another process has it open, so who wants to write says so by a file (`wanted`) before taking the gate; every process
that keeps the ledger open looks for that file a few dozen times a second and closes.
"""

from __future__ import annotations

import threading
import time
from contextlib import suppress
from pathlib import Path

import duckdb

LOOK_S, IDLE_S = 0.03, 60.0
_LOCK = threading.Lock()
_KEEPERS: dict[str, Keeper] = {}


class Keeper:
    """What one process keeps open of one ledger: at most one connection. `keep` and `let_go` from any thread."""

    def __init__(self, ledger: Path, wanted: Path):
        self.ledger, self.wanted = ledger, wanted
        self._con: duckdb.DuckDBPyConnection | None = None
        self._inode, self._used = 0, 0.0
        self._work, self._over = threading.Event(), threading.Event()

    def begin(self) -> None:
        """Keep from now on, watched by a thread."""
        with _LOCK:
            _KEEPERS[str(self.ledger)] = self
        threading.Thread(target=self._watch, name="ledger kept open", daemon=True).start()

    def end(self) -> None:
        """Close, and keep no more."""
        with _LOCK:
            _KEEPERS.pop(str(self.ledger), None)
            self._close()
        self._over.set()
        self._work.set()

    def keep(self, con: duckdb.DuckDBPyConnection, inode: int) -> None:
        """Take over a connection that has answered; it is closed where nothing is to be kept, or something is
        already.
        """
        with _LOCK:
            self._used = time.monotonic()
            if self._con is None and not self._over.is_set() and not self.wanted.exists():
                self._con, self._inode = con, inode
                self._work.set()
                return
        con.close()

    def let_go(self) -> None:
        """Close what is kept."""
        with _LOCK:
            self._close()

    def let_go_of_another_file(self) -> None:
        """Close what is kept of a file that lies in the ledger's place no more."""
        with suppress(OSError):
            inode = self.ledger.stat().st_ino
            with _LOCK:
                if self._inode != inode:
                    self._close()

    def _close(self) -> None:
        con, self._con, self._inode = self._con, None, 0
        self._work.clear()
        if con is not None:
            con.close()

    def _watch(self) -> None:
        while not self._over.is_set():
            self._work.wait()
            if self._over.wait(LOOK_S):
                return
            if self.wanted.exists() or time.monotonic() - self._used > IDLE_S:
                self.let_go()


def keeper_of(ledger: Path) -> Keeper | None:
    """Who keeps a ledger open in this process."""
    return _KEEPERS.get(str(ledger))


def want(ledger: Path, wanted: Path) -> None:
    """Ask all who keep the ledger open to let it go, in this process and in others."""
    with suppress(OSError):
        wanted.touch()
    let_go_here(ledger)


def let_go_here(ledger: Path) -> None:
    """Close what this process keeps of a ledger."""
    keeper = keeper_of(ledger)
    if keeper is not None:
        keeper.let_go()


def wanted_no_more(wanted: Path) -> None:
    """The ledger may be kept open again. A file that a killed writer left costs speed, until the next one ends."""
    with suppress(OSError):
        wanted.unlink()
