"""Small modules, small functions."""

from __future__ import annotations

import ast
from pathlib import Path

ROOT = Path(__file__).parent.parent
CODE = [
    path
    for folder in ("pipelines", "schemas", "sample_feeds", "tests")
    for path in sorted((ROOT / folder).rglob("*.py"))
]


def test_no_module_is_longer_than_400_lines() -> None:
    assert not [(path.name, n) for path in CODE if (n := len(path.read_text().splitlines())) > 400]


def test_no_function_body_is_longer_than_40_lines() -> None:
    long = []
    for path in CODE:
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                body = (
                    node.body[1:]
                    if isinstance(node.body[0], ast.Expr) and isinstance(node.body[0].value, ast.Constant)
                    else node.body
                )
                lines = body[-1].end_lineno - body[0].lineno + 1 if body else 0  # type: ignore[operator]
                if lines > 40:
                    long.append((path.name, node.name, lines))
    assert not long


def test_the_top_level_holds_what_it_should_and_nothing_else() -> None:
    import subprocess

    names = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True).stdout.split()
    top = {name.split("/")[0] for name in names}
    allowed = {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "LICENSE",
        "pipelines",
        "schemas",
        "sql",
        "tests",
        "sample_feeds",
    }
    assert {name for name in top if not name.startswith(".")} <= allowed


def test_public_functions_of_measures_have_docstrings() -> None:
    bare = []
    for path in sorted((ROOT / "pipelines" / "measures").rglob("*.py")):
        for node in ast.parse(path.read_text()).body:
            if (
                isinstance(node, ast.FunctionDef | ast.ClassDef)
                and not node.name.startswith("_")
                and not ast.get_docstring(node)
            ):
                bare.append((path.name, node.name))
    assert not bare


def test_a_class_name_is_used_once() -> None:
    """In what is installed: whoever reads a name in one module need not ask which of two is meant."""
    names: dict[str, list[str]] = {}
    for path in CODE:
        if path.parts[len(ROOT.parts)] != "tests":
            for node in ast.parse(path.read_text()).body:
                if isinstance(node, ast.ClassDef):
                    names.setdefault(node.name, []).append(path.relative_to(ROOT).as_posix())
    assert {name: where for name, where in names.items() if len(where) > 1} == {}


def test_no_binding_is_called_told_or_one() -> None:
    """A name says what it holds: a row, an answer, a trace. Fields and parameters are bindings too; a method is
    none.
    """
    vague = []
    for path in CODE:
        for node in ast.walk(ast.parse(path.read_text())):
            name = ""
            if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
                name = node.id
            elif isinstance(node, ast.arg):
                name = node.arg
            if name in ("told", "one"):
                vague.append((path.relative_to(ROOT).as_posix(), node.lineno, name))  # type: ignore[attr-defined]
    assert not vague


def test_only_a_table_of_constants_is_left_as_it_was_typed() -> None:
    """Published numbers, words of a list: nothing that computes hides behind `fmt: skip`."""
    plain = (ast.Tuple, ast.List, ast.Set, ast.Dict, ast.Constant, ast.UnaryOp, ast.USub, ast.Load)
    odd = []
    for path in CODE:
        lines = path.read_text().splitlines()
        ends = {n for n, line in enumerate(lines, 1) if line.endswith("# fmt: skip")}
        if ends:
            for node in ast.walk(ast.parse("\n".join(lines))):
                if isinstance(node, ast.Assign | ast.AnnAssign) and node.end_lineno in ends and node.value is not None:
                    ends.discard(node.end_lineno)
                    if not all(isinstance(part, plain) for part in ast.walk(node.value)):
                        odd.append((path.relative_to(ROOT).as_posix(), node.lineno))
            odd += [(path.relative_to(ROOT).as_posix(), n) for n in ends]
    assert not odd
