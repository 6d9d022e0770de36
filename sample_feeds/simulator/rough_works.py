"""A rough works' plant file, made in code: another invented works than the demo's, whose lines have different
stations.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipelines.plant.works import Plant, read_plant

_HEAD = """# Talbrook Glassworks: an invented works. Its people, items and figures are invented too.

[works]
name = "Talbrook Glassworks (invented)"
timezone = "Europe/Vienna"
day_starts = "05:00"
shifts = ["05:00", "13:00", "21:00"]

[[furnace]]
id = "G1"
colour = "flint"
surface_m2 = 51.0
density_g_cm3 = 2.4975

[[furnace]]
id = "G2"
colour = "green"
surface_m2 = 36.0
density_g_cm3 = 2.5150
"""
# code, name, severity, zone, origin
_DEFECTS = (
    ("F11", "finish check", "major", "finish", "mould"),
    ("F12", "overpress", "critical", "finish", "mould"),
    ("F13", "split finish", "major", "finish", "timing"),
    ("F14", "unfilled finish", "major", "finish", "gob"),
    ("N21", "neck check", "major", "neck", "timing"),
    ("S31", "shoulder check", "major", "shoulder", "mould"),
    ("S32", "lap", "minor", "shoulder", "gob"),
    ("B41", "bird swing", "critical", "body", "mould"),
    ("B42", "thin wall", "major", "body", "timing"),
    ("B43", "swab dirt", "minor", "body", "mould"),
    ("B44", "sunken side", "minor", "body", "timing"),
    ("W51", "stone", "major", "whole", "glass"),
    ("W52", "seed", "minor", "whole", "glass"),
    ("W53", "blister", "major", "whole", "gob"),
    ("H61", "heel check", "major", "heel", "handling"),
    ("H62", "base check", "major", "base", "lehr"),
)
# code, name, kind, the station kinds that throw out for it
_ASIDE = (
    ("R91", "mould number thrown out", "mould_rejection", ("side", "mouth")),
    ("R92", "sample taken", "sample", ("side", "mouth")),
    ("R93", "diverted", "diverted", ("foot", "mouth")),
    ("R94", "station being set", "setting", ("side", "mouth", "wall", "foot")),
)
_CORE = {"side": "SBW", "mouth": "FN", "wall": "B", "foot": "HW"}  # zones that a kind of station is made for
_ITEMS = (
    ("A250", "250 ml vinegar bottle", 168.0, 264.0, 2352),
    ("A700", "700 ml spirit bottle", 455.0, 722.0, 1080),
    ("C314", "314 ml honey jar", 158.0, 330.0, 2268),
    ("D500", "500 ml oil bottle", 345.0, 521.0, 1426),
    ("E200", "200 ml syrup round", 139.0, 215.0, 2160),
)
SEEN_BY = (0.35, 0.45, 0.20)  # chance that one, two or three orders of stations can call a defect


@dataclass(frozen=True)
class _Layout:
    """A line and the kinds of its stations in the order of the ware; lanes: which of them has two."""

    line: str
    furnace: str
    sections: int
    gobs: int
    lehr: float
    kinds: tuple[str, ...]
    lanes: str


def rough_works(seed: int) -> str:
    """The text of a works.toml: three lines, two of them on one furnace, every defect seen by one, two or three
    stations in a row.
    """
    rng = np.random.default_rng([seed, 30])
    layouts = (
        _Layout("T1", "G1", int(rng.integers(8, 11)), 2, 88.0, ("side", "mouth", "wall", "foot"), "side"),
        _Layout("T2", "G1", int(rng.integers(5, 9)), 2, 109.0, ("mouth", "side", "foot"), ""),
        _Layout("T3", "G2", int(rng.integers(5, 8)), 3, 97.0, ("side", "foot", "mouth"), "mouth"),
    )
    parts = [_HEAD, *(_line(layout) for layout in layouts), *(_stations(layout, rng) for layout in layouts)]
    parts += [
        f'[[defect]]\ncode = "{code}"\nname = "{name}"\nseverity = "{severity}"\nzone = "{zone}"\norigin = "{origin}"\n'
        for code, name, severity, zone, origin in _DEFECTS
    ]
    parts += [_aside(code, name, kind) for code, name, kind, _ in _ASIDE]
    parts += [_item(*item) for item in _ITEMS]
    return "\n".join(parts)


def rough_plant(seed: int) -> Plant:
    return read_plant(rough_works(seed))


def _line(answer: _Layout) -> str:
    return (
        f'[[line]]\nid = "{answer.line}"\nfurnace = "{answer.furnace}"\nsections = {answer.sections}\ngobs = '
        f"{answer.gobs}\n"
        f"lehr_minutes = {answer.lehr}\n"
    )


def _stations(answer: _Layout, rng: np.random.Generator) -> str:
    sees: dict[str, set[str]] = {kind: set() for kind in answer.kinds}
    for code, *_ in _DEFECTS:
        core = [kind for kind in answer.kinds if code[0] in _CORE[kind]] or list(answer.kinds[:1])
        others = [kind for kind in answer.kinds if kind not in core]
        number = min(1 + int(rng.choice(3, p=SEEN_BY)), len(answer.kinds))
        able = [*rng.permutation(core), *rng.permutation(others)][:number]
        for kind in able:
            sees[str(kind)].add(code)
    parts = []
    for order, kind in enumerate(answer.kinds, start=1):
        for lane in ("-a", "-b") if kind == answer.lanes else ("",):
            able = [code for code, *_ in _DEFECTS if code in sees[kind]]
            able += [code for code, _, _, kinds in _ASIDE if kind in kinds]
            codes = ", ".join(f'"{code}"' for code in able)
            parts.append(
                f'[[station]]\nid = "{answer.line}-{kind}{lane}"\nline = "{answer.line}"\norder = {order}\n'
                f"after_minutes = {1.2 * (order - 1):.1f}\nsees = [{codes}]\n"
            )
    return "\n".join(parts)


def _aside(code: str, name: str, kind: str) -> str:
    return (
        f'[[defect]]\ncode = "{code}"\nname = "{name}"\nseverity = "minor"\nzone = "whole"\norigin = "handling"\n'
        f'kind = "{kind}"\n'
    )


def _item(code: str, name: str, grams: float, capacity: float, units: int) -> str:
    return (
        f'[[item]]\nid = "{code}"\nname = "{name}"\nweight_g = {grams}\nweight_min_g = {grams * 0.975:.1f}\n'
        f"weight_max_g = {grams * 1.025:.1f}\ncapacity_ml = {capacity}\ncapacity_min_ml = {capacity * 0.985:.1f}\n"
        f'capacity_max_ml = {capacity * 1.015:.1f}\nfill = "brimful"\nunits_per_pallet = {units}\n'
    )
