"""A table as HTML: on a page on disk and in the application alike. great-tables draws it; the page's one style sheet
dresses it.

What the application adds (headings that sort, the way it is sorted, headings beside the cells of a card) and what the
style sheet goes by (classes) is set on the drawn table's elements, not in its text. great-tables takes about 0.1 ms a
cell, an hour's page of 750 cells 50 to 80 ms; writing the tags by hand took a fiftieth of that, was a second table
beside this one, and the two had grown apart.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

import polars as pl
from great_tables import GT, loc, style

from pipelines.reports.frame.order import Order, ordered
from pipelines.reports.frame.sheet import TEXTS, Column, Sheet, written
from pipelines.words import Worded

# tables that become a card a row on a phone: their cells carry their headings
CARDS = (
    *("now", "refused", "stations", "critical", "by-defect", "signals"),
    *("lines", "losses", "open", "actions", "checks", "compared"),
)
Write = Callable[[str], str]
# characters that no document may hold, as HTML has them: shown as what cannot be shown
_CANNOT = dict.fromkeys((*range(9), 11, 12, *range(14, 32), *range(55296, 57344), 65534, 65535), "�")


@dataclass(frozen=True)
class Dress:
    """What the application adds to a table: the reader's language, how it is sorted, and the address that sorts it
    otherwise.
    """

    write: Write = str
    order: Order | None = None
    sorted_at: Callable[[str, bool], str] | None = None  # column, whether downwards -> address


PLAIN = Dress()


def table_html(sheet: Sheet, dress: Dress = PLAIN) -> str:
    """The table as HTML without a style of its own. All text in it is escaped."""
    columns = sheet.shown()
    if not columns:
        return "<table></table>"
    numbers = ordered(sheet, dress.order)
    table = _drawn(sheet, numbers, dress.write)
    heads, rows = list(table.iter("th")), [list(row) for row in table.iterfind("tbody/tr")]
    _bare(table)
    for column, head in zip(columns, heads, strict=True):
        _dress_head(head, column, len(sheet.rows), dress)
    for number, cells in zip(numbers, rows, strict=bool(numbers)):
        for column, cell in zip(columns, cells, strict=True):
            _dress_cell(cell, column, sheet.links.get((number, column.name)))
            if sheet.name in CARDS:
                cell.set("data-label", _fit(dress.write(column.heading)))
    if sheet.name in CARDS:
        table.set("class", "as-cards")
    strong = set(sheet.strong)
    for number, row in zip(numbers, table.iterfind("tbody/tr"), strict=bool(numbers)):
        if number in strong:
            row.set("class", "strong")
    # as XML: that also escapes a "<" in an address; a table has no element that HTML would write otherwise
    return ElementTree.tostring(table, encoding="unicode", short_empty_elements=False)


def _drawn(sheet: Sheet, numbers: list[int], write: Write) -> Element:
    """What great-tables makes of the rows, as elements."""
    columns = sheet.shown()
    data = {
        column.name: [_fit(_text(sheet.rows[number].get(column.name), column.kind, write)) for number in numbers]
        for column in columns
    }
    frame = pl.DataFrame(data, schema={column.name: pl.String for column in columns})
    table = GT(frame, id="table").cols_label({column.name: _fit(write(column.heading)) for column in columns})
    places = {number: place for place, number in enumerate(numbers)}
    for row, name, strength in sheet.shade:
        rule = style.css(f"background-color:rgb(var(--heat) / {min(0.85, max(0.08, strength)):.2f});")
        table = table.tab_style(rule, loc.body(columns=name, rows=[places[row]]))
    text = table.as_raw_html()
    begin, end = text.index("<table"), text.rindex("</table>")
    return ElementTree.fromstring(text[begin : end + len("</table>")])


def _text(value: object, kind: str, write: Write) -> str:
    return write(value) if isinstance(value, Worded) else written(value, kind)


def _fit(text: str) -> str:
    return text.translate(_CANNOT)


def _bare(table: Element) -> None:
    """Only what says something stays: our style sheet and our addresses know nothing of the drawer's own names."""
    for element in table.iter():
        for name in [name for name in element.attrib if name not in ("scope", "style")]:
            del element.attrib[name]
        if element.tag != "th" and element.tag != "td":
            element.text = None
        element.tail = None


def _dress_head(head: Element, column: Column, rows: int, dress: Dress) -> None:
    mine = dress.order is not None and dress.order.column == column.name
    if column.kind not in TEXTS:
        head.set("class", "n")
    if dress.sorted_at is None or rows < 2 or not column.heading:
        return
    down = not dress.order.down if mine and dress.order is not None else column.kind not in TEXTS
    if mine and dress.order is not None:
        head.set("aria-sort", "descending" if dress.order.down else "ascending")
    _link(head, dress.sorted_at(column.name, down)).set("data-sort", "")


def _dress_cell(cell: Element, column: Column, to: str | None) -> None:
    kind = {"text": "", "id": "id"}.get(column.kind, "n")
    if kind:
        cell.set("class", kind)
    if to:
        _link(cell, to)


def _link(cell: Element, to: str) -> Element:
    """What a cell says becomes a link."""
    link = Element("a", {"href": to})
    link.text, cell.text = cell.text, None
    link.extend(list(cell))
    cell[:] = [link]
    return link
