"""What lies under reports/: what `[reports]` names, nothing else; every link of every page there can be followed."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from html import unescape
from pathlib import Path

import pytest

from pipelines.flows.steps import Steps, close, intake, plainly, rebuild
from pipelines.pages.app import create_app
from pipelines.pages.web import Options
from pipelines.reports.frame.lying import AWAY, leads_to, linked
from pipelines.settings import Settings
from tests.conftest import HEAD, Place, one_furnace

DAY = date(2026, 1, 5)
ONE_LINE = one_furnace(lines=("K1",))
SERVED = "https://ledger.works.example/cold"


def counts(day: date, hours: tuple[int, ...] = (10, 11)) -> str:
    rows = (
        f"{day}T{h:02d}:{m:02d}:00Z,K1,K1-side-a,{k},60,{9 + k},1\n" for h in hours for m in range(60) for k in (1, 2)
    )
    return HEAD + "".join(rows)


def works(reports: str = "") -> str:
    return ONE_LINE + (f"\n[reports]\n{reports}\n" if reports else "")


def run(place: Place, *days: date) -> None:
    """Counts of each day taken in and the day closed, one after another."""
    for day in days:
        place.put(f"station_counts.{day}.csv", counts(day))
        place.settings = Settings(fixed_now=datetime(day.year, day.month, day.day, 8, tzinfo=UTC) + timedelta(days=1))
        intake(Steps().begin(plainly), place.opened)
        close(Steps().begin(plainly), place.opened)


def lying(place: Place) -> list[str]:
    root = place.site.reports
    return sorted(path.relative_to(root).as_posix() for path in root.rglob("*.html"))


def links(place: Place) -> Iterator[tuple[str, str, str]]:
    """(page, address, place it is for) of each link of each page."""
    root = place.site.reports
    for page in lying(place):
        for tag in re.findall(r"<a\b[^>]*>", (root / page).read_text(encoding="utf-8")):
            found = re.search(r'(?:^| )(?:xlink:)?href="([^"]*)"', tag)
            if found and not found[1].startswith("#"):
                address = unescape(found[1])
                yield page, address, "" if "://" in address else str((root / page).parent / address)


def dead(place: Place) -> list[tuple[str, str]]:
    return [(page, address) for page, address, path in links(place) if path and not Path(path).exists()]


def test_the_day_s_pages_lie_there_no_hours_and_no_link_is_dead(tmp_path: Path) -> None:
    place = Place(tmp_path / "site", works())
    run(place, DAY)
    assert lying(place) == [
        "day/2026-01-05.html",
        "day/2026-01-05/figures.html",
        "day/2026-01-05/holds.html",
        "day/2026-01-05/laboratory.html",
        "holds.html",
        "index.html",
        "laboratory/2026-01-05/F1.html",
        "machine/2026-01-05/K1.html",
        "weights/2026-01-05/K1.html",
    ]
    assert dead(place) == [] and len(list(links(place))) > 8
    text = (place.site.reports / "day/2026-01-05.html").read_text()
    assert AWAY in text and '<a data-to="../day/2026-01-06.html">day after →</a>' in text
    run(place, DAY + timedelta(days=1))
    text = (place.site.reports / "day/2026-01-05.html").read_text()
    assert '<a href="../day/2026-01-06.html">day after →</a>' in text, "it is a link when its page has come"
    assert dead(place) == []


def test_every_page_of_hours_is_joined_where_the_works_wants_them(tmp_path: Path) -> None:
    place = Place(tmp_path / "site", works('pages = ["hour"]'))
    run(place, DAY)
    assert [page for page in lying(place) if page.startswith(("hour", "weights", "laboratory"))] == [
        "hour/2026-01-05/K1-06-1100.html",
        "hour/2026-01-05/K1-07-1200.html",
    ]
    assert dead(place) == []
    text = (place.site.reports / "hour/2026-01-05/K1-06-1100.html").read_text()
    assert '<a href="../../hour/2026-01-05/K1-07-1200.html">hour after →</a>' in text
    assert '<a href="../../day/2026-01-05.html">the day</a>' in text, "the day was closed after the hour was written"
    machine = (place.site.reports / "machine/2026-01-05/K1.html").read_text()
    assert '<a href="../../hour/2026-01-05/K1-06-1100.html"' in machine


def test_what_does_not_lie_there_is_shown_by_the_served_site_where_its_address_is_known(tmp_path: Path) -> None:
    place = Place(tmp_path / "site", works(f'pages = []\naddress = "{SERVED}/"'))
    run(place, DAY)
    away = sorted({address for _, address, path in links(place) if not path})
    assert dead(place) == [] and f"{SERVED}/hour/2026-01-05/K1-06-1100.html" in away
    assert all(AWAY not in (place.site.reports / page).read_text() for page in lying(place))
    from fastapi.testclient import TestClient

    app = create_app(place.site.root, place.settings, Options(hosts=("testserver",), grace_s=0))
    client = TestClient(app)
    answers = {address: client.get(address.removeprefix(SERVED)).status_code for address in away}
    assert set(answers.values()) == {200} and len(away) > 10, answers
    assert client.get("/weights/K1", follow_redirects=False).headers["location"] == "/weights/2026-01-05/K1.html"
    assert client.get("/laboratory/F1", follow_redirects=False).headers["location"] == "/laboratory/2026-01-05/F1.html"


def test_a_page_of_an_earlier_list_stays_and_is_kept_true_and_no_other_is_begun(tmp_path: Path) -> None:
    place = Place(tmp_path / "site", works('pages = ["hour"]'))
    run(place, DAY)
    old = place.site.reports / "hour/2026-01-05/K1-06-1100.html"
    before = old.read_text()
    place.site.works_toml.write_text(works())
    place.put("station_counts.late.csv", HEAD + "2026-01-05T10:00:00Z,K1,K1-side-a,1,60,10,9\n")
    place.put("station_counts.more.csv", counts(DAY, (12,)))
    intake(Steps().begin(plainly), place.opened)
    assert old.exists() and old.read_text() != before
    assert not (place.site.reports / "hour/2026-01-05/K1-08-1300.html").exists()
    index = (place.site.reports / "index.html").read_text()
    assert "names no hours in `[reports]`" in index and "hour/2026-01-05/K1-07-1200.html" in index
    old.unlink()
    rebuild(Steps().begin(plainly), place.opened, DAY, DAY)
    assert not old.exists(), "what a person took away does not come back"
    assert dead(place) == []


def test_pages_named_later_are_written_by_a_rebuild(tmp_path: Path) -> None:
    place = Place(tmp_path / "site", works())
    run(place, DAY)
    place.site.works_toml.write_text(works('pages = ["hour", "weights"]'))
    rebuild(Steps().begin(plainly), place.opened, DAY, DAY)
    assert len([page for page in lying(place) if page.startswith("hour/")]) == 24
    assert dead(place) == []


@pytest.mark.parametrize(
    ("before", "there", "address", "after"),
    [
        ('<a href="../b/c.html">', True, "", '<a href="../b/c.html">'),
        ('<a href="../b/c.html">', False, "", '<a data-to="../b/c.html">'),
        ('<a data-to="../b/c.html" class="x">', True, "", '<a href="../b/c.html" class="x">'),
        ('<a href="../b/c.html#s">', False, "https://h", '<a href="https://h/b/c.html" data-to="../b/c.html#s">'),
        ('<a href="https://h/b/c.html" data-to="../b/c.html">', True, "https://h", '<a href="../b/c.html">'),
        ('<a href="https://h/b/c.html" data-to="../b/c.html">', False, "", '<a data-to="../b/c.html">'),
        ('<a href="#here">', False, "", '<a href="#here">'),
        ('<a href="mailto:a@b">', False, "", '<a href="mailto:a@b">'),
        ('<a id="n">', False, "", '<a id="n">'),
        (
            '<a href="../&lt;x&gt;.html">',
            False,
            'h://h"',
            '<a href="h://h&quot;/&lt;x&gt;.html" data-to="../&lt;x&gt;.html">',
        ),
    ],
)
def test_a_link_is_what_can_be_followed(before: str, there: bool, address: str, after: str) -> None:
    whole = f"{before}c</a><footer></footer>"
    text = linked(whole, "a/p.html", lambda _: there, address)
    assert text.startswith(after), text
    assert linked(text, "a/p.html", lambda _: there, address) == text, "doing it again changes nothing"
    assert (AWAY in text) == (after.startswith("<a data-to"))
    assert set(leads_to(text, "a/p.html")) == set(leads_to(whole, "a/p.html"))
