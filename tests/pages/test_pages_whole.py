"""On a whole page every word is a message or a name: one that is neither is told by itself."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from pipelines.jobs.days import close_day
from pipelines.pages import texts as texts_module
from pipelines.pages.texts import texts
from pipelines.words import LANGUAGES, Catalogue, catalogue
from tests.conftest import Place
from tests.pages.conftest import Browser, peopled
from tests.pages.test_every_page_answers import DAY, PAGES
from tests.words.names import causes_of, names_of, refused_names
from tests.words.pseudo import Pseudo, unmarked, visible

Make = Callable[..., Browser]
# the reference is English in every language, and says so
REFERENCE = ("/help",)
ERRORS = ("/nothing", "/moulds/K1?hours=900", "/hour/K9", "/now?sort=x.y.z", "/now?wall=yes", "/day/2026-03-11.html")
# traces of what cannot be, of what is hardly known, and of no defect
TRACES = (
    "/trace?complaint=C-26-001",
    "/trace?complaint=C-26-001&customer=1",
    "/trace?complaint=C-26-001+C-26-001",
    "/trace?line=K1&mould=20&defect=CHS&made_from=2026-03-10T08:00&made_to=2026-03-10T12:00",
    "/trace?line=K1&mould=20&defect=SED&made_from=2026-03-10T08:00&made_to=2026-03-10T12:00&customer=1",
    "/trace?line=K1&mould=99&made_from=2026-03-10T08:00&made_to=2026-03-10T12:00",
    "/trace?line=K1&mould=20&made_from=2024-03-10T08:00&made_to=2024-03-10T12:00",
    "/trace?line=K2&made_from=2026-03-10T08:00&made_to=2026-03-10T12:00",
    "/trace?pallet=359012340000000111&line=K1&mould=20",
)
LABORATORY = tuple(f"/laboratory/2026-03-{day}.html" for day in ("10/F1", "10/F2", "11/F1"))
WEIGHTS = tuple(f"/weights/2026-03-{day}.html" for day in ("10/K1", "10/K2", "10/K4", "11/K1"))
WHOLE = [
    a
    for a in dict.fromkeys((*PAGES, *ERRORS, *TRACES, *LABORATORY, *WEIGHTS))
    if a in ERRORS or not a.startswith(REFERENCE)
]
REPORTS = ("/day/2026-03-10.html", *LABORATORY, *WEIGHTS)
NEITHER = {"de", "zz"}
CLAUSES = re.compile(r"\(ISO [^)]+\)")  # a standard's own numbers of its clauses, no quantities


@pytest.fixture(scope="module")
def site(day_taken: Place, tmp_path_factory: pytest.TempPathFactory) -> Place:
    """The day is closed: its report is what its close kept."""
    place = peopled(day_taken, tmp_path_factory.mktemp("whole") / "site")
    close_day(place.opened, DAY)
    return place


@pytest.fixture
def pseudo(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The language zz, for as long as the test lasts."""

    def of(language: str) -> Catalogue:
        return Pseudo("zz", {}) if language == "zz" else catalogue(language)

    monkeypatch.setitem(LANGUAGES, "zz", "Pseudo")
    monkeypatch.setattr(texts_module, "catalogue", of)
    texts.cache_clear()
    yield
    texts.cache_clear()


def _names(site: Place, address: str) -> set[str]:
    """The names that may stand on a page, the words of its address among them."""
    names = names_of(site) | set(re.findall(r"[^\W\d_]{2,}", address))
    names |= (
        causes_of(site)
        if address.startswith(("/times/", "/day/", "/machine/", "/trace?", "/mould/", "/station/", "/weights/"))
        else set()
    )
    return names | (refused_names(site) if address == "/feeds" else set())


def _page(browser: Make, address: str, language: str) -> str:
    client = browser().client
    client.cookies.set("coldledger_language", language)
    return client.get(address).text


@pytest.mark.parametrize("address", WHOLE)
def test_every_word_of_a_page_is_a_message_or_a_name(address: str, browser: Make, site: Place, pseudo: None) -> None:
    page = _page(browser, address, "zz")
    assert page.count("⟦") > 5
    names = _names(site, address)
    found = dict(unmarked(page, names))
    assert found == {}, "words that no language but English has"


@pytest.mark.parametrize("address", ["/hour/K1", "/now", "/moulds/K1", "/feeds", "/sign-in", *REPORTS, *TRACES])
def test_a_german_page_has_no_english_sentence(address: str, browser: Make, site: Place) -> None:
    """Every template that the English page says is written otherwise by the German catalogue, or alike in it."""
    english = set(visible(_page(browser, address, "en")))
    german = visible(_page(browser, address, "de"))
    entries = catalogue("de").entries.items()
    alike = {same for (_, text), (same, *_) in entries if text == same}
    others = {same for (_, text), (same, *_) in entries if text != same}  # "Station" is what a section is in German
    names = _names(site, address) | {word for text in alike for word in re.findall(r"[^\W\d_]{2,}", text)}
    left = [
        text
        for text in german
        if text in english - others and any(word not in names for word in re.findall(r"[^\W\d_]{2,}", text))
    ]
    assert left == []


def test_a_works_that_writes_a_decimal_comma_has_no_point_on_its_hour(
    day_taken: Place, tmp_path: Path, browser: Make
) -> None:
    from pipelines import numbers
    from pipelines.plant.tables import Pages
    from tests.pages.conftest import served

    place = peopled(day_taken, tmp_path / "site")
    works = place.site.works_toml
    works.write_text(works.read_text() + '\n[pages]\nlanguage = "de"\ndecimal = ","\nthousands = "."\n')
    try:
        numbers.use(place.plant.pages)
        close_day(place.opened, DAY)
        client = served(place.site.root)
        found = [
            (text, point)
            for address in ("/hour/K1", "/now", "/moulds/K1", *REPORTS, *TRACES)
            for text in visible(client.get(address).text)
            if "archive/" not in text
            for point in re.findall(r"(?<![\d.:-])\d+\.\d{1,2}(?![\d.])", CLAUSES.sub("", text))
        ]
        assert found == []
        assert re.search(r"\d,\d", client.get("/hour/K1").text)
    finally:
        numbers.use(Pages())


def test_cards_of_moulds_are_not_called_signals(browser: Make) -> None:
    page = browser().get("/weights/2026-03-10/K4.html")
    assert page.count('<article class="card') > 1
    assert "signals, the most harmful first" not in page
