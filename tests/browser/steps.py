"""What a person does in a browser: opens, tabs, waits, signs in."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import suppress

from playwright.sync_api import Browser, Error, Page

from tests.pages.conftest import PASSWORDS

LIMIT_MS = 180_000  # ends a test that hangs; other tests run beside these


def opened(chromium: Browser, width: int, scheme: str) -> Iterator[Page]:
    context = chromium.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme, locale="en-GB")  # type: ignore[arg-type]
    context.set_default_timeout(LIMIT_MS)
    page = context.new_page()
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on(
        "console",
        lambda message: (
            wrong.append(message.text) if message.type == "error" and "status of 4" not in message.text else None
        ),
    )
    page.on(
        "request",
        lambda request: wrong.append(request.url) if not request.url.startswith("http://127.0.0.1:") else None,
    )
    yield page
    context.close()
    assert not wrong, wrong


def tab_to(page: Page, what: str, most: int = 200) -> None:
    """Press Tab until the element that `what` describes has the focus; every stop on the way must be visible."""
    for _ in range(most):
        page.keyboard.press("Tab")
        if page.evaluate("(what) => document.activeElement && document.activeElement.matches(what)", what):
            return
    raise AssertionError(f"the keyboard does not reach {what} within {most} stops")


def wait(page: Page, true: str, seconds: float = 120) -> None:
    """Until a JavaScript expression is true; asked from outside, because the pages allow no evaluation of texts
    inside.
    """
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        with suppress(Error):  # the page is just being left
            if page.evaluate(true):
                return
        time.sleep(0.1)
    raise AssertionError(true)


def sign_in(page: Page, address: str, name: str, to: str = "/now") -> None:
    """By keyboard."""
    page.goto(f"{address}/sign-in?to={to}")
    tab_to(page, "input[name=name]")
    page.keyboard.type(name)
    page.keyboard.press("Tab")
    page.keyboard.type(PASSWORDS[name])
    page.keyboard.press("Enter")
    page.wait_for_url(lambda url: "/sign-in" not in url)
    assert page.locator(".who").inner_text().startswith(name)
