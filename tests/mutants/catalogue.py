"""The list of mutants: which text of a measure is changed into what, and which tests ought to notice."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
LISTS = sorted(Path(__file__).parent.glob("*.toml"))


@dataclass(frozen=True)
class Mutant:
    """One change. file: from the repository's top; old stands in it exactly once; tests: what is run; why: what would
    be wrong.
    """

    name: str
    file: str
    old: str
    new: str
    why: str
    tests: tuple[str, ...]


def mutants() -> list[Mutant]:
    """All mutants of all lists. A list is `[[mutant]]` tables with file, old, new, why and, unless the list has
    `tests`, tests.
    """
    found = []
    for path in LISTS:
        answer = tomllib.loads(path.read_text(encoding="utf-8"))
        for number, each in enumerate(answer["mutant"], 1):
            tests = tuple(each.get("tests", answer.get("tests", ())))
            name = f"{path.stem}-{number:02d}"
            found.append(Mutant(name, each["file"], each["old"], each["new"], each["why"], tests))
    return found


def changed(mutant: Mutant) -> str:
    """The file's text with the change made. ValueError where the old text is not there exactly once."""
    text = (ROOT / mutant.file).read_text(encoding="utf-8")
    if text.count(mutant.old) != 1:
        raise ValueError(f"{mutant.name}: {mutant.file} has the text {text.count(mutant.old)} times: {mutant.old!r}")
    return text.replace(mutant.old, mutant.new)
