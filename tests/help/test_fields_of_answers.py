"""Every field of every answer says what it is.

The rule. A field's words are more than its name. One that holds numbers (also in a list or table) ends with its unit in
brackets, one that holds a time with its clock. A share, probability or ratio is 0..1 and says of what, unless it is a
probability; a rate says what it is counted over (`calls a container`). One that can be null says when.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import datetime
from types import NoneType
from typing import Any, get_args

import pytest
from typer.testing import CliRunner

from pipelines.cli import app
from pipelines.help import TOPICS
from pipelines.help.shapes import fields_of, shapes, within
from schemas.answers.meanings import meanings
from schemas.answers.shape import Result

SHAPES = list(shapes().values())
UNITS = {
    "calls",
    "containers",
    "gobs",
    "pallets",
    "weighings",
    "readings",
    "samples",
    "passes",
    "moulds",
    "days",
    "min",
    "mm",
    "ml",
    "g",
    "kg",
    "g2",
    "g/cm3",
    "°C",
    "%",
    "degrees",
    "temper",
    "defects",
    "cavities",
    "checks",
    "h",
}
SHARE = re.compile(r"(^|_)(share|cumulative|covers|availability|efficiency|rate|.*ratio|probability|q|p)(_|$)")
CLOCKS = ("cold-end clock", "forming clock", "works' clock")


ANSWERING = [topic for topic in TOPICS if any(kind == "answer" for kind, _ in topic.lists)]


def plain(annotation: Any) -> Iterator[type]:
    """The types that a field's values are made of."""
    args = get_args(annotation)
    if not args and isinstance(annotation, type):
        yield annotation
    for part in args:
        yield from plain(part)


def fields() -> list[tuple[type[Result], str]]:
    return [(shape, name) for shape in SHAPES for name in shape.model_fields]


def shown(found: list[tuple[type[Result], str]]) -> str:
    """All of them, a line each: a list would be cut."""
    return "\n".join(f"{shape.__name__}.{name}: {meanings(shape)[name]}" for shape, name in found)


def letters(text: str) -> str:
    return re.sub(r"[^a-z]", "", text.lower())


def test_every_field_says_more_than_its_name() -> None:
    empty = [(s, n) for s, n in fields() if letters(meanings(s)[n].words) in ("", letters(n))]
    odd = shown(empty)
    assert not odd, odd


def test_every_number_says_its_unit_and_every_time_its_clock() -> None:
    numbers = [(s, n) for s, n in fields() if {int, float} & set(plain(s.model_fields[n].annotation))]
    assert len(numbers) > len(SHAPES)
    odd = shown([(s, n) for s, n in numbers if not known_unit(meanings(s)[n].unit)])
    assert not odd, f"no unit that stands in UNITS of this test:\n{odd}"
    times = [(s, n) for s, n in fields() if datetime in plain(s.model_fields[n].annotation)]
    odd = shown([(s, n) for s, n in times if not meanings(s)[n].unit.endswith(CLOCKS)])
    assert not odd, odd


def known_unit(unit: str) -> bool:
    return unit.split(" ")[0].rstrip(",;") in (*UNITS, "0..1", "-")


def test_every_share_and_rate_says_of_what() -> None:
    parts = [(s, n) for s, n in fields() if SHARE.search(n) and float in plain(s.model_fields[n].annotation)]
    odd = [(s, n) for s, n in parts if not re.match(r"0\.\.1( of .+)?$|\w+ an? .+", meanings(s)[n].unit)]
    bare = [(s, n) for s, n in parts if meanings(s)[n].unit == "0..1" and "probability" not in meanings(s)[n].words]
    vague = shown(odd + bare)
    assert not vague, vague


def test_what_can_be_null_says_when() -> None:
    optional = [(s, n) for s, n in fields() if NoneType in get_args(s.model_fields[n].annotation)]
    odd = shown([(s, n) for s, n in optional if not re.search(r"\bnull\b", meanings(s)[n].words)])
    assert not odd, odd


def test_a_shape_says_what_the_whole_is_and_leaves_its_fields_to_themselves() -> None:
    listing = [shape.__name__ for shape in SHAPES if re.search(r"(^|[.;,] )(\w+): ", shape.__doc__ or "")]
    assert listing == []


@pytest.mark.parametrize(
    "topic", [t for t in TOPICS if any(kind == "answer" for kind, _ in t.lists)], ids=lambda t: t.name
)
def test_the_reference_prints_what_every_field_says(topic: Any) -> None:
    printed = CliRunner().invoke(app, ["help", topic.name]).output
    for shape in {each for kind, name in topic.lists if kind == "answer" for each in within(shapes()[name])}:
        for cells in fields_of(shape):
            assert f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in cells)} |" in printed, shape
