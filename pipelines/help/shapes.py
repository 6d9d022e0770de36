"""The fields of answers, as `--format json` and Python give them, from the shapes in schemas."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date, datetime
from importlib import import_module
from pkgutil import iter_modules
from types import NoneType, UnionType
from typing import Annotated, Any, Union, get_args, get_origin

import schemas.answers
from pipelines.help.markdown import table
from schemas.answers.meanings import meanings
from schemas.answers.shape import Result

_WORDS: dict[Any, str] = {
    str: "text",
    int: "whole number",
    float: "number",
    bool: "true or false",
    date: "day",
    datetime: "time in UTC",
}


def shapes() -> dict[str, type[Result]]:
    """Every shape of an answer by its name."""
    modules = [import_module(f"schemas.answers.{found.name}") for found in iter_modules(schemas.answers.__path__)]
    found = [var for module in modules for var in vars(module).values()]
    return {
        each.__name__: each
        for each in found
        if isinstance(each, type) and issubclass(each, Result) and each is not Result
    }


def within(shape: type[Result]) -> list[type[Result]]:
    """A shape and all that it is made of, each once, in the order of the fields."""
    found: dict[type[Result], None] = {shape: None}
    for key in shape.model_fields.values():
        for part in _parts(key.annotation):
            if isinstance(part, type) and issubclass(part, Result) and part is not shape:
                found |= dict.fromkeys(within(part))
    return list(found)


def shape_of(name: str) -> str:
    """What a shape says of itself, and its fields; then the same of all that it is made of."""
    return "\n\n".join(_one(shape) for shape in within(shapes()[name]))


def _one(shape: type[Result]) -> str:
    said = re.sub(r"\s+", " ", shape.__doc__ or "").strip()
    return f"### {shape.__name__}\n\n{said}\n\n" + table(("field", "type, unit", "meaning"), fields_of(shape))


def fields_of(shape: type[Result]) -> list[tuple[str, str, str]]:
    """Each field of a shape as it is told: its name in JSON, its type with its unit, its meaning."""
    about = meanings(shape)
    return [
        (f"`{field.alias or name}`", _kind(field.annotation) + (f", {unit}" if unit else ""), about[name].words)
        for name, field in shape.model_fields.items()
        for unit in [about[name].unit.removeprefix("-")]
    ]


def _parts(annotation: Any) -> Iterator[Any]:
    yield annotation
    for part in get_args(annotation):
        yield from _parts(part)


def _kind(annotation: Any) -> str:
    """A type in words."""
    origin, args = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        return _kind(args[0])
    if origin in (Union, UnionType):
        return " or ".join("null" if part is NoneType else _kind(part) for part in args)
    if origin is tuple:
        return f"list of {', '.join(dict.fromkeys(_kind(part) for part in args if part is not Ellipsis))}"
    if origin is dict:
        return f"table of {_kind(args[1])}"
    if isinstance(annotation, type) and issubclass(annotation, Result):
        return annotation.__name__
    return _WORDS.get(annotation, "value")
