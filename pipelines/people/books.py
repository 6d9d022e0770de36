"""The books that `coldledger serve` keeps beside the ledger: people, sessions, acts, runs, notices. SQLite, with its
statements in sql/people/.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from pipelines.errors import SiteError
from pipelines.ledger.queries import query, statements

_FOLDER = "people"
WAIT_S = 20.0
KEEP_RUNS = 2000  # the run history: what ran, in words


class Books:
    """The books of a site. Each call opens, writes or reads in one transaction, and closes: any process may use them at
    any time.
    """

    def __init__(self, folder: Path):
        self.path = folder / "serve.db"
        try:
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            with self._open() as con:
                if con.execute("pragma journal_mode").fetchone()[0] != "wal":
                    con.execute("pragma journal_mode=wal")
                for name, text in statements(_FOLDER):
                    if name.startswith("make_"):
                        con.execute(text)
            self.path.chmod(0o600)
        except (OSError, sqlite3.Error) as error:
            raise SiteError(
                f"{self.path} cannot be used ({error}); give this account the right to write there"
            ) from error

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        con = sqlite3.connect(self.path, timeout=WAIT_S)
        con.row_factory = sqlite3.Row
        try:
            with con:
                yield con
        finally:
            con.close()

    def ask(self, statement: str, /, **params: Any) -> list[dict[str, Any]]:
        """The rows of sql/people/<statement>.sql."""
        with self._open() as con:
            return [dict(row) for row in con.execute(query(statement, _FOLDER), params)]

    def tell(self, statement: str, /, **params: Any) -> tuple[int, int]:
        """Run sql/people/<statement>.sql: rows changed, and the number of a new one."""
        with self._open() as con:
            done = con.execute(query(statement, _FOLDER), params)
            return done.rowcount, done.lastrowid or 0
