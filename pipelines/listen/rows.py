"""One message as lines of JSON: an object a row, nested keys joined by points, levels of the topic as columns."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

from pipelines.clock import utc_text
from pipelines.plant_mapping import Topic


def topic_filter(topic: Topic) -> str:
    """The MQTT topic filter: a level in braces is any word."""
    return "/".join("+" if level.startswith("{") else level for level in topic.topic.split("/"))


def levels(topic: Topic, told: str) -> dict[str, str]:
    """The columns that the levels of a message's topic give."""
    pairs = zip(topic.topic.split("/"), told.split("/"), strict=False)
    return {mine[1:-1]: word for mine, word in pairs if mine.startswith("{")}


def rows_of(topic: Topic, told: str, payload: bytes, at: datetime) -> list[str]:
    """The lines that a message becomes, without line ends. What is no JSON stays as it came, so that the intake sets it aside where it can be seen."""
    try:
        said = json.loads(payload.decode("utf-8"), parse_float=_Number, parse_int=_Number)
    except (UnicodeDecodeError, ValueError, RecursionError):
        return [_one_line(payload)]
    given = levels(topic, told)
    return [_row(one, given, topic, at) for one in (said if isinstance(said, list) else [said])]


class _Number(str):
    """A number as it was written: 0.10 stays 0.10."""


def _row(said: Any, given: Mapping[str, str], topic: Topic, at: datetime) -> str:
    if not isinstance(said, dict):
        return json.dumps(said, ensure_ascii=False)
    cells = {**given, **dict(_flat(said))}
    if topic.arrival and not cells.get(topic.arrival):
        cells[topic.arrival] = utc_text(at)
    return json.dumps(cells, ensure_ascii=False)


def _flat(said: Mapping[str, Any], before: str = "") -> Iterator[tuple[str, Any]]:
    for key, value in said.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{before}{key}.")
        else:
            yield f"{before}{key}", value


def _one_line(payload: bytes) -> str:
    text = payload.decode("utf-8", "replace").replace("\r", " ").replace("\n", " ").replace("\0", "�")
    return text.strip() or "(an empty message)"
