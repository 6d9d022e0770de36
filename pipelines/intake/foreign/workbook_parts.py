"""What is in a workbook before it is opened: how much it unpacks to, how far its cells reach, formulas without a value,
errors, macros, links to other workbooks. Runs in the process that reads it; imports nothing of the program.

The formats: ECMA-376 (.xlsx), OASIS OpenDocument 1.3 (.ods). The old .xls is looked at by its marks alone.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any
from xml.parsers import expat

_PIECE = 1 << 20
_MOST_PARTS, _MOST_STRANGE = 5_000, 20_000
_REF = re.compile(r"([A-Za-z]{1,3})(\d{1,7})\Z")
_MACROS = "has macros; save it without them, as .xlsx or .ods"
_LINKS = "takes values from other workbooks; paste the values alone into a workbook of its own and send that"
# as every program writes a sheet's part, with and without a name space before the element's name
_LETTERS = re.compile(rb'<(?:\w+:)?c r="([A-Z]{1,3})\d')
_ROWS = re.compile(rb'<(?:\w+:)?row [^>]*?\br="(\d{1,9})"')
_CELL = rb'<(?:\w+:)?c r="([A-Z]{1,3})(\d{1,7})"'
_WITHOUT_VALUE = re.compile(
    _CELL + rb'(?:(?! t="str")[^>])*>\s*<(?:\w+:)?f(?:[^>]*/>|[^>]*>[^<]*</(?:\w+:)?f>)'
    rb"\s*(?:<(?:\w+:)?v\s*/>|<(?:\w+:)?v>\s*</(?:\w+:)?v>)?\s*</(?:\w+:)?c>"
)
_ERRORS = re.compile(_CELL + rb'[^>]* t="e"[^>]*>.{0,2000}?<(?:\w+:)?v>([^<]*)<', re.S)
_ENDS = (b"</c>", b":c>", b"</table:table-row>")  # where a text may be cut
_LONGEST_CELL = 1 << 17
# what asks for a careful look at a document: errors, links, and cells or rows that hold something often
_ODS_MARKS = tuple(
    re.compile(mark, re.S)
    for mark in (
        rb'value-type="error"',
        rb"table-source|'file:",
        rb"<table:table-cell[^>]*number-columns-repeated=\"\d{3,}\"[^>]*[^/]>",
        rb"<table:table-row[^>]*number-rows-repeated=\"\d{4,}\"[^>]*>(?:(?!</table:table-row>).){0,400}?value-type",
    )
)
NO_VALUE = "(a formula without its value)"


class NotOpened(Exception):
    """kind: `large`, `broken` or `other`; says: what follows "the workbook", or what it is larger than."""

    def __init__(self, kind: str, says: str):
        super().__init__(says)
        self.kind, self.says = kind, says


def wide(name: str, width: int, height: int) -> str:
    """What is said of a sheet that spans too much."""
    return (
        f"spans {height:,} rows by {width:,} columns on the sheet '{name[:31]}'; clear what stands far from the table "
        "and save it again"
    )


@dataclass
class Extent:
    """Cells of one sheet that hold something, from 0, and those of which the value cannot be had."""

    top: int = 1 << 30
    left: int = 1 << 30
    bottom: int = -1
    right: int = -1
    strange: dict[tuple[int, int], str] = field(default_factory=dict)

    def add(self, row: int, column: int, rows: int = 1, columns: int = 1) -> None:
        self.top, self.left = min(self.top, row), min(self.left, column)
        self.bottom, self.right = max(self.bottom, row + rows - 1), max(self.right, column + columns - 1)

    def note(self, row: int, column: int, text: str) -> None:
        if len(self.strange) < _MOST_STRANGE:
            self.strange[row, column] = text


@dataclass
class Sheets:
    """What was found of each sheet by its name; `part` where names could not be told apart."""

    limits: dict[str, Any]
    extents: dict[str, Extent] = field(default_factory=dict)
    anonymous: list[Extent] = field(default_factory=list)

    def check(self, name: str) -> None:
        """NotOpened where a sheet spans more than may be opened."""
        for extent in [self.extents[name]] if name in self.extents else self.anonymous:
            width, height = extent.right - extent.left + 1, extent.bottom - extent.top + 1
            if extent.bottom < 0:
                continue
            if extent.bottom + 1 > self.limits["rows"]:
                raise NotOpened("large", f"{self.limits['rows']:,} rows")
            if width > self.limits["columns"] or width * height > self.limits["cells"]:
                raise NotOpened("other", wide(name, width, height))

    def strange(self, name: str) -> dict[tuple[int, int], str]:
        return self.extents[name].strange if name in self.extents else {}


def looked_at(data: bytes, limits: dict[str, Any]) -> Sheets:
    """What a workbook is made of. NotOpened where it must not be opened."""
    if not data.startswith(b"PK"):
        if "_VBA_PROJECT".encode("utf-16-le") in data:
            raise NotOpened("other", _MACROS)
        return Sheets(limits)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as parts:
            names = _checked(parts, limits)
            if "content.xml" in names:
                return _of_ods(parts, limits)
            return _of_xlsx(parts, names, limits)
    except (zipfile.BadZipFile, zipfile.LargeZipFile, NotImplementedError, OSError, EOFError, ValueError) as error:
        raise NotOpened("broken", str(error)[:120]) from None
    except RuntimeError as error:  # a part that is encrypted
        raise NotOpened("other", "is locked by a password; save it without one") from error
    except expat.ExpatError as error:
        raise NotOpened("broken", f"XML: {error}"[:120]) from None


def _checked(parts: zipfile.ZipFile, limits: dict[str, Any]) -> list[str]:
    """The names of the parts, where they unpack to what may be and hold neither macros nor links to other books."""
    members = parts.infolist()
    if sum(member.file_size for member in members) > limits["unpacked"]:
        raise NotOpened("large", f"{limits['unpacked'] >> 20} MB")
    if len(members) > _MOST_PARTS:
        raise NotOpened("other", f"is made of {len(members):,} parts, more than any that a table needs")
    names = [member.filename for member in members]
    small = [name.lower() for name in names]
    if any("vbaproject" in name or name.startswith(("xl/macrosheets/", "basic/", "scripts/")) for name in small):
        raise NotOpened("other", _MACROS)
    if any(name.startswith("xl/externallinks/") for name in small):
        raise NotOpened("other", _LINKS)
    if "xl/workbook.bin" in small:
        raise NotOpened("other", "is of the binary kind (.xlsb); save it as .xlsx")
    return names


def _read(parts: zipfile.ZipFile, name: str, begin: Callable[..., None], end: Any = None, text: Any = None) -> None:
    """One part through the XML parser, piece by piece; its checksum is proved at the end."""
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.buffer_text = True
    parser.StartElementHandler = begin
    if end is not None:
        parser.EndElementHandler = end
    if text is not None:
        parser.CharacterDataHandler = text
    with parts.open(name) as part:
        while piece := part.read(_PIECE):
            parser.Parse(piece, False)
        parser.Parse(b"", True)


def _of_xlsx(parts: zipfile.ZipFile, names: list[str], limits: dict[str, Any]) -> Sheets:
    found = Sheets(limits)
    where = _places_of_sheets(parts, names)
    for name in names:
        if not name.endswith(".xml") or name.startswith(("docProps/", "xl/theme/", "xl/styles")):
            continue
        extent = _glance(parts, name)
        if _over(extent, limits):  # cells that have a look and hold nothing do not count
            reader = _XlsxCells()
            _read(parts, name, reader.begin, reader.end)
            extent = reader.extent
        if name in where:
            found.extents[where[name]] = extent
        else:
            found.anonymous.append(extent)
    return found


def _over(extent: Extent, limits: dict[str, Any]) -> bool:
    width, height = extent.right + 1, extent.bottom + 1
    return height > limits["rows"] or width > limits["columns"] or width * height > limits["cells"]


def _glance(parts: zipfile.ZipFile, name: str) -> Extent:
    """The cells of a sheet's part as its letters show them: a parser that tells each cell takes ten times as long."""
    extent = Extent()
    letters: set[bytes] = set()
    for text in _pieces(parts, name):
        letters.update(_LETTERS.findall(text))
        if rows := _ROWS.findall(text):
            extent.bottom, extent.top = max(extent.bottom, max(map(int, rows)) - 1), 0
        if b"f>" in text or b"/>" in text:
            for found in _WITHOUT_VALUE.finditer(text):
                extent.note(int(found[2]) - 1, column_number(found[1].decode()), NO_VALUE)
        for found in _ERRORS.finditer(text) if b't="e"' in text else ():
            extent.note(int(found[2]) - 1, column_number(found[1].decode()), found[3].decode("utf-8", "replace")[:40])
    if letters:
        extent.left, extent.right = 0, max(column_number(word.decode()) for word in letters)
    return extent


def _pieces(parts: zipfile.ZipFile, name: str) -> Iterator[bytes]:
    """The text of a part, cut between two cells."""
    rest = b""
    with parts.open(name) as part:
        while piece := part.read(_PIECE):
            text = rest + piece
            cut = max(*(text.rfind(mark) + len(mark) for mark in _ENDS), len(text) - _LONGEST_CELL)
            yield text[:cut]
            rest = text[cut:]
    yield rest


def _places_of_sheets(parts: zipfile.ZipFile, names: list[str]) -> dict[str, str]:
    """Which sheet each part is, by the relations of the workbook."""
    sheets: dict[str, str] = {}
    targets: dict[str, str] = {}

    def sheet(tag: str, has: dict[str, str]) -> None:
        if tag.endswith(" sheet"):
            number = next((value for key, value in has.items() if key.endswith("relationships id")), "")
            sheets[number] = has.get("name", "")

    def relation(tag: str, has: dict[str, str]) -> None:
        target = has.get("Target", "")
        targets[has.get("Id", "")] = target.removeprefix("/") if target.startswith("/") else f"xl/{target}"

    if "xl/workbook.xml" in names and "xl/_rels/workbook.xml.rels" in names:
        _read(parts, "xl/workbook.xml", sheet)
        _read(parts, "xl/_rels/workbook.xml.rels", relation)
    return {targets[number]: name for number, name in sheets.items() if number in targets}


class _XlsxCells:
    """How far the cells of a sheet's part reach that hold something."""

    def __init__(self) -> None:
        self.extent = Extent()
        self._row, self._column = -1, -1

    def begin(self, tag: str, has: dict[str, str]) -> None:
        name = tag.rpartition(" ")[2]
        if name == "row":
            row = has.get("r", "")
            self._row, self._column = int(row) - 1 if row.isdigit() else self._row + 1, -1
        elif name == "c":
            self._column += 1
            if found := _REF.match(has.get("r", "")):
                self._row, self._column = int(found[2]) - 1, column_number(found[1])
        elif name in ("v", "is") and self._row >= 0 and self._column >= 0:
            self.extent.add(self._row, self._column)

    def end(self, tag: str) -> None:
        """Nothing follows from the end of an element."""


def column_number(letters: str) -> int:
    """The number of a column from 0 by its letters."""
    number = 0
    for letter in letters.upper():
        number = number * 26 + ord(letter) - 64
    return number - 1


def _of_ods(parts: zipfile.ZipFile, limits: dict[str, Any]) -> Sheets:
    for text in _pieces(parts, "content.xml"):
        if any(mark.search(text) for mark in _ODS_MARKS):
            reader = _OdsCells()
            _read(parts, "content.xml", reader.begin, reader.end, reader.text)
            sheets = Sheets(limits, reader.extents)
            for name in reader.extents:  # all of them are read when the document is opened
                sheets.check(name)
            return sheets
    return Sheets(limits)


class _OdsCells:
    """The cells of a document: rows and cells say how often they repeat."""

    def __init__(self) -> None:
        self.extents: dict[str, Extent] = {}
        self._extent = Extent()
        self._row = self._column = self._rows = self._columns = 0
        self._valued, self._error, self._words = False, False, ""

    def begin(self, tag: str, has: dict[str, str]) -> None:
        name = tag.rpartition(" ")[2]
        if name == "table-source" or (name == "table" and _of(has, "name").startswith("'file:")):
            raise NotOpened("other", _LINKS)
        if name == "table":
            self._extent = self.extents.setdefault(_of(has, "name"), Extent())
            self._row, self._rows = 0, 0
        elif name == "table-row":
            self._row, self._rows = self._row + self._rows, _times(has, "number-rows-repeated")
            self._column, self._columns = 0, 0
        elif name in ("table-cell", "covered-table-cell"):
            self._column, self._columns = self._column + self._columns, _times(has, "number-columns-repeated")
            kinds = [value for key, value in has.items() if key.endswith(" value-type")]
            self._error = "error" in kinds
            self._valued, self._words = bool(kinds) or bool(_of(has, "formula")), ""

    def text(self, words: str) -> None:
        if len(self._words) < 40:
            self._words += words[:40]

    def end(self, tag: str) -> None:
        if tag.rpartition(" ")[2] not in ("table-cell", "covered-table-cell"):
            return
        if self._valued:
            self._extent.add(self._row, self._column, self._rows, self._columns)
        if self._error:
            self._extent.note(self._row, self._column, self._words.strip() or "#ERROR")
        self._valued = self._error = False


def _of(has: dict[str, str], name: str) -> str:
    return next((value for key, value in has.items() if key.rpartition(" ")[2] == name), "")


def _times(has: dict[str, str], name: str) -> int:
    word = _of(has, name)
    return int(word) if word.isdigit() and len(word) < 10 else 1
