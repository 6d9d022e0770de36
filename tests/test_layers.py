"""Who may import whom; a planted violation is found."""

from __future__ import annotations

import ast
from collections.abc import Collection, Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
# from the ground up: a package or module imports only what stands before it, also inside functions and for types alone
ORDER = (
    "schemas",
    "pipelines.words",
    "pipelines.errors",
    "pipelines.whole_files",
    "pipelines.clock",
    "pipelines.typed",
    "pipelines.local_times",
    "pipelines.settings",
    "pipelines.cautions",
    "pipelines.logs",
    "pipelines.plant",
    "pipelines.numbers",
    "pipelines.ledger",
    "pipelines.site",
    "pipelines.people",
    "pipelines.intake",
    "pipelines.sources",
    "pipelines.measures",
    "pipelines.answers",
    "pipelines.inquiry",
    "pipelines.help",
    "pipelines.reports",
    "pipelines.jobs",
    "pipelines.flows",
    "pipelines.pages",
    "pipelines.serve",
    "pipelines.commands",
    "pipelines.cli",
    "pipelines.start",
)
# layer -> what it must not import although that stands below it
FORBIDDEN = {
    "schemas": ("pipelines", "sample_feeds"),
    "pipelines/measures": (
        "pipelines.ledger",
        "pipelines.site",
        "pipelines.people",
        "pipelines.intake",
        "pipelines.sources",
        "pipelines.settings",
    ),
    "pipelines/ledger": ("pipelines.plant",),
    "pipelines/sources": ("pipelines.intake", "pipelines.ledger"),
    "pipelines/answers": ("pipelines.intake", "pipelines.sources", "pipelines.site"),
    "pipelines/pages": ("pipelines.flows", "scipy"),
    "pipelines/serve": ("pipelines.reports",),
    "pipelines/plant": ("schemas.feeds",),
}
LIGHT = (
    "pipelines/cli.py",
    "pipelines/site/folder.py",
    "pipelines/answers",
    "pipelines/measures",
    "pipelines/ledger/store.py",
    "pipelines/ledger/history.py",
    "pipelines/reports/terminal/formats.py",
    "pipelines/reports/terminal/answers.py",
)
HEAVY = ("pandera", "altair", "prefect", "scipy.stats", "great_tables", "schemas.feeds")


def imported(path: Path, top_only: bool = False) -> Iterator[str]:
    """Every module a file imports; with top_only, not inside functions or under TYPE_CHECKING."""
    tree = ast.parse(path.read_text())
    nodes = tree.body if top_only else ast.walk(tree)
    for node in nodes:
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def violations(layer: str, forbidden: tuple[str, ...], root: Path = ROOT) -> list[str]:
    place = root / layer
    files = [place] if place.is_file() else sorted(place.rglob("*.py"))
    return [
        f"{path.relative_to(root)} imports {name}"
        for path in files
        for name in imported(path)
        if any(name == wrong or name.startswith(f"{wrong}.") for wrong in forbidden)
    ]


def modules(root: Path = ROOT) -> dict[str, Path]:
    """Every module of the program by its dotted name."""
    paths = [*(root / "schemas").rglob("*.py"), *(root / "pipelines").rglob("*.py")]
    return {".".join(p.relative_to(root).with_suffix("").parts).removesuffix(".__init__"): p for p in paths}


def imports_of(path: Path, known: Collection[str]) -> set[str]:
    """Which modules of the program a file imports: `from package import module` is that module, a name inside a module
    the module.
    """
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            whole = {f"{node.module}.{alias.name}" for alias in node.names}
            found |= whole & set(known) or {node.module}
            if not whole <= set(known):
                found.add(node.module)
    return found & set(known)


def layer_of(module: str) -> int | None:
    """The number of a module's layer; None for the name of all of them."""
    found = [n for n, layer in enumerate(ORDER) if module == layer or module.startswith(f"{layer}.")]
    return found[0] if found else None


def upward(root: Path = ROOT) -> list[str]:
    """Imports of a layer that stands above the one that imports."""
    known = modules(root)
    return [
        f"{module} imports {name}"
        for module, path in sorted(known.items())
        for name in sorted(imports_of(path, known))
        if (mine := layer_of(module)) is not None and (other := layer_of(name)) is not None and other > mine
    ]


def circles(root: Path = ROOT) -> list[list[str]]:
    """Modules that import each other in a circle, also by an import inside a function or for types alone."""
    known = modules(root)
    rest = {module: imports_of(path, known) - {module} for module, path in known.items()}
    while leaves := [module for module, names in rest.items() if not names & rest.keys()]:
        for module in leaves:
            del rest[module]
    found: list[list[str]] = []
    for module in sorted(rest):
        way, here = [], module
        while here not in way:
            way.append(here)
            here = min(rest[here] & rest.keys())
        circle = sorted(way[way.index(here) :])
        if circle not in found:
            found.append(circle)
    return found


def test_every_module_stands_in_a_layer() -> None:
    assert [m for m in modules() if layer_of(m) is None and m != "pipelines"] == []


def test_no_import_runs_up() -> None:
    assert upward() == []


def test_no_circle() -> None:
    assert circles() == []


def test_planted_faults_of_the_order_are_found(tmp_path: Path) -> None:
    for name, text in {
        "pipelines/measures/low.py": "from typing import TYPE_CHECKING\nif "
        "TYPE_CHECKING:\n    from pipelines.answers.high "
        "import A\n",
        "pipelines/answers/high.py": "def f():\n    from pipelines.answers import next_to\n",
        "pipelines/answers/next_to.py": "from pipelines.answers.high import A\n",
        "schemas/x.py": "",
    }.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(text)
    assert upward(tmp_path) == ["pipelines.measures.low imports pipelines.answers.high"]
    assert circles(tmp_path) == [["pipelines.answers.high", "pipelines.answers.next_to"]]


@pytest.mark.parametrize(("layer", "forbidden"), FORBIDDEN.items())
def test_the_directions_hold(layer: str, forbidden: tuple[str, ...]) -> None:
    assert violations(layer, forbidden) == []


def test_a_planted_violation_is_found(tmp_path: Path) -> None:
    place = tmp_path / "pipelines" / "measures"
    place.mkdir(parents=True)
    (place / "planted.py").write_text("def f():\n    from pipelines.ledger import Ledger\n    return Ledger\n")
    found = violations("pipelines/measures", FORBIDDEN["pipelines/measures"], tmp_path)
    assert "pipelines/measures/planted.py imports pipelines.ledger" in found


def test_only_flows_import_prefect_and_only_the_ledger_duckdb() -> None:
    for path in sorted((ROOT / "pipelines").rglob("*.py")):
        names = set(imported(path))
        folder = path.relative_to(ROOT / "pipelines").parts[0]
        assert folder == "flows" or not any(name.split(".")[0] == "prefect" for name in names), path
        assert folder == "ledger" or "duckdb" not in names, path


def test_commands_that_only_answer_load_nothing_heavy() -> None:
    for layer in LIGHT:
        place = ROOT / layer
        for path in [place] if place.is_file() else place.rglob("*.py"):
            assert not [name for name in imported(path, top_only=True) if name.startswith(HEAVY)], path
