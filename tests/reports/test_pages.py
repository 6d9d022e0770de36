"""Pages: they open from disk with no network, say their denominators, cannot be injected into, and match their
workbooks.
"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime
from html.parser import HTMLParser
from pathlib import Path

import openpyxl
import pytest

from pipelines.answers.pareto import answer_pareto
from pipelines.answers.trace.answer import Question, answer_trace
from pipelines.plant.works import Plant
from pipelines.reports.all_reports import ALL_REPORTS, page_html, write_page
from pipelines.reports.frame.page import Page, Section
from pipelines.reports.frame.sheet import Column, Sheet, written
from pipelines.reports.frame.table_html import table_html
from pipelines.reports.frame.workbook import write_workbook
from pipelines.reports.laboratory import report as laboratory
from schemas.answers.laboratory import Density, DensityReading, DueChecks, FurnaceLaboratory
from schemas.answers.trace import Trace
from tests.conftest import Place

DAY = date(2026, 3, 10)


class Seen(HTMLParser):
    """Tags that ask for something, headings, tables."""

    def __init__(self) -> None:
        super().__init__()
        self.asks: list[str] = []
        self.tags: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        texts = dict(attrs)
        self.asks += [str(texts[name]) for name in ("src", "href", "action") if name in texts and tag != "a"]


def first_complaint(place: Place) -> Trace:
    with place.opened.ledger.reading() as reader:
        return answer_trace(reader, place.plant, Question(complaint="C-26-001"))


@pytest.fixture(scope="module")
def pages(day_taken: Place) -> dict[str, Page]:
    plant = day_taken.plant
    trace = first_complaint(day_taken)
    with day_taken.opened.ledger.reading() as reader:
        return {
            "hour": ALL_REPORTS["hour"].page(reader, plant, "K1", plant.clock.hours_of(DAY)[5]),
            "day": ALL_REPORTS["day"].page(reader, plant, DAY),
            "machine": ALL_REPORTS["machine"].page(reader, plant, "K1", DAY),
            "behind the day": ALL_REPORTS["behind the day"].page(reader, plant, "figures", DAY),
            "weights": ALL_REPORTS["weights"].page(reader, plant, "K1", DAY),
            "laboratory": ALL_REPORTS["laboratory"].page(reader, plant, "F1", DAY),
            "trace": ALL_REPORTS["trace"].page(reader, plant, trace),
            "holds": ALL_REPORTS["holds"].page(reader, plant),
            "trace for the customer": ALL_REPORTS["trace for the customer"].page(reader, plant, trace),
        }


@pytest.mark.parametrize("name", list(ALL_REPORTS))
def test_a_page_asks_nothing_of_any_network(name: str, pages: dict[str, Page]) -> None:
    text = page_html(pages[name], "A works")
    seen = Seen()
    seen.feed(text)
    assert seen.asks == [] and "script" not in seen.tags and "link" not in seen.tags and "img" not in seen.tags
    addresses = set(re.findall(r"(?:https?:)?//[\w.]+", text)) - {"http://www.w3.org"}
    assert not addresses
    assert "default-src &#39;none&#39;" in text or "default-src 'none'" in text


@pytest.mark.parametrize("name", list(ALL_REPORTS))
def test_a_page_has_what_a_reader_without_eyes_or_mouse_needs(name: str, pages: dict[str, Page]) -> None:
    text = page_html(pages[name], "A works")
    assert '<html lang="en">' in text and text.count("<h1>") == 1 and 'class="skip"' in text
    charts = re.findall(r"<svg .*?</svg>", text, re.S)
    assert charts or name.startswith(("trace", "holds")) or name == "day"
    for chart in charts:
        head = chart[: chart.index(">")]
        assert ('role="group"' if "<a " in chart else 'role="img"') in head and re.search(
            r'aria-label="[^"]{20,}"', head
        )
    assert set(re.findall(r'<a href="#([^"]+)"', text)) <= {*re.findall(r' id="([^"]+)"', text)}
    assert text.count('class="scroll" role="region" tabindex="0"') == sum(
        section.sheet is not None for section in pages[name].sections
    )
    assert "width=device-width" in text and "prefers-color-scheme:dark" in text and "size:A4" in text


@pytest.mark.parametrize("name", list(ALL_REPORTS))
def test_a_page_says_that_people_decide_and_where_its_figures_come_from(name: str, pages: dict[str, Page]) -> None:
    text = page_html(pages[name], "A works")
    assert "people decide" in text and "authorised people" in text
    outer = name == "trace for the customer"
    assert ("sql/out/" in text and "archive/" in text) or (outer and "keeps the evidence" in text)


def test_the_hour_page_shows_the_pareto_of_the_command(pages: dict[str, Page], day_taken: Place) -> None:
    span = day_taken.plant.clock.hours_of(DAY)[5]
    with day_taken.opened.ledger.reading() as reader:
        pareto = answer_pareto(reader, day_taken.plant, "K1", span)
    sheet = next(s for s in pages["hour"].sheets if s.name == "by-defect")
    assert [(row["key"], row["calls"], row["rate"]) for row in sheet.rows] == [
        (row.key, row.calls, row.rate) for row in pareto.rows
    ]
    assert f"{pareto.ware:,}".replace(",", " ") in sheet.caption


def test_every_critical_defect_is_on_the_hour_page_called_or_not(pages: dict[str, Page], day_taken: Place) -> None:
    sheet = next(s for s in pages["hour"].sheets if s.name == "critical")
    critical = [code for code, defect in day_taken.plant.defects.items() if defect.severity == "critical"]
    assert [row["code"] for row in sheet.rows] == critical
    assert all(row["high"] is not None and row["high"] > 0 for row in sheet.rows)


def test_an_hour_without_counts_says_what_is_missing(day_taken: Place) -> None:
    plant = day_taken.plant
    empty = plant.clock.hours_of(date(2026, 3, 20))[0]
    with day_taken.opened.ledger.reading() as reader:
        page = ALL_REPORTS["hour"].page(reader, plant, "K1", empty)
    text = page_html(page, "A works")
    assert "K1-side-a: counts for 0 of 60 minutes" in text
    assert "Nothing came: no window of counts of K1 begins in this time" in text
    assert [figure.value for figure in page.figures] == ["–"] * 4


def test_whatever_is_red_on_a_laboratory_page_stands_under_what_asks_for_somebody(plant: Plant) -> None:
    missed = DueChecks(kind="temper", of="K1", every_min=120, due=12, made=11, missed=1)
    reading = DensityReading(at=datetime(2026, 3, 10, 8, tzinfo=UTC), density_g_cm3=2.51, how="direct")
    off = Density(readings=(reading,), earlier=9, noise_g_cm3=0.0002, low=2.4, high=2.5, beyond=True)
    for density, due, says in ((off, (), "outside the limits"), (Density(readings=(), earlier=0), (missed,), "1")):
        furnace = FurnaceLaboratory(furnace="F1", density=density, lines=(), due=due)
        red = [figure for figure in laboratory._figures(furnace) if figure.kind == "critical"]
        asks = laboratory._sections(plant, furnace, None)[0]
        assert len(red) == 1 and asks.warn and len(asks.items) == 1 and says in asks.items[0]


def test_what_scrolls_sideways_shows_an_edge_on_screen_and_none_on_paper() -> None:
    style = (Path(laboratory.__file__).parent.parent / "templates" / "style.css").read_text(encoding="utf-8")
    screen, paper = style.split("@media print")
    assert ".scroll,figure.broad{background:linear-gradient(" in screen and "var(--edge)" in screen
    assert ".scroll,figure.broad{background:none}" in paper


def test_rejects_without_calls_are_said(place: Place) -> None:
    head = "window_start,line,station,mould,window_s,inspected,rejected\n"
    place.put("station_counts.K1.csv", head + "2026-03-10T09:00:00Z,K1,K1-side-a,11,60,50,7\n")
    place.take()
    hour = place.plant.clock.hours_of(DAY)[4]
    with place.opened.ledger.reading() as reader:
        text = page_html(ALL_REPORTS["hour"].page(reader, place.plant, "K1", hour), "A works")
    assert "K1-side-a: 7 containers rejected and only 0 calls" in text


def test_nothing_of_a_feed_becomes_markup_or_a_formula(tmp_path) -> None:  # type: ignore[no-untyped-def]
    evil = [
        "<script>alert(1)</script>",
        "=1+1",
        "+1",
        "-1",
        "@SUM(A1)",
        '"><img src=x onerror=alert(1)>',
        "http://example.invalid",
    ]
    sheet = Sheet(
        "t",
        "<b>title</b>",
        (Column("a", "<i>head</i>"), Column("n", "n", "count")),
        [{"a": text, "n": 1} for text in evil],
        links={(0, "a"): '"><script>'},
    )
    text = page_html(
        Page(
            "<script>x</script>",
            "now",
            (Section("<b>s</b>", sheet=sheet, items=tuple(evil)),),
        ),
        "<u>works</u>",
    )
    assert (
        "<script" not in text
        and "<img" not in text
        and "<b>s" not in text
        and "<i>head" not in text
        and "<u>" not in text
    )
    write_workbook(tmp_path / "t.xlsx", "t", [sheet])
    book = openpyxl.load_workbook(tmp_path / "t.xlsx")
    cells = [row[0] for row in book.worksheets[0].iter_rows(min_row=5)]
    assert [cell.value for cell in cells] == evil and all(
        cell.data_type == "s" and cell.hyperlink is None for cell in cells
    )


def test_the_workbook_holds_the_same_tables(pages: dict[str, Page], tmp_path) -> None:  # type: ignore[no-untyped-def]
    write_page(pages["behind the day"], tmp_path / "day.html", "A works")
    book = openpyxl.load_workbook(tmp_path / "day.xlsx")
    assert len(book.worksheets) == len(pages["behind the day"].sheets) + 1
    place = next(number for number, sheet in enumerate(pages["behind the day"].sheets) if sheet.name == "machines")
    machines, sheet = book.worksheets[place], pages["behind the day"].sheets[place]
    assert [cell.value for cell in machines[4]] == [column.heading for column in sheet.shown()]
    assert [row[0].value for row in machines.iter_rows(min_row=5)] == [row["line"] for row in sheet.rows]
    assert machines["B5"].value == pytest.approx(sheet.rows[0]["cut"])


def test_numbers_are_written_as_the_works_reads_them() -> None:
    assert written(12345, "count") == "12\u202f345" and written(-3.14, "number") == "−3.1"
    assert written(0.1234, "percent") == "12.34 %" and written(None, "count") == "–" and written(None, "text") == ""


def test_the_same_table_gives_the_same_html() -> None:
    sheet = Sheet("t", "t", (Column("a", "A"), Column("n", "N", "count")), [{"a": "x", "n": 1}], shade=[(0, "n", 0.5)])
    assert table_html(sheet) == table_html(sheet)
    assert "rgb(var(--heat) / 0.50)" in table_html(sheet)
