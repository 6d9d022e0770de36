"""What the text of an unknown export shows by itself: encoding, separator, where its headings stand, decimal mark."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

from pipelines.errors import WrongUse
from pipelines.intake.foreign.table import header
from pipelines.intake.raw import split_line
from pipelines.plant.mapping import Mapping

TIME_FORMATS = (
    "%d.%m.%Y %H:%M:%S",
    "%d.%m.%Y %H:%M",
    "%d/%m/%Y %H:%M:%S",
    "%d/%m/%Y %H:%M",
    "%d-%m-%Y %H:%M:%S",
    "%d-%m-%Y %H:%M",
    "%d.%m.%y %H:%M:%S",
    "%d.%m.%y %H:%M",
    "%m/%d/%Y %H:%M:%S",
    "%m/%d/%Y %H:%M",
    "%m/%d/%Y %I:%M %p",
    "%m/%d/%Y %I:%M:%S %p",
    "%Y/%m/%d %H:%M:%S",
    "%Y/%m/%d %H:%M",
    "%Y%m%d %H%M%S",
    "%Y%m%d%H%M%S",
    "%Y%m%d%H%M",
    "%Y%m%d %H:%M:%S",
    "%Y%m%d %H:%M",
)
DATE_FORMATS = ("%d.%m.%Y", "%d/%m/%Y", "%d-%m-%Y", "%d.%m.%y", "%m/%d/%Y", "%Y/%m/%d", "%Y%m%d")
_NUMBER = re.compile(r"[+-]?\d{1,3}([ .,']?\d{3})*([.,]\d+)?\Z|[+-]?\d+([.,]\d+)?\Z")
_COMMA = re.compile(r"[+-]?\d+,\d+\Z")
GROUPED = re.compile(r"\d{1,3}([.,' ])\d{3}(\1\d{3})*\Z")
SUMS = re.compile(
    r"(?i)^(zwischensumme|summe|sum|subtotal|total\w*|gesamt|somme|ensemble|suma|razem|soma|somma|"
    r"bemerkung|anmerkung|note|notes|remark|nota|uwaga|uwagi|remarque|observa\w+)\b"
)
_SAMPLE = 400


@dataclass
class Text:
    """What the text itself shows."""

    encoding: str
    separator: str
    skip_lines: int
    header_lines: int
    headings: list[str]
    rows: list[list[str]]
    sheet: str | None = None
    feet: list[str] = field(default_factory=list)  # how lines begin that have not the width of the table

    def words(self, heading: str) -> list[str]:
        at = self.headings.index(heading)
        return [row[at].strip() for row in self.rows if at < len(row) and row[at].strip() and not is_left(row)]


def is_left(row: Sequence[str]) -> bool:
    """Whether a line is a total or a note, which says nothing of what its columns hold."""
    first = next((cell.strip() for cell in row if cell.strip()), "")
    return bool(SUMS.match(first))


def look(data: bytes) -> Text:
    encoding, text = _decode(data)
    lines = [line.rstrip("\r") for line in text.split("\n")[:_SAMPLE]]
    separator = _separator(lines)
    rows = [split_line(line, separator) for line in lines]
    widths = Counter(len(row) for row in rows if sum(bool(cell.strip()) for cell in row) > 1)
    if not widths:
        raise WrongUse("no table was found in the file: no separator (comma, semicolon, tab or bar) divides its lines")
    width = widths.most_common(1)[0][0]
    skip = next(n for n, row in enumerate(rows) if len(row) == width and sum(bool(cell.strip()) for cell in row) > 1)
    heads = heads_in(rows[skip:])
    shape = Mapping(files=("*",), feed="", separator=separator, skip_lines=skip, header_lines=heads)
    behind = rows[skip + heads :]
    feet = [row[0].strip() for row in behind if len(row) != width and row]
    table = [row for row in behind if len(row) == width]
    return Text(encoding, separator, skip, heads, header(text, shape), table, feet=feet)


def heads_in(rows: Sequence[Sequence[str]]) -> int:
    """How many rows are headings: those before the first column turns to times or numbers; where it never does, those
    without any.
    """
    first = [bool(row) and _is_value(row[0]) for row in rows]
    if any(first):
        return min(first.index(True), 4)
    return next((n for n, row in enumerate(rows[:4]) if any(_is_value(cell) for cell in row)), 1)


def _decode(data: bytes) -> tuple[str, str]:
    for mark, encoding in ((b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"), (b"\xef\xbb\xbf", "utf-8-sig")):
        if data.startswith(mark):
            return encoding.removesuffix("-sig"), data.decode(encoding, "replace")
    try:
        return "utf-8", data.decode("utf-8")
    except UnicodeDecodeError:
        return "cp1252", data.decode("cp1252", "replace")


def _separator(lines: Sequence[str]) -> str:
    def steadiness(separator: str) -> tuple[float, int]:
        counts = Counter(line.count(separator) for line in lines if line.strip())
        counts.pop(0, None)
        most = max(counts.values(), default=0)
        return most, max((n for n, times in counts.items() if times == most), default=0)

    return max(";\t|,", key=steadiness)


def _is_value(cell: str) -> bool:
    word = cell.strip()
    return bool(word) and (
        bool(_NUMBER.match(word))
        or format_of([word], (*TIME_FORMATS, *DATE_FORMATS, "%H:%M", "%H:%M:%S")) is not None
        or word[:4].isdigit()
    )


def format_of(words: Sequence[str], formats: Sequence[str]) -> str | None:
    return next((form for form in formats if words and all(_reads(word, form) for word in words)), None)


def _reads(word: str, form: str) -> bool:
    try:
        datetime.strptime(word, form)
    except ValueError:
        return False
    return True


def text_keys(text: Text) -> dict[str, object]:
    fields: dict[str, object] = {"sheet": text.sheet} if text.sheet is not None else {}
    if text.encoding != "utf-8":
        fields["encoding"] = text.encoding
    if text.separator != ",":
        fields["separator"] = text.separator
    if text.skip_lines:
        fields["skip_lines"] = text.skip_lines
    if text.header_lines != 1:
        fields["header_lines"] = text.header_lines
    cells = [cell.strip() for row in text.rows for cell in row]
    if text.separator != "," and any(_COMMA.match(cell) for cell in cells):
        fields["decimal"] = ","
    marks = Counter(found[1] for cell in cells if (found := GROUPED.match(cell)))
    mark = marks.most_common(1)[0][0] if marks else ""
    if (
        mark
        and mark != fields.get("decimal", ".")
        and (mark != "." or not any(re.fullmatch(r"\d+\.(\d{1,2}|\d{4,})", c) for c in cells))
    ):
        fields["thousands"] = mark
    firsts = [next((cell.strip() for cell in row if cell.strip()), "") for row in text.rows]
    sums = {found[0] for first in (*firsts, *text.feet) if (found := SUMS.match(first))}
    if sums:
        fields["leave_lines"] = [f"{word}*" for word in sorted(sums)]
    return fields
