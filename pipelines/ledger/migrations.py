"""The tables and views of a ledger, brought to the version of the program."""

from __future__ import annotations

import hashlib
from functools import cache

import duckdb

from pipelines.errors import LedgerBroken
from pipelines.ledger.queries import statements

_MIGRATIONS = """create table if not exists migrations
    (number integer primary key, name varchar not null, applied_at timestamp not null)"""


@cache
def _views() -> tuple[list[tuple[str, str]], str]:
    views = statements("core")
    return views, hashlib.sha256("".join(text for _, text in views).encode()).hexdigest()


def stands_at(con: duckdb.DuckDBPyConnection) -> int:
    """The number of the last migration of an open ledger; 0 where nothing is in it. LedgerBroken for a database of
    tables that no ledger has.
    """
    here = con.execute(
        "select table_name from information_schema.tables where table_catalog = current_database()"
    ).fetchall()
    if ("migrations",) not in here:
        if here:
            raise LedgerBroken(
                f"the file in the ledger's place is another program's database (it holds the table {min(here)[0]}); "
                "it was left as it is. Move it away, then restore a copy of the site, or make the ledger again from "
                "the archive: `coldledger rebuild --from-archive`"
            )
        return 0
    return int(con.execute("select coalesce(max(number), 0) from migrations").fetchall()[0][0])


def newest() -> int:
    """The number of this program's last migration."""
    return max(int(name[:4]) for name, _ in statements("migrations"))


def not_newer(at: int) -> None:
    """LedgerBroken where a ledger that stands at migration `at` was written by a later version of the program."""
    if at > newest():
        raise LedgerBroken(
            f"the ledger was written by a newer coldledger (its tables are at {at}, this version knows {newest()}); "
            "install that version or a later one; nothing was changed"
        )


def is_current(con: duckdb.DuckDBPyConnection) -> bool:
    """Whether an open ledger has every table and view of this version."""
    if not con.execute("select 1 from information_schema.tables where table_name = 'migrations'").fetchall():
        return False
    done = dict(con.execute("select number, name from migrations").fetchall())
    known = {int(name[:4]) for name, _ in statements("migrations")}
    return done.get(0) == _views()[1] and done.keys() == {0, *known}


def migrate(con: duckdb.DuckDBPyConnection) -> None:
    """Bring an open ledger to this version, in one transaction; LedgerBroken where a later one wrote it."""
    not_newer(stands_at(con))
    con.execute(_MIGRATIONS)
    views, digest = _views()
    done = dict(con.execute("select number, name from migrations").fetchall())
    known = [(int(name[:4]), name, text) for name, text in statements("migrations")]
    if all(number in done for number, _, _ in known) and done.get(0) == digest:
        return
    con.begin()
    for number, name, text in known:
        if number not in done:
            con.execute(text)
            con.execute("insert into migrations values ($n, $name, now())", {"n": number, "name": name})
    for _, text in views:
        con.execute(text)
    con.execute("insert or replace into migrations values (0, $digest, now())", {"digest": digest})
    con.commit()
