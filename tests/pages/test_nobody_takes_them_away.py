"""Guesses, many questions at once and strangers: the pages go on, nobody is locked out by another, and strangers learn
nothing.
"""

from __future__ import annotations

import stat
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import httpx
import pytest
from fastapi.testclient import TestClient

from pipelines.errors import WrongUse
from pipelines.pages.tries import FREE, FREE_OF_ADDRESS
from pipelines.pages.turns import ALL, EACH, TooMany, Turns
from pipelines.pages.web import Options
from pipelines.people import access as people_module
from pipelines.people.access import People
from pipelines.people.books import Books
from pipelines.reports.frame.order import Order, ordered
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.settings import keep_private
from pipelines.site.folder import close_to_others
from tests.conftest import Place
from tests.pages.conftest import AT, PASSWORDS, Browser, listening, served
from tests.pages.test_whatever_is_typed import routes

Make = Callable[..., Browser]
BEYOND = Options(open_reading=False, hosts=("testserver", "127.0.0.1"), grace_s=0)


def test_many_names_from_one_address_are_turned_away_and_the_owner_is_not(site: Place) -> None:
    """Over a restart too: who signed in well from there before stays known."""

    def tried(client: TestClient, name: str, password: str) -> int:
        return client.post("/sign-in", data={"name": name, "password": password}, follow_redirects=False).status_code

    before = served(site.site.root)
    assert tried(before, "Q. Quality", PASSWORDS["Q. Quality"]) == 303
    client = served(site.site.root)
    numbers = [tried(client, f"N. Name{n}", "a guess of mine") for n in range(14)]
    assert numbers == [401] * FREE_OF_ADDRESS + [429] * (14 - FREE_OF_ADDRESS)
    assert tried(client, "S. Shift", PASSWORDS["S. Shift"]) == 429, "not known there yet"
    assert tried(client, "Q. Quality", PASSWORDS["Q. Quality"]) == 303


def test_two_hundred_guesses_at_once_are_five_that_are_looked_at(address: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Counted: how many passwords were looked at, and how many at the same time."""
    looked, together, most, lock = [0], [0], [0], threading.Lock()
    real = people_module._hasher()

    class Slow:
        def verify(self, *texts: str) -> bool:
            with lock:
                looked[0] += 1
                together[0] += 1
                most[0] = max(most[0], together[0])
            try:
                time.sleep(0.05)
                return real.verify(*texts)
            finally:
                with lock:
                    together[0] -= 1

        hash = real.hash

    monkeypatch.setattr(people_module, "_hasher", Slow)
    with (
        ThreadPoolExecutor(50) as many,
        httpx.Client(base_url=address, timeout=60, limits=httpx.Limits(max_connections=50)) as found,
    ):
        responses = list(
            many.map(
                lambda n: found.post("/sign-in", data={"name": "Q. Quality", "password": f"guess {n}"}), range(200)
            )
        )
    assert {answer.status_code for answer in responses} == {401, 429}
    assert looked[0] <= FREE and most[0] <= 2
    late = next(answer for answer in responses if answer.status_code == 429)
    assert int(late.headers["Retry-After"]) > 0 and "wait" in late.text


@pytest.fixture(scope="module")
def address(site: Place) -> Iterator[str]:
    """The pages, answered on a loopback port."""
    with listening(site) as text:
        yield text


def test_eighty_traces_at_once_leave_health_and_sign_in_quick(address: str) -> None:
    """The clients are made before: making eighty of them takes seconds of the processor that the pages run on."""
    wide = httpx.Limits(max_connections=100)

    def trace(client: httpx.Client, n: int) -> tuple[int, str]:
        made = f"made_from=2026-03-10T{n % 20:02d}:00&made_to=2026-03-10T{n % 20 + 2:02d}:{n % 60:02d}"
        answer = client.get(f"/trace?line=K1&mould={20 + n}&{made}")
        return answer.status_code, answer.headers.get("Retry-After", "")

    with (
        httpx.Client(base_url=address, timeout=300, limits=wide) as readers,
        httpx.Client(base_url=address, timeout=30) as monitor,
        ThreadPoolExecutor(80) as many,
    ):
        monitor.get("/health")
        asked = [many.submit(trace, readers, n) for n in range(80)]
        took = []
        while not all(future.done() for future in asked) and len(took) < 100:
            for path in ("/health", "/sign-in"):
                begun = time.monotonic()
                assert monitor.get(path).status_code in (200, 503)
                took.append(time.monotonic() - begun)
    pairs = [future.result() for future in asked]
    assert {status for status, _ in pairs} <= {200, 400, 429} and all(after for status, after in pairs if status == 429)
    assert any(status == 429 for status, _ in pairs), "eighty are more than one reader is answered at once"
    assert took and max(took) < LIMIT_S, sorted(took)[-5:]


LIMIT_S = 1.0


def test_one_reader_fills_the_row_for_nobody_else() -> None:
    turns, held = Turns(), []
    for n in range(EACH):
        held.append(turns.wanted("a", n))
        held[-1].__enter__()
    with pytest.raises(TooMany), turns.wanted("a", "more"):
        pass
    with turns.wanted("a", 1), turns.wanted("b", "more"), turns.wanted("", "ours"):
        pass  # what is asked for already, another reader, and the pages' own making
    others = [turns.wanted(f"r{n}", f"page {n}") for n in range(ALL - EACH)]
    for other in others:
        other.__enter__()
    with pytest.raises(TooMany), turns.wanted("last", "new"):
        pass
    with turns.wanted("last", 3):
        pass  # somebody else waits for that page already
    for other in [*held, *others]:
        other.__exit__(None, None, None)
    assert not turns._asked


def test_a_workbook_is_made_once(browser: Make, monkeypatch: pytest.MonkeyPatch) -> None:
    from pipelines.pages import web

    made, real = [0], web.write_workbook
    monkeypatch.setattr(web, "write_workbook", lambda *answer: (made.__setitem__(0, made[0] + 1), real(*answer)))
    this_browser = browser()
    first = this_browser.client.get("/hour/2026-03-10/K1-06-1100.html?as=xlsx")
    again = this_browser.client.get("/hour/2026-03-10/K1-06-1100.html?as=xlsx")
    assert (
        first.content == again.content
        and made[0] == 1
        and first.headers["Content-Disposition"] == again.headers["Content-Disposition"]
    )
    assert (
        this_browser.client.get("/hour/2026-03-10/K1-06-1100.html?as=xlsx&table=by-defect").content != first.content
        and made[0] == 2
    )


def test_before_sign_in_nothing_answers_but_the_way_in(site: Place) -> None:
    client = served(site.site.root, BEYOND)
    seen = 0
    for route in routes(client.app):
        for method in route.methods or ():
            if route.path in ("/sign-in", "/health", "/static/{name}"):
                continue
            path = route.path.replace("{path:path}", "index.html").replace("{line}", "NOPE").replace("{batch}", "1")
            answer = client.request(method, path.replace("{", "").replace("}", ""), follow_redirects=False)
            seen += 1
            way = answer.headers.get("location", "").startswith("/sign-in?to=")
            assert (answer.status_code == 303 and way) or answer.status_code == 401, (
                method,
                route.path,
                answer.status_code,
            )
            assert not any(line in answer.text for line in ("K1", "K4", "F2")), route.path
    assert seen > 30
    for path in ("/openapi.json", "/docs", "/redoc", "/nothing", "/hour/NOPE", "/day", "/hour", "/reports/index.html"):
        answer = client.get(path, follow_redirects=False)
        assert answer.headers.get("location", "").startswith("/sign-in?to=") and not answer.text, path
        assert "2026" not in answer.headers["location"] and "K1" not in answer.headers["location"]
    assert client.get("/health").json() == {"status": "ok"}
    assert client.get("/static/app.css").status_code == 200


def test_a_mistake_in_works_toml_is_not_told_to_strangers(site: Place) -> None:
    client = served(site.site.root, BEYOND)
    before = site.site.works_toml.read_text(encoding="utf-8")
    try:
        site.site.works_toml.write_text(before + '\n[[line]]\nid = "K9"\n', encoding="utf-8")
        text = client.get("/sign-in").text
        assert "K9" not in text and "[[line]]" not in text and client.get("/health").json() == {"status": "trouble"}
        client.post("/sign-in", data={"name": "R. Reader", "password": PASSWORDS["R. Reader"]})
        assert "[[line]]" in client.get("/feeds").text and "problems" in client.get("/health").json()
    finally:
        site.site.works_toml.write_text(before, encoding="utf-8")


def test_the_sign_in_says_what_needs_one_there(site: Place) -> None:
    """Where the pages are shown beyond this computer, reading needs one too."""
    here, beyond = "Reading needs no sign-in on the works&#39; own computer", "Here reading needs a sign-in too"
    answer = served(site.site.root, BEYOND).get("/sign-in").text
    assert beyond in answer and here not in answer
    answer = served(site.site.root).get("/sign-in").text
    assert here in answer and beyond not in answer


def test_after_sign_in_everything_is_there_but_the_description(site: Place) -> None:
    client = served(site.site.root, BEYOND)
    client.post("/sign-in", data={"name": "R. Reader", "password": PASSWORDS["R. Reader"]})
    assert client.get("/hour/NOPE").status_code == 404 and "K1" in client.get("/hour/NOPE").text
    assert client.get("/openapi.json").status_code == 404


def test_the_last_admin_stays(tmp_path: Path) -> None:
    people = People(Books(tmp_path))
    people.add("A. One", ["admin", "quality"], "keys of the house", AT)
    for change in (
        lambda: people.end("A. One", AT),
        lambda: people.add("A. One", ["quality"], "keys of the house", AT),
    ):
        with pytest.raises(WrongUse, match="is the last admin"):
            change()
    assert people.sign_in("A. One", "keys of the house") and people.has("admin")
    people.add("A. One", ["admin"], "other keys of the house", AT)
    people.add("A. Two", ["admin"], "keys of the house", AT)
    people.end("A. One", AT)
    with pytest.raises(WrongUse, match="is the last admin"):
        people.end("A. Two", AT)
    with pytest.raises(WrongUse, match="nobody is called"):
        people.end("A. Three", AT)
    people.add("A. One", ["reader"], "keys of the house", AT)
    people.end("A. One", AT)


def test_the_last_admin_is_told_so_on_the_page(browser: Make, site: Place) -> None:
    people = People(Books(site.site.serve))
    for texts in people.everybody():
        if "admin" in str(texts["roles"]) and texts["name"] != "A. Admin" and texts["ended_at"] is None:
            people.end(str(texts["name"]), AT)
    admin = browser("A. Admin")
    answer = admin.post("/people", token_from="/people", end="A. Admin", sure="yes")
    assert answer.status_code == 400 and "last admin" in answer.text  # type: ignore[attr-defined]
    assert admin.client.get("/people").status_code == 200


@pytest.mark.parametrize("kind", ["text", "id", "count", "percent"])
def test_sorting_never_fails_on_text(kind: str) -> None:
    cells = [
        "mould 9",
        "mould 10",
        "m²",
        "²",
        "３",
        "١",
        "",
        None,
        7,
        7.5,
        float("nan"),
        float("inf"),
        "9" * 500,
        True,
        "①",
        "x\u0000",
        [1],
        b"x",
    ]
    sheet = Sheet("s", "S", (Column("a", "A", kind),), [{"a": cell} for cell in cells])
    for down in (False, True):
        assert sorted(ordered(sheet, Order("s", "a", down))) == list(range(len(cells)))
    if kind == "text":
        pieces = [cells[n] for n in ordered(sheet, Order("s", "a", False))]
        assert pieces.index("mould 9") < pieces.index("mould 10")


def test_a_table_with_a_superscript_is_answered_sorted(site: Place) -> None:
    client = TestClient(served(site.site.root).app, raise_server_exceptions=False)
    site.put("station_counts.K1²³.csv", "x\n1\n")
    site.take()
    assert client.get("/feeds?sort=refused.file.asc").status_code == 200


def test_what_is_written_is_for_the_account_and_its_group(tmp_path: Path) -> None:
    import os

    before = os.umask(0o022)
    try:
        keep_private()
        place = Place(tmp_path / "site")
        place.put(
            "station_counts.K1.csv",
            "window_start,line,station,mould,window_s,inspected,rejected\n"
            "2026-03-02T09:00:00+01:00,K1,K1-side-a,11,60,10,1\n",
        )
        place.take()
        People(Books(place.site.serve)).add("A. One", ["admin"], "keys of the house", AT)
        for path in place.site.root.rglob("*"):
            assert not stat.S_IMODE(path.stat().st_mode) & 0o007, path
        os.umask(0o077)
        keep_private()
        assert os.umask(0o022) == 0o077, "a stricter mask stays"
    finally:
        os.umask(before)


def test_a_site_of_before_is_closed_to_others(new_place: Callable[[], Place]) -> None:
    place = new_place()
    place.put(
        "station_counts.K1.csv",
        "window_start,line,station,mould,window_s,inspected,rejected\n"
        "2026-03-02T09:00:00+01:00,K1,K1-side-a,11,60,10,1\n",
    )
    place.take()
    place.site.archive.chmod(0o755)
    place.site.ledger.chmod(0o644)
    close_to_others(place.site)
    assert [stat.S_IMODE(path.stat().st_mode) for path in (place.site.archive, place.site.ledger)] == [0o750, 0o640]
