"""Every sentence uses the words of the house, is short enough to be read standing, and writes figures one way."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from pipelines.words import LANGUAGES, catalogue
from tests.words.test_catalogues import _wanted

HOUSE = tomllib.loads((Path(__file__).parents[2] / "pipelines" / "words" / "house.toml").read_text(encoding="utf-8"))
WORDS = HOUSE["word"]
MOST = 20  # words of a sentence, as pages.md asks
LONG = 14  # sentences that are longer: standards' rules and formulas told in one piece; no more may come
PLACE = re.compile(r"\{[^}]*\}")
SENTENCE = re.compile(r"(?<=[.!?;:])\s+")


def sentences() -> list[str]:
    """Every English text that is said, with its places."""
    return [text for text in _wanted() if isinstance(text, str)]


def others(text: str, entry: dict[str, list[str]]) -> list[str]:
    """The words in a text that stand for a house word."""
    if any(known in text for known in entry.get("but", ())):
        return []
    plain = PLACE.sub(" ", text)
    return [word for word in entry["not"] if re.search(rf"(?<![\w`]){re.escape(word)}(?![\w`])", plain, re.IGNORECASE)]


@pytest.mark.parametrize("entry", WORDS, ids=lambda entry: entry["word"])
def test_one_word_stands_for_one_thing(entry: dict[str, list[str]]) -> None:
    wrong = [(text, found) for text in sentences() if (found := others(text, entry))]
    assert not wrong, wrong[:5]


def test_the_list_is_whole_and_of_use() -> None:
    """Each house word is said somewhere, none stands among the others, and each exception is a text that is said."""
    said = " ".join(sentences()).lower()
    forbidden = {word for entry in WORDS for word in entry["not"]}
    for entry in WORDS:
        assert entry["word"] in said and entry["word"] not in forbidden and entry["means"], entry["word"]
        assert all(any(known in text for text in sentences()) for known in entry.get("but", ())), entry["but"]
    assert others("2 bottles were called", WORDS[0]) == ["bottles"] and others("2 containers", WORDS[0]) == []


def test_sentences_are_short() -> None:
    long = [part for text in sentences() for part in SENTENCE.split(PLACE.sub("x", text)) if len(part.split()) > MOST]
    assert len(long) <= LONG, long


def test_figures_are_written_one_way() -> None:
    """No text writes a minus as a hyphen, a probability as zero, or thousands itself."""
    wrong = [text for text in sentences() if re.search(r"(?<![\w-])-\d|= 0\.000|\d,\d{3}\b", PLACE.sub(" ", text))]
    assert not wrong, wrong


@pytest.mark.parametrize("language", [code for code in LANGUAGES if code != "en"])
def test_a_language_says_one_word_for_one_thing_too(language: str) -> None:
    """In German: a signal is no Alarm, an item no Produkt, a person no Benutzer."""
    wrong = [
        text
        for message in catalogue(language).entries.values()
        for text in (message if isinstance(message, tuple | list) else [message])
        if re.search(r"\b(Alarm|Alarme|Benutzer|Produkt|Produkte|Artikelstück)\b", str(text))
    ]
    assert not wrong, wrong[:5]
