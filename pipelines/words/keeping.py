"""Messages as plain values, for pages kept as JSON."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pipelines.words.drawing import Drawing
from pipelines.words.message import Message
from pipelines.words.moments import Moment
from pipelines.words.numerals import Numeral

_SAY, _DRAWN, _NUMBER, _MOMENT = (
    "\x00say",
    "\x00drawn",
    "\x00number",
    "\x00moment",
)  # keys that no feed can hold: a cell with such a character is refused


def packed(value: Any) -> Any:
    """A value of dicts, lists and texts with its messages as dicts, so that JSON keeps them."""
    if isinstance(value, Message):
        return {
            _SAY: value.template,
            "fields": packed(value.fields),
            "plural": value.plural,
            "context": value.context,
            "large": value.large,
        }
    if isinstance(value, Drawing):
        return {_DRAWN: str(value), "texts": packed(value.texts)}
    if isinstance(value, Numeral):
        return {_NUMBER: str(value)}
    if isinstance(value, Moment):
        return {_MOMENT: str(value), "twice": value.twice}
    if isinstance(value, Mapping):
        return {name: packed(item) for name, item in value.items()}
    if isinstance(value, list | tuple):
        return [packed(item) for item in value]
    return value


def unpacked(value: Any) -> Any:
    """What `packed` made a value of, as it was; tuples are lists, as JSON has them."""
    if isinstance(value, list):
        return [unpacked(item) for item in value]
    if not isinstance(value, dict):
        return value
    if _SAY in value:
        plural = (value["plural"][0], value["plural"][1]) if value["plural"] else None
        return Message(value[_SAY], unpacked(value["fields"]), plural, value["context"], value["large"])
    if _DRAWN in value:
        return Drawing(value[_DRAWN], unpacked(value["texts"]))
    if _NUMBER in value:
        return Numeral(value[_NUMBER])
    if _MOMENT in value:
        return Moment(value[_MOMENT], value["twice"])
    return {name: unpacked(item) for name, item in value.items()}
