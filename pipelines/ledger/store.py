"""Opening the ledger to read or to write, with a gate that lets a waiting writer keep new readers out."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from datetime import datetime
from pathlib import Path
from threading import Event, Lock
from typing import Any

import duckdb
from filelock import FileLock, Timeout

from pipelines.errors import LedgerBroken, LedgerBusy, SiteError
from pipelines.ledger.guard import Guard
from pipelines.ledger.migrations import is_current, migrate, not_newer, stands_at
from pipelines.ledger.past import look_back, look_through, tables
from pipelines.ledger.reader import Reader, naive
from pipelines.ledger.resting import Keeper, keeper_of, let_go_here, want, wanted_no_more
from pipelines.ledger.sentences import busy_sentence, no_ledger, plain_error, unwritable
from pipelines.ledger.upgrade import keep_before
from pipelines.settings import Settings, Site
from pipelines.whole_files import written_whole

_OPEN: dict[str, int] = {}  # how many readers of a ledger this process has
_COUNTING = Lock()
# ledgers (path, inode, time of writing) that this process has found to be of its own version
_CURRENT: set[tuple[str, int, int]] = set()

# It cuts a sort or a grouping of a large table into hundreds of scans by the limits of its row groups, before the
# filter is looked at: where an hour of a year is asked
# for, that took 3 s instead of 0.02 (https://github.com/duckdb/duckdb/pull/22336; tests/benchmarks/README.md).
_NOT_OURS = "partitioned_execution"
_NOT_THE_FILE = (
    duckdb.ProgrammingError,
    duckdb.OutOfMemoryException,
)  # errors that say nothing about the ledger's file


class Ledger:
    """The ledger of a site. Nothing else may touch its file."""

    def __init__(self, site: Site, settings: Settings):
        self.site, self.settings = site, settings
        self.guard = Guard(site.ledger)
        self.held_s = 0.0
        self.unlocked = Event()  # set while this object does not hold the ledger to write
        self.unlocked.set()

    @property
    def exists(self) -> bool:
        return self.site.ledger.exists()

    @contextmanager
    def reading(self, known_at: datetime | None = None) -> Iterator[Reader]:
        """Open to read, as known now or at an earlier moment; LedgerBusy when a writer does not end in time, SiteError
        when nothing was ever taken in.
        """
        if not self.exists:
            raise SiteError(no_ledger(self.site))
        name = str(self.site.ledger)
        keeper = keeper_of(self.site.ledger)
        if keeper is not None:
            keeper.let_go_of_another_file()
        con = self._open_to_read()
        with _COUNTING:
            _OPEN[name] = _OPEN.get(name, 0) + 1
        well = False
        try:
            stat = self.site.ledger.stat()
            file = (name, stat.st_ino, stat.st_mtime_ns)
            older = file not in _CURRENT and not is_current(con)  # an upgraded program; or an older one, which is told
            if older:
                not_newer(stands_at(con))
            else:
                _CURRENT.add(file)
            if older or known_at is not None:
                con.close()
                con = self._wait_for_file(read_only=True, beside_it=True)
                look_through(con) if known_at is None else look_back(con, naive(known_at), older)
            yield Reader(con)
            well = known_at is None and not older
        except _NOT_THE_FILE:
            raise
        except duckdb.Error as error:
            raise plain_error(error, self.site) from error
        finally:
            if keeper is not None and well:
                keeper.keep(con, file[1])
            else:
                con.close()
            with _COUNTING:
                _OPEN[name] -= 1

    def keeper(self) -> Keeper:
        """What keeps this ledger open between answers, for a process that answers all day; it does once it has
        begun.
        """
        return Keeper(self.site.ledger, self._wanted)

    @contextmanager
    def writing(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """Open to write, migrated, in one transaction: committed when the block ends, undone when it raises."""
        with self.gate():
            self._be_born()
            self._mended()
            self._guarded()
            con = self._wait_for_file(read_only=False)
            opened = time.monotonic()
            self.unlocked.clear()
            try:
                migrate(con)
                con.begin()
                yield con
                con.commit()
            except duckdb.Error as error:
                raise plain_error(error, self.site) from error
            finally:
                if _close(con):
                    self.guard.drop()
                self.held_s += time.monotonic() - opened
                self.unlocked.set()

    def _be_born(self) -> None:
        """Make a new ledger whole under another name first: killed at any instant, there is one with all its tables or
        none.
        """
        if self.exists:
            return
        try:
            with written_whole(self.site.ledger) as part:
                for left in (part, part.with_name(f"{part.name}.wal")):
                    left.unlink(missing_ok=True)
                con = duckdb.connect(str(part))
                try:
                    con.execute("set timezone = 'UTC'")
                    migrate(con)
                finally:
                    con.close()
        except OSError as error:
            raise SiteError(unwritable(self.site, error)) from error
        except duckdb.Error as error:
            raise plain_error(error, self.site) from error

    def rest(self) -> None:
        """Wait until nobody writes, and mend what a writer that was cut off left; for a holder of the gate."""
        self._mended()
        self._wait_for_file(read_only=True).close()

    @contextmanager
    def gate(self) -> Iterator[None]:
        """Hold this to keep new readers and writers out, and to have who keeps the ledger open let it go; LedgerBusy
        where another holds it too long.
        """
        want(self.site.ledger, self._wanted)
        with self._gate():
            want(self.site.ledger, self._wanted)  # who held the gate before has said that it is wanted no more
            try:
                yield
            finally:
                wanted_no_more(self._wanted)

    @property
    def _wanted(self) -> Path:
        return self.site.locks / "wanted"

    def _gate(self) -> Any:
        try:
            self.site.locks.mkdir(exist_ok=True)
            lock = FileLock(self.site.locks / "gate", timeout=self.settings.lock_wait_s)
            return lock.acquire()
        except Timeout:
            raise LedgerBusy(busy_sentence(self.site, self.settings.lock_wait_s)) from None
        except OSError as error:
            raise SiteError(unwritable(self.site, error)) from error

    def _mended(self) -> None:
        """For a holder of the gate: where a writer was cut off in a checkpoint and left a ledger that cannot be read,
        what it wrote over is put back.
        """
        if not self.guard.there or not self.exists:
            return
        if not self._whole():
            let_go_here(self.site.ledger)
            if _OPEN.get(str(self.site.ledger)):
                raise LedgerBusy("the ledger is being mended after a power cut; run this again in a moment")
            self.guard.restore()
        self.guard.drop()

    def _whole(self) -> bool:
        """Whether the ledger opens and every table is described in it."""
        try:
            con = self._wait_for_file(read_only=True)
            try:
                con.execute("select count(*) from pragma_metadata_info()")
                for table in tables():
                    if con.execute(
                        "select 1 from information_schema.tables where table_name = $t", {"t": table}
                    ).fetchall():
                        con.table(table).aggregate("count(*)").fetchall()
                return True
            finally:
                con.close()
        except LedgerBroken:
            return False
        except duckdb.Error:
            return False

    def _guarded(self) -> None:
        """For a holder of the gate: keep what the coming checkpoint will write over; all of an older version's ledger,
        before it is changed.
        """
        here = not _OPEN.get(str(self.site.ledger))
        con = self._wait_for_file(read_only=True)
        try:
            blocks = [int(row[0]) for row in con.execute("select block_id from pragma_metadata_info()").fetchall()]
            size = int(con.execute("select block_size from pragma_database_size()").fetchall()[0][0])
            at = stands_at(con)
        except duckdb.Error as error:
            raise plain_error(error, self.site) from error
        finally:
            con.close()
        try:
            not_newer(at)
            keep_before(self.site, at)
            self.guard.save(blocks, size, here)
        except OSError as error:
            raise SiteError(unwritable(self.site, error)) from error

    def _open_to_read(self) -> duckdb.DuckDBPyConnection:
        try:
            gate = self._gate()
        except SiteError:
            gate = nullcontext()  # a folder that we cannot write to has no writer to wait for
        with gate:
            if self.guard.there and not isinstance(gate, nullcontext):
                self._mended()  # nobody writes while we hold the gate: a writer was cut off
            return self._wait_for_file(read_only=True)

    def _wait_for_file(self, read_only: bool, beside_it: bool = False) -> duckdb.DuckDBPyConnection:
        until = time.monotonic() + self.settings.lock_wait_s
        while True:
            try:
                return self._connect(read_only, beside_it)
            except duckdb.IOException as error:
                if "lock" not in str(error).lower():
                    raise plain_error(error, self.site) from error
                if time.monotonic() > until:
                    raise LedgerBusy(busy_sentence(self.site, self.settings.lock_wait_s)) from error
            except duckdb.ConnectionException as error:
                if "different configuration" not in str(error):
                    raise plain_error(error, self.site) from error
                let_go_here(self.site.ledger)
                if time.monotonic() > until:  # readers of this very process still have it open
                    raise LedgerBusy(busy_sentence(self.site, self.settings.lock_wait_s)) from error
            except duckdb.Error as error:
                raise plain_error(error, self.site) from error
            time.sleep(0.05)

    def _connect(self, read_only: bool, beside_it: bool) -> duckdb.DuckDBPyConnection:
        memory = self.settings.reader_memory if read_only else self.settings.writer_memory
        config: dict[str, str | bool | int | float | list[str]] = {
            "python_enable_replacements": "false",
            "memory_limit": memory,
            "preserve_insertion_order": "true",
            "disabled_optimizers": _NOT_OURS,
            # another program's file in the ledger's place is no reason to ask the network
            "autoinstall_known_extensions": "false",
        }
        if beside_it:
            con = duckdb.connect(":memory:", config=config)
            con.execute("attach $path as kept (read_only)", {"path": str(self.site.ledger)})
        else:
            con = duckdb.connect(str(self.site.ledger), read_only=read_only, config=config)
        con.execute("set timezone = 'UTC'; set enable_progress_bar = false")
        return con


def _close(con: duckdb.DuckDBPyConnection) -> bool:
    """Close, whether all was written; a full disk can fail the checkpoint, the commit before it holds."""
    try:
        con.close()
    except duckdb.Error:
        return False
    return True
