"""How far a source was read: the greatest value of the column that only grows, of whatever kind that is."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from pipelines.plant.database import DatabaseSource
from pipelines.sources.database.trouble import SourceTrouble
from pipelines.words import say

_TEXT = re.compile(
    r"(?P<day>\d{4}-\d\d-\d\d)(?:(?P<between>[T ])(?P<clock>\d\d:\d\d)(?P<second>:\d\d)?(?P<part>[.]\d{1,9})?"
    r"(?P<zone>Z|[+-]\d\d:?\d\d)?)?\Z",
    re.ASCII,
)


@dataclass(frozen=True)
class Watermark:
    """kind: time (with an offset), local (without), day, whole, decimal, float, text (a time as text)."""

    kind: str
    value: Any

    @classmethod
    def of(cls, value: Any) -> Watermark:
        """That of a value. SourceTrouble where nothing of its kind can only grow."""
        if value is None:
            raise SourceTrouble(say("a row has nothing in its `since` column"))
        kind = _KINDS.get(type(value), "")
        if isinstance(value, datetime):
            kind = "time" if value.tzinfo else "local"
        if not kind:
            raise SourceTrouble(_unfit(value))
        if kind == "text" and not _TEXT.match(value):
            raise SourceTrouble(_unfit(value))
        if kind in ("float", "decimal") and not math.isfinite(value):
            raise SourceTrouble(_unfit(value))
        return cls(kind, value.astimezone(UTC) if kind == "time" else value)

    @classmethod
    def kept(cls, texts: dict[str, str]) -> Watermark:
        """What `told` gave."""
        kind, text = texts["kind"], texts["value"]
        return cls(kind, READERS[kind](text))

    @property
    def told(self) -> dict[str, str]:
        """As plain texts."""
        return {"kind": self.kind, "value": self.shown}

    @property
    def shown(self) -> str:
        if isinstance(self.value, datetime):
            return self.value.isoformat(sep=" ").replace("+00:00", "Z")
        return repr(self.value) if self.kind == "float" else str(self.value)

    def before(self, source: DatabaseSource) -> Any:
        """What is asked from: earlier by as much as rows can be written late."""
        back = timedelta(minutes=source.again_minutes)
        if self.kind in ("time", "local"):
            return self.value - back
        if self.kind == "day":
            return self.value - max(timedelta(1), timedelta(math.ceil(back / timedelta(1))))
        if self.kind == "text":
            return _shifted(self.value, back)
        return self.value - source.again_numbers

    def not_after(self, now: datetime, zone: ZoneInfo) -> Watermark:
        """The same, or now where it is later: a clock that was wrong must not hide what follows."""
        if self.kind in ("whole", "decimal", "float"):
            return self
        latest = self._at(now, zone)
        return self if self.value <= latest else Watermark(self.kind, latest)

    def _at(self, now: datetime, zone: ZoneInfo) -> Any:
        if self.kind == "time":
            return now
        local = now.astimezone(zone).replace(tzinfo=None)
        if self.kind == "local":
            return local
        if self.kind == "day":
            return local.date()
        found = _TEXT.match(self.value)
        assert found is not None
        if found["zone"]:
            local = now.astimezone(datetime.fromisoformat(f"2000-01-01T00:00{found['zone']}").tzinfo)
        return _as_text(local, found)


def _unfit(value: Any) -> str:
    return say(
        "its `since` column has '{value}', which is no time, day or number; make one of it in the query",
        value=str(value)[:40],
    )


def _shifted(text: str, back: timedelta) -> str:
    found = _TEXT.match(text)
    assert found is not None
    if found["between"] is None:
        back = max(timedelta(1), timedelta(math.ceil(back / timedelta(1))))
    at = datetime.fromisoformat(f"{found['day']} {found['clock'] or '00:00'}{found['second'] or ''}")
    return _as_text(at - back, found)


def _as_text(at: datetime, like: re.Match[str]) -> str:
    """A time as another is written."""
    if like["between"] is None:
        return f"{at:%Y-%m-%d}"
    second = f":{at:%S}" if like["second"] else ""
    return f"{at:%Y-%m-%d}{like['between']}{at:%H:%M}{second}{like['part'] or ''}{like['zone'] or ''}"


_KINDS = {int: "whole", Decimal: "decimal", float: "float", date: "day", str: "text"}
READERS: dict[str, Any] = {
    "time": datetime.fromisoformat,
    "local": datetime.fromisoformat,
    "day": date.fromisoformat,
    "whole": int,
    "decimal": Decimal,
    "float": float,
    "text": str,
}
FIRST: dict[str, Any] = {  # of a database that tells its columns' kinds
    "time": datetime(1970, 1, 1, tzinfo=UTC),
    "local": datetime(1970, 1, 1),
    "day": date(1970, 1, 1),
    "number": -1,
    "text": "",
}
