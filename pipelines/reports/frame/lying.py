"""Links of pages that lie on disk: one to a page that does not lie there leads to the served site, or is none."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from html import escape, unescape
from posixpath import dirname, normpath

AWAY = "Names without a link lead to pages that do not lie here: `coldledger serve` shows them."
_AWAY = f'<p class="away">{AWAY}</p>\n'
_ANCHOR = re.compile(r"<a\b[^>]*>")
_TO = re.compile(r' (?:xlink:)?(?P<name>href|data-to)="(?P<to>[^"]*)"')
_OUTSIDE = re.compile(r"(?:[a-z][a-z0-9+.-]*:|//|/|#)", re.I)

Lies = Callable[[str], bool]


def linked(text: str, here: str, lies: Lies, address: str = "") -> str:
    """A page's HTML with each link to another page of the folder as it can be followed now.

    here: the page's own place under reports/. lies: whether a place under reports/ is there. address: where the served
    site is opened, empty where nobody said. A link that leads nowhere stays a link without an address (`data-to` keeps
    it), so that it is one again when its page has come.
    """
    gone = False

    def anchor(found: re.Match[str]) -> str:
        nonlocal gone
        to = _target(found[0])
        if to is None:
            return found[0]
        rest = _TO.sub("", found[0])[2:]
        there = lies(_place(here, to))
        gone = gone or not (there or address)
        if there:
            return f'<a href="{escape(to)}"{rest}'
        served = f' href="{escape(f"{address}/{_place(here, to)}")}"' if address else ""
        return f'<a{served} data-to="{escape(to)}"{rest}'

    text = _ANCHOR.sub(anchor, text.replace(_AWAY, ""))
    return text.replace("</footer>", f"{_AWAY}</footer>", 1) if gone else text


def leads_to(text: str, here: str) -> Iterator[str]:
    """The places under reports/ that a page's links are for, whether they can be followed or not."""
    for found in _ANCHOR.finditer(text):
        to = _target(found[0])
        if to is not None:
            yield _place(here, to)


def _target(tag: str) -> str | None:
    """What a link is for, relative to its page; None for one that leads out of the folder, or within its page."""
    found = {match["name"]: unescape(match["to"]) for match in _TO.finditer(tag)}
    to = found.get("data-to", found.get("href", "#"))
    return None if _OUTSIDE.match(to) or not to else to


def _place(here: str, to: str) -> str:
    return normpath(f"{dirname(here)}/{to.partition('#')[0].partition('?')[0]}").lstrip("/")
