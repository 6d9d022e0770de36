"""The reference under /help: whoever may read the pages may read it, and nobody else."""

from __future__ import annotations

from collections.abc import Callable

from pipelines.help import TOPICS
from pipelines.pages.web import Options
from tests.conftest import Place
from tests.pages.conftest import Browser, served


def test_the_help_pages_need_no_more_than_to_read_and_are_headed_in_the_readers_language(
    browser: Callable[..., Browser],
) -> None:
    this_browser = browser()
    text = this_browser.get("/help")
    assert all(f'href="/help/{topic.name}"' in text for topic in TOPICS)
    assert this_browser.client.get("/help/nothing").status_code == 404
    assert this_browser.client.get("/help/lab").text.count("<h1>") == 1
    this_browser.client.post("/language", data={"language": "de", "to": "/help"})
    german = this_browser.get("/help")
    assert "<h1>Hilfe</h1>" in german and '<div class="help" lang="en">' in german


def test_strangers_read_no_help_where_reading_needs_a_sign_in(site: Place) -> None:
    closed = served(site.site.root, Options(hosts=("testserver",), grace_s=0, open_reading=False))
    for path in ("/help", "/help/trace"):
        answer = closed.get(path, follow_redirects=False)
        assert answer.status_code == 303 and answer.headers["location"].startswith("/sign-in")
    closed.app.state.web.desk.close()  # type: ignore[attr-defined]
