"""A language in which every word of a message stands between marks: what a page shows outside them is no message."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html.parser import HTMLParser

from pipelines.words import Catalogue, Message
from pipelines.words.message import PLACE

_BEGIN, _END = "⟦", "⟧"
_MARKED = re.compile(rf"{_BEGIN}[^{_BEGIN}{_END}]*{_END}")
_NO_WORDS = re.compile(r"\b[0-9a-f]{16}\b|\S+\.(?:csv|gz|txt|parquet|jsonl)\S*")  # hashes, and names of files
_SILENT = {"script", "style", "title"}
_SPOKEN = ("aria-label", "title", "alt", "placeholder")


class Pseudo(Catalogue):
    """Marks the literal parts of every template that a catalogue must have."""

    def pattern(self, message: Message) -> str:
        if message.context == "defect":  # a works' own name
            return message.template
        text = message.template if message.plural is None or message.plural[1] == 1 else message.plural[0]
        parts = PLACE.split(text)
        return "".join(
            f"{{{part}}}" if n % 2 else f"{_BEGIN}{part}{_END}" if any(c.isalpha() for c in part) else part
            for n, part in enumerate(parts)
        )


class _Visible(HTMLParser):
    """The texts that a reader sees or hears, without what says that it is English (the help)."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.skipped: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        if self.skipped:
            self.skipped.append(tag) if tag == self.skipped[0] else None
            return
        if tag in _SILENT or (tag != "html" and found.get("lang")) or tag == "pre":
            self.skipped.append(tag)
            return
        self.texts += [text for name in _SPOKEN if (text := found.get(name))]
        if tag == "body":
            self.texts += (found.get("data-words") or "").split("|")

    def handle_endtag(self, tag: str) -> None:
        if self.skipped and tag == self.skipped[-1]:
            self.skipped.pop()

    def handle_data(self, data: str) -> None:
        if not self.skipped and data.strip():
            self.texts.append(data.strip())


def visible(page: str) -> list[str]:
    """The texts of a page in their order."""
    parser = _Visible()
    parser.feed(page)
    return parser.texts


def unmarked(page: str, names: set[str]) -> Iterator[tuple[str, str]]:
    """The words of a page that stand in no message and are no name: (word, the text it stands in)."""
    for text in visible(page):
        rest = _MARKED.sub(" ", text)
        for name in _NO_WORDS.sub(" ", rest).split():
            for word in re.findall(r"[^\W\d_]{2,}", name):
                if word not in names:
                    yield word, text
