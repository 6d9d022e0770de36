"""Sentences that were kept as plain English, made messages again by the templates they were made of."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cache

from pipelines.words.message import PLACE, Message


def template(text: str) -> str:
    """A template that is named before it is said: of sentences that are kept and must be recalled."""
    return text


def recalled(text: str, templates: Sequence[str]) -> str:
    """The message that one of these templates made, as it was; the text as it is where none did. The first template
    that fits is taken, so the more special stand first.

    For what a ledger keeps: its columns hold sentences, and so do those of ledgers made before there were messages.
    """
    for pattern in templates:
        found = _pattern(pattern).fullmatch(text)
        if found:
            return Message(pattern, {name: recalled(part, templates) for name, part in found.groupdict().items()})
    return text


@cache
def _pattern(template_text: str) -> re.Pattern[str]:
    parts = PLACE.split(template_text)
    return re.compile(
        "".join(re.escape(part) if n % 2 == 0 else f"(?P<{part}>.+?)" for n, part in enumerate(parts)), re.S
    )
