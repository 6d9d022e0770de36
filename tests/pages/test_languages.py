"""Each reader's language; numbers in the works' way."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from pipelines import numbers
from pipelines.pages.texts import preferred
from pipelines.plant.tables import Pages
from tests.pages.conftest import Browser

Make = Callable[..., Browser]


def test_a_page_is_shown_in_the_language_chosen(browser: Make) -> None:
    this_browser = browser()
    assert "Every line now" in this_browser.get("/now")
    assert (
        this_browser.client.post("/language", data={"language": "de", "to": "/now"}, follow_redirects=False).headers[
            "location"
        ]
        == "/now"
    )
    text = this_browser.get("/now")
    assert (
        '<html lang="de"' in text
        and "Alle Linien jetzt" in text
        and "Rückverfolgung" in text
        and "Every line now" not in text
    )
    assert "nicht beurteilt" in text and "not judged" not in text, "a first day has no past to be judged by"
    assert (
        this_browser.client.post("/language", data={"language": "xx", "to": "/now"}, follow_redirects=False).status_code
        == 303
    )
    assert "Alle Linien jetzt" in this_browser.get("/now")


def test_the_browsers_language_is_taken_where_nothing_was_chosen(browser: Make) -> None:
    assert "Alle Linien jetzt" in browser().get("/now", headers={"Accept-Language": "fr, de-AT;q=0.8, en;q=0.5"})


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        ("de", "de"),
        ("en-GB,de;q=0.5", "en"),
        ("fr;q=0.9, de;q=0.2, en;q=0.1", "de"),
        ("", "en"),
        ("*", "en"),
        ("de;q=0", "en"),
        ("de;q=x,en", "en"),
        ("x" * 5000, "en"),
    ],
)
def test_preferences_are_read_by_their_weights(header: str, expected: str) -> None:
    """RFC 9110, 12.4.2 and 12.5.4: a weight of 0 means not acceptable."""
    assert preferred(header, "en") == expected


def test_numbers_are_written_in_the_works_way() -> None:
    try:
        for way, text in (
            (Pages(), "−12\u202f345.68"),
            (Pages(decimal=",", thousands="."), "−12.345,68"),
            (Pages(decimal=",", thousands=""), "−12345,68"),
        ):
            numbers.use(way)
            assert numbers.decimals(-12345.678, 2) == text
        assert numbers.decimals(None) == "–"
    finally:
        numbers.use(Pages())
