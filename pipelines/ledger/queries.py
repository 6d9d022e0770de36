"""Named SQL: one statement a file under sql/, parameters only through $names."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable


def folder(name: str) -> Traversable:
    """A folder of sql/, in a checkout and in an installed wheel alike."""
    return files("sql").joinpath(name)


@cache
def query(name: str, kind: str = "out") -> str:
    """The text of sql/<kind>/<name>.sql; FileNotFoundError if there is none."""
    return folder(kind).joinpath(f"{name}.sql").read_text(encoding="utf-8")


def statements(kind: str) -> list[tuple[str, str]]:
    """Name and text of every file of a folder, in the order of the names."""
    found = [entry for entry in folder(kind).iterdir() if entry.name.endswith(".sql")]
    return [(e.name.removesuffix(".sql"), e.read_text(encoding="utf-8")) for e in sorted(found, key=lambda e: e.name)]
