"""The last net: whatever goes wrong with one file is that file's trouble alone. What is a fault of this program is said
to be one.
"""

from __future__ import annotations

import traceback
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pipelines.errors import ColdledgerError, FileRefused
from schemas.reasons import Reason

_STOPS = (KeyboardInterrupt, SystemExit, GeneratorExit)
_LONGEST_NAME = 200  # bytes; a file system takes 255, and archive, quarantine and half-written files add to a name


class OneFileFailed(Exception):
    """Something that is neither a refusal nor the site's trouble went wrong; `refused` says so of the file at hand."""

    def __init__(self, error: BaseException):
        self.refused = FileRefused(Reason.OUR_FAULT, expected=where_it_failed(error))
        super().__init__(str(self.refused))


@contextmanager
def net() -> Iterator[None]:
    """Turns what nobody foresaw into OneFileFailed. Refusals, troubles of the site (no disk, a ledger that is held) and
    being stopped go through as they are.
    """
    try:
        yield
    except (ColdledgerError, OSError, OneFileFailed):
        raise
    except BaseException as error:  # a panic of a library is no Exception
        if isinstance(error, _STOPS):
            raise
        raise OneFileFailed(error) from error


def where_it_failed(error: BaseException) -> str:
    """The kind of an exception and the line of this program that met it, such as `KeyError, cast.py line 40`."""
    ours = [
        frame_summary
        for frame_summary in traceback.extract_tb(error.__traceback__)
        if "pipelines" in frame_summary.filename
    ]
    at = f", {Path(ours[-1].filename).name} line {ours[-1].lineno}" if ours else ""
    return f"{type(error).__name__}{at}"


def plain_name(name: str) -> str:
    """A file's name as it is shown and kept: what is no UTF-8 or controls a terminal is a replacement mark."""
    text = name.encode("utf-8", "surrogateescape").decode("utf-8", "replace")
    return "".join("\ufffd" if unicodedata.category(c) in ("Cc", "Cs", "Zl", "Zp") else c for c in text)


def short_name(name: str, sha256: str = "", most: int = _LONGEST_NAME) -> str:
    """A name that a file system takes with what is put before and behind it: a long one loses its middle, never its
    feed or its ending. sha256: kept apart by it.
    """
    if len(name.encode()) <= most:
        return name
    _, dot, rest = name.partition(".")
    ending = "".join(Path(rest).suffixes[-2:])[-30:] if dot else ""
    mark = f".{sha256[:12]}" if sha256 else ""
    room = most - len(f"{mark}{ending}".encode())
    return name.encode()[:room].decode("utf-8", "ignore") + mark + ending
