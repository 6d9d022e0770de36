"""The keys of works.toml, table by table, from the typed objects that read it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, time
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import AwareDatetime, BaseModel
from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from pipelines.plant.works import Plant

WHOLE = "works.toml"
_WORDS: dict[Any, str] = {
    str: "text",
    int: "whole number",
    float: "number",
    bool: "true or false",
    time: "time of day",
    datetime: "time",
    date: "day",
    AwareDatetime: "time with its offset",
}


def tables() -> dict[str, type[BaseModel]]:
    """Every table of works.toml by the name it has there, tables within tables too."""
    return {WHOLE: Plant, **dict(_within(Plant))}


def _within(model: type[BaseModel]) -> Iterator[tuple[str, type[BaseModel]]]:
    for name, key in model.model_fields.items():
        for part in _parts(key.annotation):
            if isinstance(part, type) and issubclass(part, BaseModel):
                yield key.alias or name, part
                yield from _within(part)


def _parts(annotation: Any) -> Iterator[Any]:
    yield annotation
    for part in get_args(annotation):
        yield from _parts(part)


def keys_of(name: str) -> list[tuple[str, str, str]]:
    """(key, what it is and what stands where nothing is said, what it means) of each key of a table, first those that
    must be said.
    """
    keys = sorted(tables()[name].model_fields.items(), key=lambda pair: not pair[1].is_required())
    return [
        (f"`{key.alias or each}`", kind(key.annotation, key.metadata) + _default(key), key.description or "")
        for each, key in keys
    ]


def _default(key: FieldInfo) -> str:
    if key.is_required():
        return "; must be said"
    value = key.get_default(call_default_factory=True)
    if value is PydanticUndefined or value is None or isinstance(value, BaseModel) or value in ((), {}, ""):
        return ""
    return f"; else `{str(value).lower()}`" if isinstance(value, bool) else f"; else `{value}`"


def kind(annotation: Any, metadata: list[Any]) -> str:
    """A type in words, with its limits."""
    origin, args = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        return kind(args[0], [*args[1:], *metadata])
    if origin in (Union, UnionType):
        return " or ".join(kind(part, metadata) for part in args if part is not NoneType)
    if origin is Literal:
        return ", ".join(f"`{choice}`" if choice.strip() else ("a blank" if choice else "nothing") for choice in args)
    if origin is tuple:
        return "tables" if _is_table(args[0]) else f"list: {kind(args[0], [])}"
    if origin is dict:
        return "table"
    if _is_table(annotation):
        return "table"
    return _WORDS.get(annotation, "text") + _bounds(metadata)


def _is_table(annotation: Any) -> bool:
    return isinstance(annotation, type) and issubclass(annotation, BaseModel)


def _bounds(metadata: list[Any]) -> str:
    """The limits that a number or a text has, in words."""
    words = {"ge": "from {}", "gt": "above {}", "le": "to {}", "max_length": "to {} letters"}
    found = (
        text.format(getattr(each, limit))
        for each in _flat(metadata)
        for limit, text in words.items()
        if getattr(each, limit, None) is not None
    )
    answer = " ".join(dict.fromkeys(found))
    return f", {answer}".replace("to 1 letters", "one letter") if answer else ""


def _flat(metadata: list[Any]) -> Iterator[Any]:
    for each in metadata:
        if isinstance(each, FieldInfo):
            yield from _flat(each.metadata)
        else:
            yield each
