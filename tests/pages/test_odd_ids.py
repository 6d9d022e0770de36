"""Ids with signs that an address gives a meaning: every link still leads to its page."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape

import duckdb
import pytest

from tests.conftest import Place
from tests.pages.conftest import Browser, served

ODD = {"K1-foot": "K1#foot?1%", "K1-mouth": "mouth&=+1", "CHS": "C#H?S%41", "STN": "S+T&=N", "J370": "J#3?70%"}
BAD = str.maketrans({"&": "_"})  # the plant file allows no &
PAGES = (
    "/now",
    "/now?wall=1",
    "/hour/K1",
    "/times/K1?hours=24",
    "/moulds/K1",
    "/signals",
    "/feeds",
    "/day/2026-03-10.html",
    "/machine/2026-03-10/K1.html",
    "/weights/2026-03-10/K1.html",
    "/trace?line=K1&mould=20&defect=C%23H%3FS%2541&made_from=2026-03-10T08:00&made_to=2026-03-10T12:00",
    "/station/K1%23foot%3F1%25",
    "/find?q=foot",
)


@pytest.fixture(scope="module")
def browser(day_taken: Place, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    place = day_taken.copied(tmp_path_factory.mktemp("odd") / "site")
    works = place.site.works_toml.read_text(encoding="utf-8")
    with duckdb.connect(str(place.site.ledger)) as con:
        columns = con.execute(
            "select table_name, column_name from information_schema.columns join information_schema.tables "
            "using (table_name) where data_type = 'VARCHAR' and table_type = 'BASE TABLE'"
        ).fetchall()
        for old, odd in ODD.items():
            new = odd.translate(BAD)
            works = works.replace(f'"{old}"', f'"{new}"').replace(f"{old} =", f'"{new}" =')
            for table, column in columns:
                con.execute(f'update {table} set "{column}" = ? where "{column}" = ?', [new, old])
    place.site.works_toml.write_text(works, encoding="utf-8")
    client = served(place.site.root)
    with client:
        yield Browser(client)
    client.app.state.web.desk.close()  # type: ignore[attr-defined]


@pytest.mark.parametrize("address", PAGES)
def test_every_link_leads_to_its_page(address: str, browser: Browser) -> None:
    page = browser.get(address)
    links = {unescape(link) for link in re.findall(r'<a [^>]*href="([^"]+)"', page)}
    inner = {link for link in links if link.startswith("/") and "as=" not in link and "sort=" not in link}
    assert inner
    lost = {link: browser.client.get(link).status_code for link in sorted(inner)}
    assert not {link: status for link, status in lost.items() if status >= 400}


def test_the_ids_stand_on_the_pages_as_they_are(browser: Browser) -> None:
    assert "C#H?S%41" in unescape(browser.get("/signals?defect=C%23H%3FS%2541"))
    assert "<h1>K1#foot?1%" in unescape(browser.get("/station/K1%23foot%3F1%25")).replace("Station ", "")
