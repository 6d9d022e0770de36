"""One table on disk and on the web: what is drawn, what a reader may bring into it, and what the application adds."""

from __future__ import annotations

from html.parser import HTMLParser

from pipelines.reports.frame.order import Order
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.reports.frame.table_html import CARDS, Dress, table_html

COLUMNS = (
    Column("mould", "Mould", "id"),
    Column("why", "Why & where"),
    Column("calls", "Calls", "count"),
    Column("share", "Share", "percent1"),
)
ROWS = (
    {"mould": 9, "why": "<b>check</b> & 'finish'", "calls": 1200, "share": 0.125},
    {"mould": 10, "why": "bell\x07 and \x00 nul", "calls": None, "share": None},
    {"mould": 11, "why": "", "calls": 7, "share": 0.5},
)


class Cells(HTMLParser):
    """Every heading and cell of a table: tag, attributes, text; rows by their class."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.cells: list[tuple[str, dict[str, str | None], str]] = []
        self.rows: list[str | None] = []
        self.links: list[dict[str, str | None]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("td", "th"):
            self.cells.append((tag, dict(attrs), ""))
        elif tag == "tr":
            self.rows.append(dict(attrs).get("class"))
        elif tag == "a":
            self.links.append(dict(attrs))
        else:
            assert tag in ("table", "thead", "tbody"), f"{tag} came out of a cell"

    def handle_data(self, data: str) -> None:
        if self.cells and data.strip():
            tag, attrs, text = self.cells[-1]
            self.cells[-1] = (tag, attrs, text + data)

    def texts(self, tag: str) -> list[str]:
        return [text for name, _, text in self.cells if name == tag]


def test_text_stays_text_and_numbers_are_written_by_their_kind() -> None:
    found = Cells(table_html(Sheet("t", "T", COLUMNS, ROWS)))
    assert found.texts("th") == ["Mould", "Why & where", "Calls", "Share"]
    assert found.texts("td") == [
        "9",
        "<b>check</b> & 'finish'",
        "1\u202f200",
        "12.5 %",
        "10",
        "bell\ufffd and \ufffd nul",
        "–",
        "–",
        "11",
        "",
        "7",
        "50.0 %",
    ]
    assert [attrs.get("class") for tag, attrs, _ in found.cells if tag == "td"][:4] == ["id", None, "n", "n"]
    assert all(attrs["scope"] == "col" for tag, attrs, _ in found.cells if tag == "th") and not found.links


def test_shade_strength_and_links_keep_to_their_rows_when_sorted() -> None:
    sheet = Sheet(
        "t", "T", COLUMNS, ROWS, shade=[(0, "calls", 0.5)], strong=[2], links={(1, "mould"): '/moulds/10?a="b"&c=<d>'}
    )
    by_calls = Dress(order=Order("t", "calls", False), sorted_at=lambda column, down: f"?sort=t.{column}.{down}#t")
    found = Cells(table_html(sheet, by_calls))
    assert found.texts("td")[::4] == ["11", "9", "10"], "what is empty stands last"
    assert found.rows == [None, "strong", None, None]
    shaded = [text for _, attrs, text in found.cells if "heat" in (attrs.get("style") or "")]
    assert shaded == ["1\u202f200"]
    assert [link["href"] for link in found.links][-1] == '/moulds/10?a="b"&c=<d>'
    states = [attrs.get("aria-sort") for tag, attrs, _ in found.cells if tag == "th"]
    assert states == [None, None, "ascending", None]
    assert [link["href"] for link in found.links][:4] == [
        "?sort=t.mould.False#t",
        "?sort=t.why.False#t",
        "?sort=t.calls.True#t",
        "?sort=t.share.True#t",
    ]


def test_a_table_of_one_row_sorts_nothing_and_one_of_none_is_a_heading() -> None:
    to_sort = Dress(sorted_at=lambda column, down: "?")
    assert not Cells(table_html(Sheet("t", "T", COLUMNS, ROWS[:1]), to_sort)).links
    none = Cells(table_html(Sheet("t", "T", COLUMNS, ()), to_sort))
    assert none.texts("th") and not none.texts("td")


def test_cards_carry_their_headings_in_the_readers_language() -> None:
    german = {"Mould": "Form"}
    found = Cells(table_html(Sheet("now", "Now", COLUMNS[:1], ROWS), Dress(write=lambda text: german.get(text, text))))
    assert [attrs["data-label"] for tag, attrs, _ in found.cells if tag == "td"] == ["Form"] * 3
    assert found.texts("th") == ["Form"]


def test_only_tables_that_become_cards_say_so() -> None:
    for name in CARDS:
        assert table_html(Sheet(name, "T", COLUMNS, ROWS)).startswith('<table class="as-cards">')
    assert "as-cards" not in table_html(Sheet("t", "T", COLUMNS, ROWS))
