"""Every SQL file: a header with purpose and grain, the tables it reads, the parameters it takes, one statement."""

from __future__ import annotations

import json
import re
from pathlib import Path

import duckdb
import pytest

SQL = Path(__file__).parent.parent / "sql"
FILES = sorted(SQL.rglob("*.sql"))
MIGRATIONS = sorted((SQL / "migrations").glob("*.sql"))


def header(text: str, name: str) -> str:
    found = re.search(rf"^-- {name}:\s*(.+(?:\n--   +.+)*)", text, re.M)
    return " ".join(found[1].replace("--", " ").split()) if found else ""


def body(text: str) -> str:
    return "\n".join(line for line in text.splitlines() if not line.startswith("--")).strip()


@pytest.fixture(scope="module")
def con() -> duckdb.DuckDBPyConnection:
    con = duckdb.connect()
    for path in (*MIGRATIONS, *sorted((SQL / "core").glob("*.sql"))):
        con.execute(path.read_text())
    return con


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_a_header_says_purpose_and_grain_and_there_is_one_statement(path: Path, con: duckdb.DuckDBPyConnection) -> None:
    text = path.read_text()
    assert header(text, "purpose") and header(text, "grain")
    assert len(con.extract_statements(text)) == 1
    assert "select *" not in body(text) or re.search(r"select \* from \w+", body(text))


QUERIES = sorted([*(SQL / "out").glob("*.sql"), *(SQL / "checks").glob("*.sql")])


@pytest.mark.parametrize("path", QUERIES, ids=lambda p: p.stem)
def test_the_header_names_the_tables_and_parameters(path: Path, con: duckdb.DuckDBPyConnection) -> None:
    text = path.read_text()
    params = set(re.findall(r"\$(\w+)", body(text)))
    answer = set(re.findall(r"[a-z_]+", re.sub(r"\(.*?\)", "", header(text, "params")).split(", by the")[0]))
    assert params <= answer, f"undocumented parameters {params - answer}"
    plain = re.sub(r"\$\w+", "null", body(text)).rstrip(";")
    tree = json.loads(con.execute("select json_serialize_sql($sql)", {"sql": plain}).fetchone()[0])  # type: ignore[index]
    assert not tree.get("error"), tree
    ctes = {
        entry["key"] for found in _all(tree, "map") for entry in found if isinstance(entry, dict) and "key" in entry
    }
    read = {name for name in _all(tree, "table_name") if name} - ctes
    assert read == {name.strip().removeprefix("information_schema.") for name in header(text, "reads").split(",")}


def _all(tree: object, key: str) -> list:
    if isinstance(tree, dict):
        mine = (
            [tree[key]]
            if (key in tree and tree.get("type", "BASE_TABLE") in ("BASE_TABLE", None, "map"))
            or (key == "map" and key in tree)
            else []
        )
        return mine + [found for value in tree.values() for found in _all(value, key)]
    return [found for value in tree for found in _all(value, key)] if isinstance(tree, list) else []


def test_core_views_say_what_they_read() -> None:
    for path in sorted((SQL / "core").glob("*.sql")):
        text = path.read_text()
        for name in header(text, "reads").split(","):
            assert re.search(rf"\bfrom {name.strip()}\b", body(text)), path.name


def test_migrations_are_numbered_without_a_gap() -> None:
    assert [int(path.name[:4]) for path in MIGRATIONS] == list(range(1, len(MIGRATIONS) + 1))


def test_a_check_says_whether_it_fails_or_warns() -> None:
    for path in sorted((SQL / "checks").glob("*.sql")):
        assert header(path.read_text(), "level") in ("fail", "warn") and "__" in path.stem


def test_every_query_is_used() -> None:
    code = "\n".join(path.read_text() for path in (SQL.parent / "pipelines").rglob("*.py"))
    unused = [path.stem for path in [*QUERIES, *(SQL / "writes").glob("*.sql")] if f'"{path.stem}"' not in code]
    assert not unused


def test_no_sql_is_assembled_in_python() -> None:
    """Statements stand in sql/; the few of ledger/ that keep its own books take parameters and nothing else."""
    wrong = []
    for path in (SQL.parent / "pipelines").rglob("*.py"):
        text = path.read_text()
        if path.parent.name != "ledger" and re.search(r"\bselect\b.+\bfrom\b", text.lower()) and "execute(" in text:
            wrong.append(path.name)
        if "import duckdb" in text and path.parent.name != "ledger":
            wrong.append(path.name)
    assert not wrong
