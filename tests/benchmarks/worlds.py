"""The two worlds on which the measures are held against the truth: the tidy works of the demo, and rough works, another
one for every seed.

Seeds below 500 are for development. Final figures come from seeds of 700 and more, which nobody looked at before all
choices were made.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import files

from pipelines.plant.works import Plant, read_plant
from sample_feeds.simulator import ROUGH, Roughness, rough_works

HELD_OUT = 700


@dataclass(frozen=True)
class World:
    """text: the plant file of a seed's works."""

    name: str
    text: Callable[[int], str]
    roughness: Roughness

    def plant(self, seed: int) -> Plant:
        return read_plant(self.text(seed))


def _demo(_: int) -> str:
    return files("sample_feeds").joinpath("works.toml").read_text(encoding="utf-8")


WORLDS = {"tidy": World("tidy", _demo, Roughness()), "rough": World("rough", rough_works, ROUGH)}


def asked_worlds(names: str) -> list[World]:
    """`tidy`, `rough` or `both`."""
    return list(WORLDS.values()) if names == "both" else [WORLDS[names]]


def side_by_side(title: str, rows: dict[str, dict[str, str]]) -> None:
    """Print what was measured, a row each, a column a world. rows: by what, by world."""
    names = list(dict.fromkeys(world for row in rows.values() for world in row))
    wide = max([len(title), *(len(what) for what in rows)])
    print(f"\n{title:<{wide}}  " + " | ".join(f"{name:^26}" for name in names))
    for what, row in rows.items():
        print(f"{what:<{wide}}  " + " | ".join(f"{row.get(name, '-'):<26}" for name in names))
