"""A site with a simulated day, served to a test client."""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest
import uvicorn
from fastapi.testclient import TestClient

from pipelines.pages.app import create_app
from pipelines.pages.web import Options
from pipelines.people.access import People
from pipelines.people.books import Books
from pipelines.settings import Settings
from tests.conftest import Place

AT = datetime(2026, 3, 11, 5, 10, tzinfo=UTC)  # ten minutes after the simulated day's end
PASSWORDS = {
    "R. Reader": "quiet green bottle",
    "S. Shift": "seven wide lehrs",
    "Q. Quality": "honest amber glass",
    "A. Admin": "keys of the house",
}
ROLES = {"R. Reader": "reader", "S. Shift": "supervisor", "Q. Quality": "quality", "A. Admin": "admin"}


class Browser:
    """A reader's browser: keeps cookies, signs in, fills in forms as they stand on the page."""

    def __init__(self, client: TestClient):
        self.client = client

    def get(self, address: str, **more: object) -> str:
        answer = self.client.get(address, **more)  # type: ignore[arg-type]
        assert answer.status_code == 200, (answer.status_code, address, answer.text[:500])
        return answer.text

    def sign_in(self, name: str) -> None:
        answer = self.client.post("/sign-in", data={"name": name, "password": PASSWORDS[name]}, follow_redirects=False)
        assert answer.status_code == 303, answer.text

    def token(self, address: str = "/holds") -> str:
        found = re.search(r'name="form_token" value="([^"]+)"', self.get(address))
        assert found
        return found[1]

    def post(self, address: str, token_from: str = "/holds", **fields: object) -> object:
        return self.client.post(address, data={"form_token": self.token(token_from), **fields}, follow_redirects=False)  # type: ignore[arg-type]


@contextmanager
def listening(place: Place, options: Options | None = None) -> Iterator[str]:
    """The pages of a site, answered on a loopback port; their address."""
    app = create_app(place.site.root, place.settings, options or Options(grace_s=0))
    server = uvicorn.Server(uvicorn.Config(app, port=0, log_level="error"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        assert thread.is_alive(), "the server ended before it listened"
        time.sleep(0.05)
    yield f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}"
    server.should_exit = True
    thread.join(10)


def served(root: Path, options: Options | None = None) -> TestClient:
    """A client of the site's pages; what goes wrong inside is answered as it would be to a reader."""
    app = create_app(root, Settings(fixed_now=AT, lock_wait_s=5), options or Options(hosts=("testserver",), grace_s=0))
    return TestClient(app, raise_server_exceptions=False)


def peopled(day: Place, root: Path) -> Place:
    """A copy of a site, ten minutes after its day, with people who can sign in."""
    place = day.copied(root, Settings(fixed_now=AT, lock_wait_s=20))
    people = People(Books(root / ".serve"))
    for name, password in PASSWORDS.items():
        people.add(name, [ROLES[name]], password, AT)
    return place


@pytest.fixture(scope="module")
def site(day_taken: Place, tmp_path_factory: pytest.TempPathFactory) -> Place:
    """A copy of the simulated day's site that a test module may write to, with people who can sign in."""
    return peopled(day_taken, tmp_path_factory.mktemp("served") / "site")


@pytest.fixture
def browser(site: Place) -> Iterator[Callable[[str | None], Browser]]:
    """Makes browsers; with a name, one that is signed in."""
    app = served(site.site.root).app

    def make(name: str | None = None) -> Browser:
        this_browser = Browser(TestClient(app, raise_server_exceptions=False))
        if name:
            this_browser.sign_in(name)
        return this_browser

    yield make
    app.state.web.desk.close()  # type: ignore[attr-defined]
