"""An address keeps its meaning: a time as people write it becomes the one that was meant."""

from __future__ import annotations

from collections.abc import Iterator
from urllib.parse import urlencode

from fastapi import Request

from pipelines.errors import WrongUse
from pipelines.local_times import is_plain, local_moment
from pipelines.pages.made_pages import Desk

ENDS = ("from", "to")
NAMES = ("until", "at", "made_from", "made_to")
DAYS = ("received",)


class Elsewhere(Exception):
    """The same question under the address that it keeps."""

    def __init__(self, address: str):
        super().__init__(address)
        self.address = address


def kept_address(request: Request, takes: list[str]) -> None:
    """An address keeps its meaning: a time as people write it becomes the one that was meant, under an address of its
    own. What is none is left for its page to say.
    """
    desk: Desk = request.app.state.web.desk
    names = {*NAMES, *DAYS, *(ENDS if "from" in takes else ())} & {*takes}
    given = dict(request.query_params)
    meant = dict(_meant(desk, given, names))
    if meant:
        raise Elsewhere(f"{request.url.path}?{urlencode({**given, **meant})}")


def _meant(desk: Desk, given: dict[str, str], names: set[str]) -> Iterator[tuple[str, str]]:
    clock = desk.opened.plant.clock
    for name in names & given.keys():
        text = given[name]
        if text and len(text) <= 40 and not is_plain(text):
            try:
                meant = clock.typed(local_moment(text, clock, desk.now()))
            except WrongUse:
                continue
            yield name, meant[:10] if name in DAYS else meant
