"""A query's test is a folder of tiny tables: tests/sql/<query>/<case>/."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import duckdb
import pytest

CASES = sorted(path.parent for path in (Path(__file__).parent / "sql").rglob("expected.csv"))
SQL = Path(__file__).parent.parent / "sql"


@pytest.mark.parametrize("case", CASES, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_the_query_gives_the_expected_table(case: Path) -> None:
    con = duckdb.connect()
    for folder in ("migrations", "core"):
        for path in sorted((SQL / folder).glob("*.sql")):
            con.execute(path.read_text())
    for given in case.glob("given.*.csv"):
        table = given.name.split(".")[1]
        told = con.from_csv_auto(str(given), all_varchar=True)
        con.register("told", told)
        con.execute(f"insert into {table} by name select * from told")
    folder = "checks" if "__" in case.parent.name else "out"
    query = (SQL / folder / f"{case.parent.name}.sql").read_text()
    answer = con.sql(query, params=json.loads((case / "params.json").read_text()))
    rows = [[_text(value) for value in row] for row in answer.fetchall()]
    with (case / "expected.csv").open(newline="") as file:
        head, *expected = list(csv.reader(file))
    assert (answer.columns, rows) == (head, expected)


def _text(value: object) -> str:
    return "" if value is None else str(value).lower() if isinstance(value, bool) else str(value)
