"""Messages: English sentences that know from what they were made."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from typing import Any

PLACE = re.compile(r"\{(\w+)\}")
Write = Callable[[str], str]


class Worded(str):
    """A text that is written differently in another language."""

    __slots__ = ()

    def written(self, patterns: Callable[[Message], str], write: Write) -> str:
        """The text in a language. patterns: a message's template there; write: any text there."""
        raise NotImplementedError


class Message(Worded):
    """An English sentence with its template and what stands in its places. plural: the template for other numbers than
    1, and the number; context: tells apart what English says alike; large: begins with a capital letter.
    """

    __slots__ = ("context", "fields", "large", "plural", "template")
    template: str
    fields: Mapping[str, object]
    plural: tuple[str, int] | None
    context: str
    large: bool

    def __new__(
        cls,
        template: str,
        fields: Mapping[str, object],
        plural: tuple[str, int] | None = None,
        context: str = "",
        large: bool = False,
    ) -> Message:
        english = template if plural is None or plural[1] == 1 else plural[0]
        message = super().__new__(cls, _filled(english, fields, large))
        message.template, message.fields, message.plural = template, fields, plural
        message.context, message.large = context, large
        return message

    @property
    def is_layout(self) -> bool:
        """Whether it has no words of its own, only what stands in its places."""
        return not any(c.isalpha() for c in PLACE.sub("", self.template))

    def written(self, patterns: Callable[[Message], str], write: Write) -> str:
        fields = {name: write(value) if isinstance(value, str) else value for name, value in self.fields.items()}
        return _filled(patterns(self), fields, self.large)

    def __add__(self, other: str) -> str:
        return joined("", (self, other))

    def __radd__(self, other: str) -> str:
        return joined("", (other, self))

    def __reduce__(self) -> tuple[Any, ...]:
        return Message, (self.template, self.fields, self.plural, self.context, self.large)

    def __deepcopy__(self, _memo: object) -> Message:
        return self


def _filled(pattern: str, fields: Mapping[str, object], large: bool) -> str:
    text = pattern.format_map(fields) if fields else pattern
    return text[:1].upper() + text[1:] if large else text


def _texts(fields: Mapping[str, object]) -> dict[str, str]:
    """What stands in the places, as texts: a message can then be kept as it is."""
    return {name: value if isinstance(value, str) else str(value) for name, value in fields.items()}


def say(template: str, context: str = "", **fields: object) -> str:
    """The message of a template, its places filled. KeyError where a place has nothing to fill it."""
    return Message(template, _texts(fields), None, context)


def say_n(singular: str, plural: str, n: int, **fields: object) -> str:
    """The message for n things: `singular` for 1, `plural` for any other number; {n} stands in both unless a field of
    that name says how it is written.
    """
    return Message(singular, _texts({"n": n, **fields}), (plural, n))


def joined(between: str, parts: Iterable[str]) -> str:
    """The parts with something between them, a message if one of them is, else a plain text."""
    pieces: list[str] = []
    for part in parts:
        pieces += [between, part] if pieces and between else [part]
    if not any(isinstance(piece, Worded) for piece in pieces):
        return "".join(pieces)
    fields = {f"p{number}": piece for number, piece in enumerate(pieces)}
    return Message("".join(f"{{{name}}}" for name in fields), fields)


def beginning(text: str) -> str:
    """A text that begins a sentence: its first letter is a capital one."""
    if isinstance(text, Message):
        return Message(text.template, text.fields, text.plural, text.context, True)
    return text[:1].upper() + text[1:]


def sentence_of(error: Exception) -> str:
    """What an error says: its message where it was raised with one."""
    return error.args[0] if error.args and isinstance(error.args[0], Message) else str(error)
