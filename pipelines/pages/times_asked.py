"""Times of an address: by the works' clock, as people write them."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from pipelines import typed
from pipelines.clock import Span, utc_text
from pipelines.errors import WrongUse
from pipelines.local_times import is_plain, local_moment
from pipelines.pages.forms import Mistakes
from pipelines.words import say, sentence_of

if TYPE_CHECKING:
    from pipelines.pages.web import Web

ENDS = ("from", "to")


def moment(web: Web, text: str | None, name: str = "") -> datetime | None:
    """A time of an address, local unless it has an offset; None for none. Mistakes at its field."""
    if not text:
        return None
    try:
        return local_moment(text, web.desk.opened.plant.clock, web.desk.now())
    except WrongUse as error:
        raise Mistakes({name: sentence_of(error)}) from None


def part_asked(
    web: Web, ends: tuple[str | None, str | None], names: tuple[str, str], question: str, words: tuple[str, str]
) -> tuple[datetime | None, datetime | None]:
    """The two ends of a span of which one or both may be left out. Mistakes at the fields of those names."""
    found, wrong = [], {}
    for text, name in zip(ends, names, strict=True):
        try:
            found.append(moment(web, text, name))
        except Mistakes as error:
            wrong.update(error.at)
    if wrong:
        raise Mistakes(wrong)
    start, end = found
    if start is not None and end is not None:
        first, last = (str(t) if is_plain(str(t)) else utc_text(at) for t, at in zip(ends, (start, end), strict=True))
        try:
            typed.span(first, last, web.desk.opened.plant.clock.zone, question, words)
        except WrongUse as error:
            raise Mistakes({names[1]: sentence_of(error)}) from None
    return start, end


def span_asked(web: Web, start: str | None, end: str | None, question: str) -> Span | None:
    """A span of an address; None where neither end is told. Mistakes for what is none, or is longer than its question
    bears.
    """
    if not start and not end:
        return None
    if not start or not end:
        raise Mistakes({"to" if start else "from": say("give both `from` and `to`, or neither")})
    first, last = part_asked(web, (start, end), ENDS, question, ("`from`", "`to`"))
    assert first is not None and last is not None
    return Span(first, last)
