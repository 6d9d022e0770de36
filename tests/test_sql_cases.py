"""A query's test is a folder of tiny tables: tests/sql/<query>/<case>/."""

from __future__ import annotations

import csv
import json
import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import duckdb
import pytest

SQL = Path(__file__).parent.parent / "sql"
STATEMENTS = {path.stem: path for path in sorted(SQL.rglob("*.sql")) if path.parent.name != "migrations"}
CASES = sorted(path.parent for path in (Path(__file__).parent / "sql").rglob("params.json"))
MORE_THAN_SELECT = {
    "join": r"\bjoin\b",
    "group by": r"\bgroup by\b",
    "over": r"\bover \(",
    "union": r"\bunion\b",
    "qualify": r"\bqualify\b",
    "distinct": r"\bdistinct\b",
    "aggregate": r"\b(count|sum|min|max|avg|median|list|arg_max|arg_min|bool_or|bool_and)\(",
    "exists": r"(?<!if not )\bexists\b",
    "interval": r"\binterval\b|\bto_seconds\(|\bto_hours\(|\bis null or \w+ > \$",
}
NO_CASE_CAN_BE: dict[str, str] = {}  # statement: why no case of tables can be written for it


@pytest.mark.parametrize("case", CASES, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_the_query_gives_the_expected_table(case: Path) -> None:
    path = STATEMENTS[case.parent.name]
    params = json.loads((case / "params.json").read_text())
    with _books(case) if path.parent.name == "people" else _ledger(case) as con:
        answer = con.execute(path.read_text(), params or None) if path.parent.name != "core" else None
        if path.parent.name == "core":
            answer = con.execute(f"select * from {path.stem} order by all")
        if (case / "expected.csv").exists():
            assert _rows_of(answer) == _table(case / "expected.csv")
        for after in case.glob("after.*.csv"):
            head, rows = _table(after)
            columns = ", ".join(f'"{name}"' for name in head)
            left = con.execute(f"select {columns} from {after.name.split('.')[1]}")
            assert (head, sorted(_rows_of(left)[1])) == (head, sorted(rows))


@pytest.mark.parametrize("name", STATEMENTS)
def test_a_statement_that_does_more_than_select_has_a_case(name: str) -> None:
    text = "\n".join(line for line in STATEMENTS[name].read_text().lower().splitlines() if not line.startswith("--"))
    does = [word for word, pattern in MORE_THAN_SELECT.items() if re.search(pattern, text)]
    has_case = name in {case.parent.name for case in CASES}
    assert has_case or not does or name in NO_CASE_CAN_BE, f"{name} has no case under tests/sql and does {does}"
    assert not (has_case and name in NO_CASE_CAN_BE)


def test_each_case_is_of_a_statement_and_says_what_is_expected() -> None:
    assert {case.parent.name for case in CASES} <= STATEMENTS.keys() and NO_CASE_CAN_BE.keys() <= STATEMENTS.keys()
    silent = [case for case in CASES if not [*case.glob("expected.csv"), *case.glob("after.*.csv")]]
    assert not silent
    assert {path.parent for path in (Path(__file__).parent / "sql").rglob("*.csv")} == set(CASES)


@contextmanager
def _ledger(case: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    """An empty ledger with the given tables; a given table that it does not have is what a caller registers."""
    with closing(duckdb.connect()) as con:
        con.execute("set timezone = 'UTC'")
        for folder in ("migrations", "core"):
            for path in sorted((SQL / folder).glob("*.sql")):
                con.execute(path.read_text())
        known = {name for (name,) in con.execute("select table_name from duckdb_tables()").fetchall()}
        for given in case.glob("given.*.csv"):
            table = given.name.split(".")[1]
            con.register("given_rows", con.from_csv_auto(str(given), all_varchar=True))
            into = f"insert into {table} by name" if table in known else f"create table {table} as"
            con.execute(f"{into} select * from given_rows")
        yield con


@contextmanager
def _books(case: Path) -> Iterator[sqlite3.Connection]:
    """The books of the served site, empty but for the given tables."""
    with closing(sqlite3.connect(":memory:")) as con:
        for path in sorted((SQL / "people").glob("make_*.sql")):
            con.execute(path.read_text())
        for given in case.glob("given.*.csv"):
            head, rows = _table(given)
            places = ", ".join("?" for _ in head)
            into = f"insert into {given.name.split('.')[1]} ({', '.join(head)}) values ({places})"
            con.executemany(into, [[value or None for value in row] for row in rows])
        yield con


def _rows_of(answer: Any) -> tuple[list[str], list[list[str]]]:
    return [column[0] for column in answer.description], [[_text(value) for value in row] for row in answer.fetchall()]


def _table(path: Path) -> tuple[list[str], list[list[str]]]:
    with path.open(newline="") as file:
        head, *rows = list(csv.reader(file))
    return head, rows


def _text(value: object) -> str:
    return "" if value is None else str(value).lower() if isinstance(value, bool) else str(value)
