"""Every page says what the commands say; its tables can be sorted, copied and taken along; its address is the whole
question.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable
from datetime import date
from html import unescape
from urllib.parse import parse_qsl, urljoin, urlsplit

import openpyxl
import pytest

from pipelines.answers.pareto import answer_pareto
from pipelines.clock import Span
from tests.conftest import Place
from tests.pages.conftest import Browser

Make = Callable[..., Browser]
DAY = date(2026, 3, 10)
PAGES = (
    "/now",
    "/now?wall=1",
    "/hour/K1",
    "/hour/K4?wall=1",
    "/hour/2026-03-10/K1-06-1100.html",
    "/times/K1",
    "/times/K3?hours=24&defect=CHS",
    "/times/K2?from=2026-03-10T08:00&to=2026-03-10T10:00&until=2026-03-10T12:00",
    "/moulds/K1",
    "/moulds/K3?hours=12&defect=CHS",
    "/moulds/K2?from=2026-03-10T08:00&to=2026-03-10T12:00",
    "/day/2026-03-10.html",
    "/day/2026-03-10/holds.html",
    "/day/2026-03-10/laboratory.html",
    "/day/2026-03-10/figures.html",
    "/machine/2026-03-10/K1.html",
    "/machine/2026-03-10/K3.html?with=K4",
    "/day/2026-03-10.html?with=2026-03-09",
    "/weights/2026-03-10/K4.html",
    "/laboratory/2026-03-10/F2.html",
    "/trace",
    "/trace?complaint=C-26-001",
    "/trace?complaint=C-26-001&customer=1",
    "/trace?line=K1&mould=20&defect=CHS&made_from=2026-03-10T08:00&made_to=2026-03-10T12:00",
    "/signals",
    "/signals?line=K1&state=over&from=2026-03-10T06:00&to=2026-03-10T18:00",
    "/mould/K1/20",
    "/station/K1-foot",
    "/find?q=2830",
    "/holds",
    "/feeds",
    "/feeds/doubts",
    "/enter",
    "/enter/weight_checks",
    "/enter/weights/K4",
    "/sign-in",
    "/help",
    "/help/works",
    "/help/feeds",
    "/help/trace",
)


@pytest.mark.parametrize("address", PAGES)
def test_a_page_answers_whole_and_asks_nothing_of_another_host(address: str, browser: Make) -> None:
    text = browser().get(address)
    assert text.rstrip().endswith("</html>") and "Traceback" not in text
    assert not re.findall(r'(?:src|href|action)="(?:https?:)?//', text)
    assert set(re.findall(r'(?:src|href)="(/static/[^"?]+)', text)) == {
        "/static/style.css",
        "/static/app.css",
        "/static/app.js",
        "/static/icon.svg",
    }
    ids = re.findall(r'\sid="([^"]+)"', text)
    assert len(ids) == len(set(ids)), sorted(i for i in ids if ids.count(i) > 1)


@pytest.mark.parametrize(
    "address",
    [
        "/",
        "/index.html",
        "/hour",
        "/times",
        "/moulds",
        "/day",
        "/weights",
        "/weights/K4",
        "/laboratory",
        "/laboratory/F2",
        "/holds.html",
        "/hour/K1?at=2026-03-10T11:20",
    ],
)
def test_a_short_address_leads_to_a_whole_one(address: str, browser: Make) -> None:
    answer = browser().client.get(address)
    assert answer.status_code == 200 and answer.url.path not in (address, "/")


def test_the_page_now_shows_the_hour_as_the_pareto_tells_it(browser: Make, site: Place) -> None:
    """The same question by the command's way: ware, rejects and calls of K1's newest hour."""
    rows = list(csv.DictReader(io.StringIO(browser().get("/now?as=csv&table=now").lstrip("﻿"))))
    mine = {row["Line"]: row for row in rows}
    assert list(mine) == ["K1", "K2", "K3", "K4"]
    hour = site.plant.clock.hours_of(DAY)[-1]
    with site.opened.ledger.reading() as reader:
        pareto = answer_pareto(reader, site.plant, "K1", Span(hour.start, hour.end))
    assert (int(mine["K1"]["Ware"]), int(mine["K1"]["Calls"])) == (pareto.ware, pareto.calls)
    assert float(mine["K1"]["Rejected"]) == pytest.approx(pareto.rejected / pareto.ware)
    assert int(mine["K1"]["Critical calls"]) == sum(row.critical_calls for row in pareto.rows)


def test_a_table_sorts_by_its_address_and_keeps_what_is_empty_last(browser: Make) -> None:
    up = browser().get("/moulds/K1?hours=8&sort=cavities.calls.asc")
    down = browser().get("/moulds/K1?hours=8&sort=cavities.calls.desc")

    def calls(text: str) -> list[int]:
        table = text[text.index('id="t-cavities"') :]
        cell = r"<td[^>]*>(?:<a [^>]*>)?[^<]*(?:</a>)?</td>"
        found = re.findall(rf'<tr[^>]*>(?:{cell}){{4}}<td class="n">([^<]+)</td>', table)
        return [int(unescape(row).replace("\u202f", "")) for row in found]

    assert calls(up) == sorted(calls(up)) and calls(down) == sorted(calls(up), reverse=True) and len(calls(up)) == 16
    assert 'aria-sort="ascending"' in up and 'aria-sort="descending"' in down
    moulds = browser().get("/moulds/K1?hours=8&sort=cavities.mould.asc&as=csv&table=cavities")
    numbers = [int(row["Mould"].split(",")[0]) for row in csv.DictReader(io.StringIO(moulds.lstrip("﻿")))]
    assert numbers == sorted(numbers)


def test_a_sort_of_nothing_that_is_there_is_answered_with_a_sentence(browser: Make) -> None:
    for sort in ("x", "cavities.nothing.asc", "nothing.calls.desc", "cavities.calls.sideways", "..", "'\"<b>.a.asc"):
        answer = browser().client.get(f"/moulds/K1?sort={sort}")
        assert answer.status_code == 400 and answer.text.count('aria-sort="') == 0 and "<b>" not in answer.text, sort
        assert re.search(r"sort is TABLE\.COLUMN|there is no table|has no column", answer.text), sort
    assert browser().get("/feeds?sort=notices.at.desc").count('aria-sort="') == 0, "a table that is there sometimes"


def test_the_workbook_holds_the_tables_of_the_page(browser: Make) -> None:
    answer = browser().client.get("/hour/2026-03-10/K1-06-1100.html?as=xlsx")
    book = openpyxl.load_workbook(io.BytesIO(answer.content))
    assert "Pareto by defect" in book.sheetnames and book["Pareto by defect"].max_row > 10
    workbook = openpyxl.load_workbook(
        io.BytesIO(browser().client.get("/hour/2026-03-10/K1-06-1100.html?as=xlsx&table=by-defect").content)
    )
    assert workbook.sheetnames == ["Pareto by defect", "notes"]
    assert (
        browser().client.get("/now?as=csv&table=nothing").status_code
        == 404
        == browser().client.get("/now?as=xlsx&table=nothing").status_code
    )
    assert browser().client.get("/now?as=exe").status_code == 404


def test_a_page_that_did_not_change_is_not_sent_again(browser: Make) -> None:
    this_browser = browser()
    first = this_browser.client.get("/hour/2026-03-10/K1-06-1100.html")
    again = this_browser.client.get(
        "/hour/2026-03-10/K1-06-1100.html", headers={"If-None-Match": first.headers["ETag"]}
    )
    assert again.status_code == 304 and not again.content
    assert this_browser.client.get("/now", headers={"If-None-Match": first.headers["ETag"]}).status_code == 200


def test_every_chart_is_told_in_words_too(browser: Make) -> None:
    text = browser().get("/hour/2026-03-10/K1-06-1100.html")
    sections = re.sub(r"<article.*?</article>", "", text, flags=re.S)  # a signal's card tells its chart in its lines
    assert sections.count('class="chart-desk"') == sections.count('class="chart-phone"'), "each is drawn for both"
    assert sections.count('class="chart-desk"') == sections.count('<p class="in-words">') >= 2
    assert sections.count("<svg ") == 2 * sections.count('class="chart-desk"')
    assert "Calls by defect: " in text and "Rejected share by hour: " in text


@pytest.mark.parametrize(
    ("address", "status", "says"),
    [
        ("/hour/K9", 404, "there is no line &#39;K9&#39; in works.toml"),
        ("/hour/2026-03-10/K1-30-1100.html", 404, "has 24 hours"),
        ("/hour/yesterday/K1-01-0600.html", 400, "not a day"),
        ("/moulds/K1?from=2026-03-10T08:00", 400, "give both"),
        ("/moulds/K1?hours=900", 400, "hours is a whole number from 1 to 168, not &#39;900&#39;"),
        ("/moulds/K1?hours=NaN", 400, "hours is a whole number from 1 to 168, not &#39;NaN&#39;"),
        (f"/moulds/K1?from={'9' * 50}&to=1", 400, "from has at most 40 characters, and these are 50"),
        ("/hour/K1?at=2000-01-01T00:00", 400, "&#39;2000-01-01T00:00&#39; is no time of a works: it belongs to"),
        ("/day?day=0001-01-01", 400, "the address of this page takes no &#39;day&#39;; it takes none"),
        ("/weights?line=K1&day=hello", 400, "takes no &#39;line&#39;"),
        ("/laboratory?furnace=F1", 400, "takes no &#39;furnace&#39;"),
        ("/moulds?line=K1&from=0001-01-01", 400, "takes no &#39;line&#39;"),
        ("/hour?line=NaN", 400, "takes no &#39;line&#39;"),
        ("/hour/K1?from=hello&to=world", 400, "takes no &#39;from&#39;; it takes at, sort, as, table, wall"),
        ("/now?at=NaN", 400, "takes no &#39;at&#39;; it takes sort, as, table, wall"),
        ("/now?sort=x.y.z", 400, "sort is TABLE.COLUMN.asc or TABLE.COLUMN.desc, not &#39;x.y.z&#39;"),
        ("/moulds/K1?at=2026-03-10", 400, "it takes from, to, hours, defect, sort, as, table, wall"),
        ("/moulds/K1?hours=4&hours=8", 400, "&#39;hours&#39; stands 2 times"),
        ("/now?wall=yes", 400, "wall is 1"),
        ("/now?table=now", 400, "table goes with"),
        ("/moulds/K1?defect=XYZ", 400, "there is no defect"),
        ("/moulds/K1?from=soon&to=later", 400, "is not a time"),
        ("/trace?complaint=NONE", 400, "no complaint"),
        ("/trace?item=S1&made_from=2026-13-40", 400, "is not a time"),
        ("/holds/H-9999", 404, "there is no hold"),
        ("/nothing", 404, "no such page"),
        ("/reports/../works.toml", 404, "no such page"),
        ("/day/2026-02-30.html", 400, "not a day"),
    ],
)
def test_a_wrong_question_is_answered_with_a_sentence(address: str, status: int, says: str, browser: Make) -> None:
    answer = browser().client.get(address)
    assert answer.status_code == status and says in answer.text and "Traceback" not in answer.text


def test_every_address_that_our_pages_link_to_is_answered(browser: Make) -> None:
    """One of each kind: a path by its first part and the names of its words."""
    seen: dict[tuple[str, ...], str] = {}
    for address in PAGES:
        page = browser().get(address)
        for link in re.findall(r'href="([^"]+)"', page):
            whole = urljoin(address, unescape(link)).split("#")[0]
            query = dict(parse_qsl(urlsplit(whole).query, keep_blank_values=True))
            parts = urlsplit(whole).path.split("/")
            kind = (parts[1], str(len(parts)), *sorted(query))
            if query.get("as") != "xlsx":
                seen.setdefault(kind, whole)
    wrong = [(text, answer.status_code) for text in seen.values() if (answer := browser().client.get(text)).is_error]
    assert len(seen) > 30 and not wrong, wrong


@pytest.mark.parametrize(
    "path",
    [
        "..%2fworks.toml",
        "%2e%2e/ledger.duckdb",
        "../.serve/serve.db",
        "..%5c..%5cworks.toml",
        "day/..%2f..%2fworks.toml",
        ".kept",
        "%00",
        "day/.2026-03-10.page.gz",
        "/etc/passwd",
    ],
)
def test_there_is_no_way_out_of_the_reports_folder(path: str, browser: Make) -> None:
    answer = browser().client.get(f"/reports/{path}")
    assert answer.status_code == 404 and "timezone" not in answer.text


def test_a_day_that_is_not_closed_says_so_and_a_closed_one_shows_what_its_close_wrote(
    browser: Make, site: Place
) -> None:
    from pipelines.jobs.days import close_day
    from pipelines.reports.all_reports import ALL_REPORTS

    assert "is not closed" in browser().get("/day/2026-03-11.html")
    closed = close_day(site.opened, date(2026, 3, 10))
    text = browser().get("/day/2026-03-10.html")
    assert "revision 1" in text and "came after this report was written" not in text
    with site.opened.ledger.reading() as reader:
        page = ALL_REPORTS["day"].page(reader, site.plant, date(2026, 3, 10))
    for figure in page.figures:
        assert figure.value.replace("\u202f", "") in text.replace("\u202f", "")
    assert closed.page.name == "2026-03-10.html"


def test_a_kept_page_is_the_page_that_was_written(site: Place) -> None:
    from pipelines.answers.site_marks import site_marks, works_mark
    from pipelines.reports.all_reports import ALL_REPORTS, page_html
    from pipelines.reports.frame.kept_page import keep_page, kept_page

    with site.opened.ledger.reading() as reader:
        page = ALL_REPORTS["hour"].page(reader, site.plant, "K1", site.plant.clock.hours_of(date(2026, 3, 10))[5])
        marks = site_marks(reader, works_mark(site.plant))
    path = site.site.reports / "try" / "one.html"
    path.parent.mkdir(parents=True)
    keep_page(page, path, marks)
    found = kept_page(path)
    assert found is not None and found[1] == marks and page_html(found[0], "A works") == page_html(page, "A works")
    assert kept_page(path.with_name("other.html")) is None
