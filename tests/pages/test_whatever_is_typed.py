"""Every address, with every word that it takes, answers what cannot be with a sentence; never with an error of ours. A
new route is walked over by itself.
"""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi.routing import APIRoute
from fastapi.testclient import TestClient

from pipelines.people.access import People
from pipelines.people.books import Books
from tests import rubbish
from tests.conftest import Place
from tests.pages.conftest import AT, served

KNOWN: dict[str, str] = {
    "line": "K1",
    "furnace": "F2",
    "day": "2026-03-10",
    "/hour/{day}/{name}.html name": "K1-06-1100",
    "/day/{name}.html name": "2026-03-10",
    "/day/{name}/{part}.html name": "2026-03-10",
    "/holds/{name} name": "H-0001",
    "/static/{name} name": "app.js",
    "batch": "1",
    "feed": "weight_checks",
    "signal": "S-1",
    "pallet": "P-1",
    "mould": "20",
    "station": "K1-foot",
    "path": "index.html",
    "part": "holds",
    "topic": "works",
    "from": "2026-03-10T08:00",
    "to": "2026-03-10T12:00",
    "made_from": "2026-03-10T08:00",
    "made_to": "2026-03-10T12:00",
    "item": "J370",
}
# Words that are days, times or numbers: what is none of them is answered with 400.
WHEN = dict.fromkeys(("day", "/day/{name}.html name", "/day/{name}/{part}.html name", "received"), rubbish.DAYS)
WHEN |= dict.fromkeys(("at", "from", "made_from", "made_to"), rubbish.MOMENTS) | dict.fromkeys(
    ("hours", "customer", "steady", "batch", "row"), rubbish.AMOUNTS
)
SAYS = re.compile(
    r"is not a (day|time) such as|is no time of a works|was put forward|is a whole number from|has at most [0-9]+ "
    r"characters"
)
TEXTS = (
    "",
    " ",
    "0001-01-01",
    "9999-12-31T23:59:59Z",
    "NaN",
    "-1",
    "9" * 400,
    "２０２６-03-10",
    "²",
    "\n",
    "'; drop table",
    "%",
    "{}",
)  # for all other words


@pytest.fixture(scope="module")
def client(site: Place) -> Iterator[TestClient]:
    """Somebody with every role."""
    people = People(Books(site.site.serve))
    people.add("E. Everything", ["supervisor", "quality", "admin"], "seven wide lehrs", AT)
    token = people.sign_in("E. Everything", "seven wide lehrs")
    test_client = served(site.site.root)
    test_client.cookies.set("coldledger", str(token))
    yield test_client
    test_client.app.state.web.desk.close()  # type: ignore[attr-defined]


def routes(app: Any) -> list[APIRoute]:
    return [each for each in every(app.routes) if isinstance(each, APIRoute)]


def every(of: Any) -> Iterator[Any]:
    for each in of:
        inner = getattr(each, "routes", None) or getattr(getattr(each, "original_router", None), "routes", None)
        if inner:
            yield from every(inner)
        else:
            yield each


def words(route: APIRoute) -> list[tuple[str, str]]:
    """(name, where) of what an address takes: in its path or its query."""
    rows = [(path_param.alias, "path") for path_param in route.dependant.path_params]
    return rows + [(query_param.alias, "query") for query_param in route.dependant.query_params]


def bad(route: APIRoute, name: str) -> tuple[str, ...] | None:
    """What cannot be for this word; None for a word that may be any text."""
    span = name == "to" and any(alias == "from" for alias, _ in words(route))
    return rubbish.MOMENTS if span else WHEN.get(f"{route.path} {name}", WHEN.get(name))


def ask(client: TestClient, route: APIRoute, name: str, value: str) -> Any:
    texts = {alias: KNOWN.get(f"{route.path} {alias}", KNOWN.get(alias, "")) for alias, _ in words(route)}
    texts[name] = value
    path = route.path
    for alias, where in words(route):
        if where == "path":
            from urllib.parse import quote

            path = re.sub(r"\{" + alias + r"(:\w+)?\}", lambda _, answer=texts.pop(alias): quote(answer, safe=""), path)
    query = {k: v for k, v in texts.items() if v or k == name}
    return client.get(path, params=query, follow_redirects=False)


def test_every_address_answers_whatever_is_typed(client: TestClient) -> None:
    """Each word of each address, with each text of the lists."""
    tried = 0
    for route in routes(client.app):
        for name, where in words(route):
            wrong = bad(route, name) if "GET" in (route.methods or ()) else ()
            for value in (wrong or TEXTS) if "GET" in (route.methods or ()) else ():
                answer = ask(client, route, name, value)
                tried += 1
                assert answer.status_code < 500, (route.path, name, value, answer.text[:300])
                left_out = where == "query" and value.strip() in ("", "2026-03-10")  # blanks about it do no harm
                if where == "query" and wrong and value in rubbish.WRITTEN:
                    assert answer.status_code == 303 and "=2026-03-" in answer.headers["location"], (route.path, value)
                elif wrong and not left_out and answer.status_code not in (404, 405):
                    assert answer.status_code == 400, (route.path, name, value, answer.status_code)
                    assert SAYS.search(answer.text), (route.path, name, value, answer.text[-2000:])
    assert tried > 600, "the walk found the routes"


def test_a_word_that_no_page_knows_is_told_everywhere(client: TestClient) -> None:
    """And the words that every page takes, where they say nothing that can be."""
    tried = 0
    for route in routes(client.app):
        if "GET" not in (route.methods or ()) or route.path in ("/health", "/metrics", "/static/{name}"):
            continue
        for name, value in (("nonsense", "1"), ("nonsense", ""), ("wall", "x"), ("sort", "x.y.z"), ("table", "x")):
            answer = ask(client, route, name, value)
            tried += 1
            assert answer.status_code == 400, (route.path, name, value, answer.status_code)
    assert tried > 100


def test_a_day_of_no_works_is_400_in_a_path_too(client: TestClient) -> None:
    for day in ("0001-01-01", "9999-12-31", "1999-12-31", "2101-01-01"):
        for address in (
            f"/day/{day}.html",
            f"/hour/{day}/K1-06-1100.html",
            f"/weights/{day}/K4.html",
            f"/laboratory/{day}/F2.html",
        ):
            answer = client.get(address)
            assert answer.status_code == 400 and "no time of a works" in answer.text, address


def test_a_span_of_ten_years_is_400_with_the_bound(client: TestClient) -> None:
    first, last = "2016-03-10", "2026-03-10"
    for address in (
        f"/moulds/K1?from={first}&to={last}",
        f"/feeds/doubts?from={first}&to={last}",
        f"/trace?item=J370&made_from={first}&made_to={last}",
    ):
        answer = client.get(address)
        assert answer.status_code == 400 and "this question bears at most" in answer.text, address


def test_forms_with_rubbish_are_answered_too(client: TestClient) -> None:
    """Each field of each form that somebody with every role may send; sign-out apart, which would end the walk."""
    from pipelines.pages.frame import masked

    person = client.app.state.web.people.of(client.cookies["coldledger"])  # type: ignore[attr-defined]
    for route in routes(client.app):
        if "POST" not in (route.methods or ()) or route.path in ("/sign-out", "/sign-in", "/people"):
            continue
        fields = [
            name for name in inspect.signature(route.endpoint).parameters if name not in ("request", "form_token")
        ]
        for field in fields:
            for value in rubbish.DAYS:
                path = re.sub(r"\{(\w+)\}", lambda found: {"batch": "1"}.get(found[1], "X-1"), route.path)
                texts = {"form_token": masked(person.form_token), field: value}
                answer = client.post(path, data=texts, follow_redirects=False)
                assert answer.status_code < 500, (route.path, field, value, answer.text[:300])


def test_a_file_among_the_reports_that_is_no_day_is_passed_over(client: TestClient, site: Place) -> None:
    strange = [site.site.reports / "day" / f"{name}.html" for name in ("zzzz-zz-zz", "9999-12-31")]
    strange += [site.site.reports / "weights" / name / "K1.html" for name in ("9999-12-31", "later")]
    for path in strange:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("x")
    for address in ("/day", "/weights/K1", "/laboratory"):
        assert client.get(address).status_code == 200, address
    for path in strange:
        path.unlink()
