"""What stands on a page and is no sentence: the names of a works, its files and its tables."""

from __future__ import annotations

import re
from pathlib import Path

from schemas.feeds import ALL_FEEDS
from tests.conftest import Place

_WORD = re.compile(r"[^\W\d_]{2,}")
UNITS = {"kg", "min", "ml", "mm", "pH", "ppm"}
SQL = Path(__file__).parent.parent.parent / "sql"


def names_of(place: Place) -> set[str]:
    """The words of every name that a works gives, and of every file."""
    plant = place.plant
    texts: list[str] = [plant.works.name, *plant.lines, *plant.furnaces, *plant.stations, *plant.items, *plant.defects]
    texts += [name for defect in plant.defects.values() for name in (defect.name, defect.name.capitalize())]
    texts += [item.name for item in plant.items.values()]
    texts += [plant.sampling.level, plant.works.timezone]
    texts += [path.stem for path in SQL.rglob("*.sql")]
    for feed in ALL_FEEDS:
        texts += [feed if isinstance(feed, str) else feed.name]
    texts += ["intake", "close", "follow"]  # flows, by the names of their commands
    texts += ["English", "Deutsch", "sql", "archive", "csv", "xlsx", "SHA", "CSV", "coldledger", "works.toml"]
    return UNITS | {word for text in texts for word in _WORD.findall(text)}


def refused_names(place: Place) -> set[str]:
    """What the ledger keeps of refused values: what came, and what the intake had expected, as it said so then."""
    with place.opened.ledger.reading() as reader:
        rows = list(reader.ask("refusals_open", most=200, from_batch=0).iter_rows(named=True))
    texts = [row[name] or "" for row in rows for name in ("file", "column_name", "value", "expected")]
    return {word for text in texts for word in _WORD.findall(text)}


def causes_of(place: Place) -> set[str]:
    """The causes of stops, as a works wrote them."""
    with place.opened.ledger.reading() as reader:
        causes = reader.current("stoppages")["cause"].drop_nulls().to_list()
    return {word for cause in causes for word in _WORD.findall(cause)}
