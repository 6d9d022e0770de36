"""HTML, formulas and control characters in feeds, file names and notes stay what they are: text."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable

import openpyxl
import pytest

from tests.conftest import HEAD, Place
from tests.pages.conftest import Browser

Make = Callable[..., Browser]
NASTY = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "=1+2",
    "+1",
    "-1+3",
    "@sum(a1)",
    "{{7*7}}",
    "javascript:alert(1)",
)


@pytest.fixture(scope="module")
def nasty(site: Place) -> Place:
    """Feeds whose names and values try to be something else than text, and a hold whose reason does."""
    rows = "".join(
        f'2026-03-10T10:{n:02d}:00Z,"{value.replace(chr(34), chr(34) * 2)}",K1-side-a,7,60,10,1\n'
        for n, value in enumerate(NASTY)
    )
    site.put("station_counts.<b>K1&.csv", HEAD + rows)
    site.put("=cmd.csv", "x\n1\n")
    pallet = "".join(
        f'"{value.replace(chr(34), chr(34) * 2)}",K1,B330,2026-03-10T10:{n:02d}:00Z,2026-03-10T10:30:00Z,10,packed\n'
        for n, value in enumerate(NASTY)
    )
    items = next(iter(site.plant.items))
    site.put(
        "pallets.nasty.csv", "pallet,line,item,packed_from,packed_to,units,state\n" + pallet.replace("B330", items)
    )
    complaint = '"C-<i>9","2026-03-11",' + items + ',,1,,,,,"<script>alert(2)</script>"\n'
    site.put(
        "complaints.nasty.csv",
        "complaint,received_on,item,defect,units,mould,pallet,made_from,made_to,note\n" + complaint,
    )
    site.take()
    from pipelines.jobs.holds import decide

    decide(site.opened, "place", None, ["=1+2", "<script>alert(1)</script>"], "=name", "<b>why</b>", "@evidence")
    return site


@pytest.mark.parametrize(
    "address",
    [
        "/feeds",
        "/holds",
        "/holds/H-0001",
        "/trace",
        "/now",
        "/trace?complaint=C-<i>9",
        "/sign-in?to=/now%22%3E%3Cscript%3Ealert(3)%3C/script%3E",
    ],
)
def test_no_html_of_a_feed_a_note_or_an_address_becomes_html(address: str, nasty: Place, browser: Make) -> None:
    text = browser().client.get(address).text
    assert (
        "<script>alert" not in text
        and "<img src=x" not in text
        and "<b>why" not in text
        and "<b>K1" not in text
        and "<i>9" not in text
    )
    assert not re.search(r'(?:href|src|action)="\s*javascript:', text)
    assert "49" not in re.findall(r"\{\{7\*7\}\}|(?<=>)49(?=<)", text)


def test_what_was_refused_can_be_seen_as_it_came(nasty: Place, browser: Make) -> None:
    text = browser().get("/feeds")
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in text and "station_counts.&lt;b&gt;K1&amp;.csv" in text


@pytest.mark.parametrize(
    ("address", "table"),
    [("/feeds", "refused"), ("/holds", "part-2"), ("/holds/H-0001", "history"), ("/holds/H-0001", "pallets")],
)
def test_no_exported_cell_is_a_formula(address: str, table: str, nasty: Place, browser: Make) -> None:
    """What spreadsheets take for a formula: a text cell that begins with = + - @, a tab or a return (the usual list;
    common practice).
    """
    answer = browser()
    rows = list(csv.reader(io.StringIO(answer.get(f"{address}?as=csv&table={table}").lstrip("﻿"))))
    assert len(rows) > 1
    for cell in (cell for row in rows for cell in row):
        assert not cell.startswith(("=", "+", "@", "\t", "\r")) and not re.match(r"-[^0-9.]|-\d+[^0-9.e]", cell), cell
    assert any(cell.startswith("'=") for row in rows for cell in row)
    book = openpyxl.load_workbook(io.BytesIO(answer.client.get(f"{address}?as=xlsx").content))
    for sheet in book:
        assert not [
            cell.coordinate for row in sheet.iter_rows() for cell in row if cell.data_type == "f" or cell.hyperlink
        ]


def test_a_note_of_a_signal_and_a_name_of_a_person_are_text(nasty: Place, browser: Make) -> None:
    admin = browser("A. Admin")
    answer = admin.post(
        "/people", token_from="/people", name="<script>alert(4)</script>", password="seven wide lehrs", role=["reader"]
    )
    assert answer.status_code == 303  # type: ignore[attr-defined]
    assert "<script>alert(4)" not in admin.get("/people")


@pytest.mark.parametrize(
    "query",
    [
        "as=csv&table=../../works",
        "sort=%00.a.asc",
        "table=<b>",
        "wall=<b>",
        "as=csv&table=now&sort=now.line.asc%0d%0aX: y",
    ],
)
def test_odd_words_of_an_address_do_no_harm(query: str, browser: Make) -> None:
    answer = browser().client.get(f"/now?{query}")
    assert answer.status_code in (400, 404) and "x" not in {name.lower() for name in answer.headers}
