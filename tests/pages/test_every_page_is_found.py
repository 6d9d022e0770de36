"""No page of the application is forgotten: by the list of pages that tests ask for, by the links that lead to it, and,
where it only leads on, by the list of those that do.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from html import unescape
from urllib.parse import urljoin, urlsplit

import pytest
from fastapi.routing import APIRoute
from starlette.routing import Match

from pipelines.answers.now import newest_count
from pipelines.jobs.holds import decide
from pipelines.jobs.signals import _frame
from pipelines.ledger.marts import keep_hours
from pipelines.pages.asked import LEADING_ON, MACHINES
from tests.conftest import HEAD, Place
from tests.measures.signals.test_acts import of_furnace
from tests.pages.conftest import Browser
from tests.pages.test_every_page_answers import PAGES
from tests.pages.test_whatever_is_typed import routes

Make = Callable[..., Browser]
# Pages of what is not there in every site, or not for everybody: `furnished` makes it, and these lead to them.
FOUND_FROM = {
    "/holds/{name}": "/holds",
    "/pallet/{pallet:path}": "/holds",
    "/signals/{signal}": "/signals",
    "/feeds/refused/{batch}": "/feeds",
    "/people": "/now",
}
EXAMPLE = {"line": "K1", "furnace": "F2", "path": "index.html"}


@pytest.fixture
def furnished(site: Place, browser: Make) -> Browser:
    """The browser of an admin, in a works with a hold, a signal and a refused row."""
    site.put("station_counts.K2.wrong.csv", HEAD + "2026-03-10T03:00:00Z,K2,K2-side,,60,many,1\n")
    site.take()
    with site.opened.ledger.reading() as reader:
        pallet = str(reader.current("pallets")["pallet"][0])
        newest = newest_count(reader)
    assert newest is not None
    kept = of_furnace("K1", 62, onset=0)
    rows = [("K1", newest.replace(minute=0), kept.id, kept.model_dump_json(by_alias=True))]
    keep_hours(
        site.opened.ledger, {"signal_hours": _frame("signal_hours", rows)}, ["K1"], newest.replace(minute=0), newest
    )
    decide(site.opened, "place", None, [pallet], "Q. Quality", "a test", "a test")
    return browser("A. Admin")


def of_pages(browser: Browser) -> list[APIRoute]:
    return [each for each in routes(browser.client.app) if "GET" in each.methods and each.path not in MACHINES]


def route_of(address: str, among: Iterable[APIRoute]) -> str:
    """The path of the route that answers an address; empty for none."""
    scope = {"type": "http", "method": "GET", "path": urlsplit(address).path, "root_path": ""}
    return next((each.path for each in among if each.matches(scope)[0] is Match.FULL), "")


def links(text: str, address: str) -> list[str]:
    """Addresses that a page leads to: its links, and what its search box asks."""
    found = re.findall(r'href="([^"]+)"|role="search" action="([^"]+)"', text)
    return [urljoin(address, unescape(link or asks)).split("#")[0] for link, asks in found]


def test_every_route_is_among_the_pages_that_tests_ask_for(browser: Make) -> None:
    known = of_pages(browser())
    asked = {route_of(address, known) for address in PAGES} | LEADING_ON | set(FOUND_FROM)
    missing = sorted({each.path for each in known} - asked)
    assert not missing, f"no address in PAGES of test_every_page_answers.py for: {', '.join(missing)}"
    assert asked <= {each.path for each in known}, "an address of PAGES, LEADING_ON or FOUND_FROM has no route"


@pytest.mark.parametrize("path", FOUND_FROM)
def test_a_page_of_what_is_not_always_there_is_found_by_its_link_and_answers(path: str, furnished: Browser) -> None:
    known = of_pages(furnished)
    here = FOUND_FROM[path]
    found = [link for link in links(furnished.get(here), here) if route_of(link, known) == path]
    assert found, f"{here} has no link to {path}"
    text = furnished.get(found[0])
    assert text.rstrip().endswith("</html>") and "Traceback" not in text


def test_every_page_is_linked_from_another_or_the_navigation(furnished: Browser) -> None:
    known, reached = of_pages(furnished), set()
    for address in PAGES:
        mine = route_of(address, known)
        for link in set(links(furnished.get(address), address)):
            path = route_of(link, known)
            if path in LEADING_ON and not path.startswith("/reports"):
                path = route_of(str(furnished.client.get(link).url), known)
            reached |= {path} - {mine}
    lost = sorted({each.path for each in known} - LEADING_ON - reached)
    assert not lost, f"no page leads to: {', '.join(lost)}"


def test_every_address_that_only_leads_on_is_listed_and_no_other(furnished: Browser) -> None:
    """LEADING_ON in pages/asked.py: such an address takes no words of a page."""
    known = of_pages(furnished)
    addresses = {route_of(address, known): address for address in PAGES}
    for route in known:
        if route.path in FOUND_FROM:
            continue
        address = addresses.get(route.path) or route.path.replace(":path", "").format(**EXAMPLE)
        status = furnished.client.get(address, follow_redirects=False).status_code
        if route.path.startswith("/reports"):
            assert route.path in LEADING_ON  # a file as it lies there
        else:
            assert (status == 303) == (route.path in LEADING_ON), f"{route.path} answers {status}"
