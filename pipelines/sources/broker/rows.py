"""One message as lines of JSON: an object a row, nested keys joined by points, levels of the topic as columns."""

from __future__ import annotations

import json
import logging
from collections.abc import Iterator, Mapping
from datetime import datetime
from functools import lru_cache
from typing import Any

from pipelines.clock import utc_text
from pipelines.plant.mapping import BrokerTopic

log = logging.getLogger("coldledger.listen")


def topic_filter(topic: BrokerTopic) -> str:
    """The MQTT topic filter: a level in braces is any word."""
    return "/".join("+" if level.startswith("{") else level for level in topic.topic.split("/"))


def levels(topic: BrokerTopic, text: str) -> dict[str, str]:
    """The columns that the levels of a message's topic give."""
    pairs = zip(topic.topic.split("/"), text.split("/"), strict=False)
    return {mine[1:-1]: word for mine, word in pairs if mine.startswith("{")}


def rows_of(topic: BrokerTopic, text: str, payload: bytes, at: datetime) -> list[str]:
    """The lines that a message becomes, without line ends. What can be no row stays as it came, so that the intake sets
    it aside where it can be seen; nothing is raised.
    """
    try:
        said = json.loads(payload.decode("utf-8"), parse_float=_Number, parse_int=_Number)
        given = levels(topic, text)
        return [_row(each, given, topic, at) for each in (said if isinstance(said, list) else [said])]
    except Exception as error:  # whatever comes is kept: a message that is not acknowledged comes for ever
        if not isinstance(error, UnicodeDecodeError | ValueError | RecursionError):
            log.error(
                "a message of %s could not be made out (%s); it is set aside as it came",
                text[:200],
                type(error).__name__,
            )
        return [_one_line(payload)]


class _Number(str):
    """A number as it was written: 0.10 stays 0.10."""


def _row(said: Any, given: Mapping[str, str], topic: BrokerTopic, at: datetime) -> str:
    """A row as a line. What the topic says holds: a broker grants rights by topic, so that a station cannot speak for
    another.
    """
    if not isinstance(said, dict):
        return json.dumps(said, ensure_ascii=True)
    own = dict(_flat(said))
    for key, word in given.items():
        if own.get(key) not in (None, "", word):
            _tell("/".join(given.values()), key, str(own[key])[:80], word)
    cells = {**own, **given}
    if topic.arrival and not cells.get(topic.arrival):
        cells[topic.arrival] = utc_text(at)
    text = json.dumps(cells, ensure_ascii=False)
    try:
        text.encode()
    except (
        UnicodeEncodeError
    ):  # half of a pair of UTF-16: as it was written, so that the intake refuses it and nothing is made up
        return json.dumps(cells)
    return text


@lru_cache(4096)
def _tell(at: str, key: str, said: str, held: str) -> None:
    """Say once that a message contradicts its topic."""
    log.warning(
        "messages of %s say %s = '%s', their topic says '%s': the topic holds; mend what sends them",
        at,
        key,
        said,
        held,
    )


def _flat(said: Mapping[str, Any], before: str = "") -> Iterator[tuple[str, Any]]:
    for key, value in said.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{before}{key}.")
        else:
            yield f"{before}{key}", value


def _one_line(payload: bytes) -> str:
    text = payload.decode("utf-8", "replace").replace("\r", " ").replace("\n", " ").replace("\0", "�")
    return text.strip() or "(an empty message)"
