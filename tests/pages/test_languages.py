"""One catalogue: English complete, every further language with the same keys and places; numbers in the works' way."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest

from pipelines import numbers
from pipelines.pages import texts as module
from pipelines.pages.texts import LANGUAGES, catalogue, places_of, preferred, texts
from pipelines.plant.tables import Pages
from tests.pages.conftest import Browser

Make = Callable[..., Browser]
FOLDER = Path(module.__file__).parent


def test_every_text_is_there_in_every_language_with_the_same_places() -> None:
    keys, reports = catalogue()
    for key, words in [*keys.items(), *((row["en"], row) for row in reports)]:
        assert set(words) == set(LANGUAGES), key
        assert len({frozenset(these_texts) for these_texts in places_of(words).values()}) == 1, key
        assert all(text.strip() for text in words.values()), key
    english = [row["en"] for row in reports]
    assert len(english) == len(set(english))


def test_every_key_that_the_pages_use_is_in_the_catalogue_and_no_other() -> None:
    code = "\n".join(path.read_text() for path in [*FOLDER.rglob("*.py"), *FOLDER.rglob("*.j2")])
    keys = set(catalogue()[0])
    used = set(re.findall(r"""\bt(?:exts)?\(\s*["']([a-z]+\.[a-z_]*[a-z])["']""", code)) | set(
        re.findall(r"""web\.texts\(request\)\(\s*["']([a-z]+\.[a-z_]+)["']""", code)
    )
    made = {k for k in keys if k.split(".")[0] in ("nav", "act", "role", "script") or k.startswith("frame.needs_")}
    assert used <= keys, used - keys
    assert keys <= used | made, keys - used - made


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


def test_a_phrase_with_places_is_translated_with_what_stands_in_them() -> None:
    assert texts("de").of_report("940 of 27 047 containers") == "940 von 27 047 Behältern"
    assert texts("de").of_report("far more than usual: 2.1 times") == "weit mehr als üblich: 2.1-fach"
    long = "Rejected: containers / ware. With the interval that 95 of 100 such hours keep."
    assert texts("de").of_report(long) == long, "a place that holds a number takes no sentence"
    assert texts("de").of_report("<b>unknown</b>") == "<b>unknown</b>" and texts("en").of_report("Line") == "Line"


def test_numbers_are_written_in_the_works_way() -> None:
    try:
        for way, text in (
            (Pages(), "−12\u2009345.68"),
            (Pages(decimal=",", thousands="."), "−12.345,68"),
            (Pages(decimal=",", thousands=""), "−12345,68"),
        ):
            numbers.use(way)
            assert numbers.decimals(-12345.678, 2) == text
        assert numbers.decimals(None) == "–"
    finally:
        numbers.use(Pages())


def test_the_catalogue_is_one_file() -> None:
    answer = tomllib.loads((FOLDER / "texts.toml").read_text(encoding="utf-8"))
    assert len(answer["report"]) > 150 and not list(FOLDER.glob("*.po"))
