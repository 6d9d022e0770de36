"""A database's values as the words of a feed file, in the source's own columns."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from datetime import UTC, date, datetime
from datetime import time as time_of_day
from decimal import Decimal
from hashlib import blake2b
from typing import Any

_LARGEST = 10**15  # whole numbers up to here are exact


def cell(value: Any, decimal: str = ".") -> str:
    """The word of a value. Numbers with the decimal mark of the source's mapping, whole ones without one; times with an
    offset in UTC, others as they stand; nothing for NULL; bytes as 0x and their hexadecimal digits.
    """
    if value is None:
        return ""
    if isinstance(value, str):
        return value.replace("\0", "\ufffd")
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float | Decimal):
        return _number(value).replace(".", decimal)
    if isinstance(value, datetime):
        return _moment(value)
    if isinstance(value, date | time_of_day):
        return value.isoformat()
    if isinstance(value, bytes | bytearray | memoryview):
        return f"0x{bytes(value).hex()}"
    if isinstance(value, dict | list | tuple):
        return json.dumps(value, ensure_ascii=False, default=str)
    return str(value)


def _number(value: float | Decimal) -> str:
    if not math.isfinite(value):
        return str(value)
    exact = value if isinstance(value, Decimal) else Decimal(repr(value))
    if exact == int(exact) and abs(exact) < _LARGEST:
        return str(int(exact))
    return f"{exact:f}"


def _moment(value: datetime) -> str:
    if value.tzinfo is None:
        return value.isoformat(sep=" ")
    return value.astimezone(UTC).isoformat(sep=" ").replace("+00:00", "Z")


def digest(cells: Sequence[str]) -> str:
    """What tells a row from every other."""
    text = "\x1f".join(cells).encode("utf-8", "surrogateescape")
    return blake2b(text, digest_size=12).hexdigest()
