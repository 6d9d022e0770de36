"""Catalogues: what a template is in a language."""

from __future__ import annotations

import gettext
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from pipelines.words.message import Message, Worded

LANGUAGES = {"en": "English", "de": "Deutsch"}
Entry = tuple[str, ...]  # of a template its translation; of one with plural forms all of them in their order


def _as_in_english(n: int) -> int:
    return int(n != 1)


@dataclass(frozen=True)
class Catalogue:
    """The words of one language. entries: (context, template) -> translations; form: which of them stands for n."""

    language: str
    entries: Mapping[tuple[str, str], Entry]
    form: Callable[[int], int] = _as_in_english

    def write(self, text: str) -> str:
        """A text in this language; as it is where it is no message."""
        return text.written(self.pattern, self.write) if isinstance(text, Worded) else text

    def pattern(self, message: Message) -> str:
        """A message's template in this language; the English one where the catalogue has none."""
        found = self.entries.get((message.context, message.template))
        if message.plural is None:
            return found[0] if found else message.template
        plural, n = message.plural
        return (found or (message.template, plural))[self.form(n)]


@cache
def catalogue(language: str) -> Catalogue:
    """The catalogue of a language; for English an empty one, because its templates are English."""
    if language == "en":
        return Catalogue("en", {})
    from babel.messages.pofile import read_po

    with files("pipelines.words").joinpath(f"{language}.po").open("rb") as file:
        messages = read_po(file, language, abort_invalid=True)
    entries: dict[tuple[str, str], Entry] = {}
    for message in messages:
        template = message.id if isinstance(message.id, str) else message.id[0]
        said = message.string or ""
        translations = (said,) if isinstance(said, str) else tuple(said)
        if template and all(translations):
            entries[message.context or "", template] = translations
    return Catalogue(language, entries, gettext.c2py(messages.plural_expr))
