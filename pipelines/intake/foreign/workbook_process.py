"""A process of its own that reads the sheets of one workbook: whatever the file makes of it, it can take so much memory
and time and no more, and nobody beside it falls with it. Run by its path; imports nothing of the program.

In: the workbook's bytes. Argument: a JSON object with `sheets` (names, globs or numbers from 1; none: the first that is
shown), `merged` (whether it is asked what is merged), `unpacked` [bytes], `rows`, `cells`, `columns` (limits) and
`memory` [bytes], `seconds`.
Out: JSON lines. `{"refused": kind, "says": sentence}` ends it; else `{"names": [...]}`, then for each sheet taken
`{"sheet": name}` and `[row, first column, cells]` of each row that is not blank, both counted from 1. Where it is asked
what is merged, `{"sheet": ...}` has `hidden` and `merged` too: top, left, bottom, right of each such cell, from 1.
A cell is text, a number, true or false; a day is `2026-03-02`, a moment `2026-03-02 07:20`, a time of day `07:20`.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import io
import json
import math
import resource
import sys
from collections.abc import Iterator
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))
from workbook_parts import NotOpened, looked_at, wide  # type: ignore[import-not-found]

_MOST_MERGED = 5_000
_EXACT = 1e15  # a workbook keeps fifteen digits of a number
Cell = str | int | float | bool


def main(asked: dict[str, Any], data: bytes) -> Iterator[object]:
    """The lines of the answer, one after another."""
    import python_calamine as calamine

    try:
        found = looked_at(data, asked)
        with calamine.load_workbook(io.BytesIO(data)) as book:
            yield {"names": book.sheet_names}
            for name in _wanted(book, asked["sheets"]):
                found.check(name)
                sheet = book.get_sheet_by_name(name)
                _check_size(sheet, name, asked)
                yield {"sheet": name, **(_layout(book, sheet, name) if asked.get("merged") else {})}
                yield from _rows(sheet, found.strange(name))
    except NotOpened as refused:
        yield {"refused": refused.kind, "says": refused.says}
    except calamine.PasswordError:
        yield {"refused": "other", "says": "is locked by a password; save it without one"}
    except MemoryError:
        raise
    except Exception as error:
        yield {"refused": "broken", "says": str(error)[:120]}


def _wanted(book: Any, asked: list[str | int]) -> list[str]:
    """The names of the sheets that are taken, each once, in the order in which they were asked for."""
    names: list[str] = book.sheet_names
    if not asked:
        shown = [m.name for m in book.sheets_metadata if _is(m.visible, "Visible") and _is(m.typ, "WorkSheet")]
        return (shown or names)[:1]
    found: list[str] = []
    for each in asked:
        if isinstance(each, int):
            here = names[each - 1 : each] if each > 0 else []
        else:
            here = [each] if each in names else [name for name in names if fnmatchcase(name, each)]
        if not here:
            listed = ", ".join(f"'{name[:31]}'" for name in names[:12])
            raise NotOpened("other", f"has no sheet {each!r}; it has {listed}")
        found += here
    return list(dict.fromkeys(found))


def _is(kind: object, name: str) -> bool:
    return str(kind).rpartition(".")[2] == name


def _layout(book: Any, sheet: Any, name: str) -> dict[str, object]:
    """Whether a sheet is shown, and what of it is merged, as far as its kind of file tells."""
    try:
        ranges = sheet.merged_cell_ranges or ()
    except Exception:  # what only formats is no reason to leave the cells unread
        ranges = ()
    visible = next(m.visible for m in book.sheets_metadata if m.name == name)
    merged = [(top + 1, left + 1, bottom + 1, right + 1) for (top, left), (bottom, right) in ranges[:_MOST_MERGED]]
    return {"hidden": not _is(visible, "Visible"), "merged": merged}


def _check_size(sheet: Any, name: str, asked: dict[str, Any]) -> None:
    if sheet.end is None:
        return
    width, height = sheet.width, sheet.height
    if sheet.end[0] + 1 > asked["rows"]:
        raise NotOpened("large", f"{asked['rows']:,} rows")
    if width > asked["columns"] or width * height > asked["cells"]:
        raise NotOpened("other", wide(name, width, height))


def _rows(sheet: Any, strange: dict[tuple[int, int], str]) -> Iterator[object]:
    if sheet.start is None:
        return
    first = sheet.start[1]
    for number, row in enumerate(sheet.iter_rows()):
        cells = [_plain(cell) for cell in row]
        if strange:
            for at in range(len(cells)):
                if (number, first + at) in strange and cells[at] == "":
                    cells[at] = strange[number, first + at]
        if any(cell != "" for cell in cells):
            yield [number + 1, first + 1, cells]


def _plain(cell: Any) -> Cell:
    if isinstance(cell, str | bool | int):
        return cell
    if isinstance(cell, float):
        return _number(cell)
    if isinstance(cell, dt.datetime):
        return _moment(cell)
    if isinstance(cell, dt.date):
        return cell.isoformat()
    if isinstance(cell, dt.timedelta):
        seconds = round(cell.total_seconds())
        return _of_day(seconds // 3600, seconds // 60 % 60, seconds % 60)
    if isinstance(cell, dt.time):
        whole = _whole(dt.datetime.combine(dt.date(2000, 1, 1), cell))
        return _of_day(whole.hour, whole.minute, whole.second)
    return str(cell)


def _number(value: float) -> Cell:
    if not math.isfinite(value):
        return str(value)
    if value.is_integer():
        return int(value) if abs(value) < _EXACT else f"{value:.0f} (a number of which a sheet keeps fifteen digits)"
    return value


def _moment(value: dt.datetime) -> str:
    whole = _whole(value)
    if (whole.hour, whole.minute, whole.second) == (0, 0, 0):
        return whole.date().isoformat()
    return f"{whole.date().isoformat()} {_of_day(whole.hour, whole.minute, whole.second)}"


def _whole(value: dt.datetime) -> dt.datetime:
    """To the second: a sheet keeps a time as a fraction of a day."""
    return (value + dt.timedelta(milliseconds=500)).replace(microsecond=0)


def _of_day(hours: int, minutes: int, seconds: int) -> str:
    return f"{hours:02d}:{minutes:02d}" + (f":{seconds:02d}" if seconds else "")


def _bound(asked: dict[str, Any]) -> None:
    for kind, most in ((resource.RLIMIT_AS, asked["memory"]), (resource.RLIMIT_CPU, asked["seconds"])):
        hard = resource.getrlimit(kind)[1]
        resource.setrlimit(kind, (most, most) if hard == resource.RLIM_INFINITY else (min(most, hard), hard))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


if __name__ == "__main__":
    spec = json.loads(sys.argv[1])
    _bound(spec)
    with contextlib.suppress(BrokenPipeError):
        for line in main(spec, sys.stdin.buffer.read()):
            sys.stdout.write(json.dumps(line) + "\n")
        sys.stdout.flush()
