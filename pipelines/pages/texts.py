"""The words of the pages, in one catalogue (texts.toml): every key in English, and in each further language."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

LANGUAGES = {"en": "English", "de": "Deutsch"}
_NUMBER, _WORDS = (
    r"[\d\s.,−'\u2009-]+",
    r"[^\n]{1,80}?",
)  # what a place holds: a number where its name begins with n_, else some words
_PLACE = re.compile(r"\{(\w+)\}")


@cache
def catalogue() -> tuple[dict[str, dict[str, str]], list[dict[str, str]]]:
    """The page texts by key, and the report texts: phrases of reports with their translations, `{name}` standing for
    anything.
    """
    answer = tomllib.loads(files("pipelines.pages").joinpath("texts.toml").read_text(encoding="utf-8"))
    reports = answer.pop("report")
    keys = {f"{table}.{name}": words for table, rows in answer.items() for name, words in rows.items()}
    return keys, reports


class Texts:
    """The texts of one language."""

    def __init__(self, language: str):
        self.language = language if language in LANGUAGES else "en"
        self._keys, reports = catalogue()
        self._exact: dict[str, str] = {}
        self._like: list[tuple[str, re.Pattern[str], str]] = []
        if self.language != "en":
            for row in reports:
                self._learn(row["en"], row.get(self.language, row["en"]))

    def _learn(self, english: str, other: str) -> None:
        if "{" not in english:
            self._exact[english] = other
            return
        parts = _PLACE.split(english)
        pattern = "".join(
            re.escape(part) if n % 2 == 0 else f"(?P<{part}>{_NUMBER if part.startswith('n_') else _WORDS})"
            for n, part in enumerate(parts)
        )
        self._like.append((parts[0], re.compile(pattern, re.S), other))

    def __call__(self, key: str, **row: Any) -> str:
        """The text of a key, its places filled. KeyError for an unknown key: a test looks for those."""
        words = self._keys[key]
        text = words.get(self.language, words["en"])
        return text.format(**row) if row else text

    def of_report(self, text: str) -> str:
        """A phrase of a report in this language; as it is where the catalogue does not know it."""
        found = self._exact.get(text)
        if found is not None or not self._like:
            return text if found is None else found
        for head, pattern, other in self._like:
            if text.startswith(head):
                match = pattern.fullmatch(text)
                if match:
                    return self._filled(other, match.groupdict())
        return text

    def _filled(self, other: str, these_texts: Mapping[str, str]) -> str:
        return _PLACE.sub(lambda place: self.of_report(these_texts.get(place[1], "")), other)


@cache
def texts(language: str) -> Texts:
    return Texts(language)


def preferred(header: str, fallback: str) -> str:
    """The first known language of an Accept-Language header, by its weights (RFC 9110, 12.5.4); else `fallback`."""
    wanted: list[tuple[float, int, str]] = []
    for number, part in enumerate(header[:200].split(",")):
        name, _, weight = part.strip().partition(";q=")
        try:
            wanted.append((-float(weight or 1), number, name.split("-")[0].lower()))
        except ValueError:
            continue
    return next((name for weight, _, name in sorted(wanted) if name in LANGUAGES and weight < 0), fallback)


def places_of(words: Mapping[str, str]) -> dict[str, set[str]]:
    """The places to be filled in each language's text."""
    return {language: set(_PLACE.findall(text)) for language, text in words.items()}
