"""What every answer is: frozen, its moments written in UTC."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, PlainSerializer


def _utc(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


Moment = Annotated[datetime, PlainSerializer(_utc, when_used="json")]


class Result(BaseModel):
    model_config = ConfigDict(populate_by_name=True, frozen=True)

    def told(self) -> dict[str, Any]:
        """The answer as JSON values, under the contract's names."""
        return self.model_dump(mode="json", by_alias=True)


@dataclass(frozen=True)
class Meaning:
    """What a field says. unit: of its numbers (a share's: 0..1 of what), or the clock of its time; empty for words."""

    words: str
    unit: str = ""


SURE = 0.8  # a place less probable than this is called a guess
