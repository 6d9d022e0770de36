"""A table is declared once, by its columns, and written by the writers of a sheet alone; what stands on the terminal
fits it.
"""

from __future__ import annotations

import ast
import io
from collections.abc import Iterator
from contextlib import redirect_stdout
from pathlib import Path

import pytest

from pipelines.reports.frame.sheet import CSV, SHOWN, Column, Sheet, in_csv
from pipelines.reports.frame.table_csv import command_csv
from pipelines.reports.frame.table_html import table_html
from pipelines.reports.frame.table_terminal import print_sheet

ROOT = Path(__file__).parents[3]
SHOWING = ("reports", "pages", "commands")
# who may write rows of cells: each takes a sheet
WRITERS = {"rich.table": "table_terminal.py", "csv": "table_csv.py", "great_tables": "table_html.py"}
WRITERS["xlsxwriter"] = "workbook.py"
LIKE = 5  # so many columns of one name and heading are one table declared twice


def modules(root: Path) -> Iterator[tuple[Path, ast.Module]]:
    for folder in SHOWING:
        for path in sorted((root / "pipelines" / folder).rglob("*.py")):
            yield path, ast.parse(path.read_text(encoding="utf-8"))


def other_writers(root: Path) -> list[str]:
    """Modules that write rows of cells without being a writer of sheets."""
    found = []
    for path, tree in modules(root):
        for node in ast.walk(tree):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module] if isinstance(node, ast.ImportFrom) and node.module else []
            found += [f"{path.name} imports {n}" for n in names if n in WRITERS and path.name != WRITERS[n]]
    return found


def columns_of(node: ast.AST) -> set[tuple[str, str]]:
    """Names and headings of the columns that a tuple declares."""
    calls = [each for each in getattr(node, "elts", ()) if isinstance(each, ast.Call)]
    plain = [c for c in calls if isinstance(c.func, ast.Name) and c.func.id == "Column" and len(c.args) > 1]
    pairs = [(c.args[0], c.args[1]) for c in plain]
    return {(str(n.value), ast.unparse(h)) for n, h in pairs if isinstance(n, ast.Constant)}


def declared(root: Path) -> list[tuple[str, set[tuple[str, str]]]]:
    nodes = [(path, node) for path, tree in modules(root) for node in ast.walk(tree) if isinstance(node, ast.Tuple)]
    return [(f"{path.name}:{node.lineno}", columns) for path, node in nodes if (columns := columns_of(node))]


def declared_twice(root: Path) -> list[str]:
    """Pairs of declarations that are alike by many columns of one name and heading, and by most that they have."""
    every = declared(root)
    return [
        f"{place} and {other}: {sorted(columns & others)}"
        for number, (place, columns) in enumerate(every)
        for other, others in every[number + 1 :]
        if len(columns & others) >= LIKE and 2 * len(columns & others) > max(len(columns), len(others))
    ]


def headings_beside(root: Path) -> list[str]:
    """Lists of words that name four or more columns of a declaration, and nothing else, once more."""
    every = [(place, {name for name, _ in columns}) for place, columns in declared(root)]
    found = []
    for path, tree in modules(root):
        for node in ast.walk(tree):
            if not isinstance(node, ast.Tuple | ast.List) or len(node.elts) < 4:
                continue
            words = {each.value for each in node.elts if isinstance(each, ast.Constant) and isinstance(each.value, str)}
            if len(words) == len(node.elts):
                found += [f"{path.name}:{node.lineno} repeats {place}" for place, names in every if words <= names]
    return found


def test_only_writers_of_sheets_write_tables() -> None:
    assert other_writers(ROOT) == []


def test_no_table_is_declared_twice() -> None:
    assert len(declared(ROOT)) > 40
    assert declared_twice(ROOT) == [] and headings_beside(ROOT) == []


def test_planted_second_tables_are_found(tmp_path: Path) -> None:
    columns = "\n".join(f"    Column('c{n}', 'Heading {n}')," for n in range(LIKE))
    for name in SHOWING:
        (tmp_path / "pipelines" / name).mkdir(parents=True)
    (tmp_path / "pipelines/reports/a.py").write_text(f"A = (\n{columns}\n)\n")
    (tmp_path / "pipelines/pages/b.py").write_text(f"import csv\nB = (\n{columns}\n)\nC = ('c0', 'c1', 'c2', 'c3')\n")
    assert other_writers(tmp_path) == ["b.py imports csv"]
    assert len(declared_twice(tmp_path)) == 1 and len(headings_beside(tmp_path)) == 2


COLUMNS = (
    Column("what", "What it was that somebody saw", short="What"),
    Column("calls", "Calls", "count"),
    Column("seen", "Seen by", ways=SHOWN),
    *in_csv(by="seen_by"),
)
ROWS = [{"what": f"word{n} " * 12, "calls": 1234 * n, "seen": "A. Person", "by": "=A"} for n in range(3)]
SHEET = Sheet("sheet", "A title", COLUMNS, ROWS, "A caption", strong=[1])


def on_a_terminal(sheet: Sheet, width: int, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    monkeypatch.setattr("pipelines.reports.frame.table_terminal.UNSEEN_WIDTH", width)
    out = io.StringIO()
    with redirect_stdout(out):
        print_sheet(sheet)
    return out.getvalue().splitlines()


def test_a_column_stands_where_it_is_to(monkeypatch: pytest.MonkeyPatch) -> None:
    assert command_csv(SHEET).splitlines()[:2] == ["what,calls,seen_by", f"{ROWS[0]['what']},0,'=A"]
    assert table_html(SHEET).count("<th ") == 3 and "seen_by" not in table_html(SHEET)
    assert [c.name for c in SHEET.shown(CSV)] == ["what", "calls", "by"]
    text = "\n".join(on_a_terminal(SHEET, 140, monkeypatch))
    assert "What" in text and "somebody" not in text and "2 468" in text and "A caption" in text


@pytest.mark.parametrize("width", [140, 80, 46])
def test_a_table_fits_and_breaks_no_word(width: int, monkeypatch: pytest.MonkeyPatch) -> None:
    lines = on_a_terminal(SHEET, width, monkeypatch)
    assert max(map(len, lines)) <= width
    assert " ".join(lines).count("word2") == 12


def test_a_table_too_wide_is_written_row_by_row(monkeypatch: pytest.MonkeyPatch) -> None:
    lines = on_a_terminal(SHEET, 24, monkeypatch)
    assert max(map(len, lines)) <= 24
    assert sum("Calls" in line for line in lines) == len(ROWS), "every row tells its headings"
