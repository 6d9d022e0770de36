"""Who may import whom; a planted violation is found."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
# layer -> what it must not import
FORBIDDEN = {
    "schemas": ("pipelines", "sample_feeds", "duckdb", "prefect"),
    "pipelines/measures": (
        "pipelines.ledger",
        "pipelines.reports",
        "pipelines.answers",
        "pipelines.intake",
        "pipelines.flows",
        "pipelines.jobs",
        "duckdb",
        "prefect",
    ),
    "pipelines/ledger": (
        "pipelines.intake",
        "pipelines.measures",
        "pipelines.reports",
        "pipelines.answers",
        "pipelines.flows",
        "pipelines.jobs",
        "prefect",
    ),
    "pipelines/intake": (
        "pipelines.measures",
        "pipelines.reports",
        "pipelines.answers",
        "pipelines.flows",
        "pipelines.jobs",
        "duckdb",
        "prefect",
    ),
    "pipelines/listen": (
        "pipelines.intake",
        "pipelines.ledger",
        "pipelines.measures",
        "pipelines.reports",
        "pipelines.answers",
        "pipelines.flows",
        "duckdb",
        "prefect",
    ),
    "pipelines/answers": (
        "pipelines.intake",
        "pipelines.reports",
        "pipelines.flows",
        "pipelines.jobs",
        "duckdb",
        "prefect",
    ),
    "pipelines/reports": ("pipelines.intake", "pipelines.flows", "pipelines.jobs", "duckdb", "prefect"),
    "pipelines/work": ("pipelines.flows", "duckdb", "prefect"),
    "pipelines/pages": ("pipelines.flows", "duckdb", "prefect", "scipy"),
    "pipelines/serve": ("duckdb", "prefect", "pipelines.reports"),
    "pipelines/plant/works.py": ("pipelines.ledger", "pipelines.intake", "pipelines.measures", "schemas.feeds"),
    "pipelines/clock.py": ("pipelines",),
    "pipelines/cli.py": ("prefect", "duckdb"),
}
LIGHT = (
    "pipelines/cli.py",
    "pipelines/site/folder.py",
    "pipelines/answers",
    "pipelines/measures",
    "pipelines/ledger/store.py",
    "pipelines/ledger/history.py",
    "pipelines/reports/terminal/table.py",
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
        folder = path.parent.name
        assert folder == "flows" or not any(name.split(".")[0] == "prefect" for name in names), path
        assert folder == "ledger" or "duckdb" not in names, path


def test_commands_that_only_answer_load_nothing_heavy() -> None:
    for layer in LIGHT:
        place = ROOT / layer
        for path in [place] if place.is_file() else place.rglob("*.py"):
            assert not [name for name in imported(path, top_only=True) if name.startswith(HEAVY)], path
