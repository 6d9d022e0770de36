"""The fields of a feed's form, made from its class and the plant; and what was typed, as the feed wants it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from contextlib import suppress
from datetime import datetime

from pipelines.clock import BadTime, WorksClock, parse_timestamp, utc_text
from pipelines.errors import WrongUse
from pipelines.local_times import local_moment
from pipelines.numbers import count
from pipelines.pages.forms import Field, choice, field, moment
from pipelines.plant.works import Plant
from pipelines.words import defect_name, joined, say, sentence_of, worded
from pipelines.words.columns import COLUMNS
from schemas.feeds.base import Feed
from schemas.quantities import Quantity

WHO = "by"  # whoever is signed in
_DECIMAL = re.compile(r"[+-]?\d+,\d+")
_UNITS = ("g", "kg", "kWh", "mm", "°C", "%", "s", "g/cm3")  # what a field says beside its limits; others are its name


def entry_fields(plant: Plant, feed: Feed, given: Mapping[str, str], moulds: Sequence[str], now: str) -> list[Field]:
    """A field for each column but the person's name. given: what is in hand, by column; moulds: fitted now; now: as
    `WorksClock.typed` has it, where a row begins with its own time.
    """
    return [
        _field(plant, feed, column, given.get(column, now if column == feed.when else ""), moulds)
        for column in feed.columns
        if column != WHO
    ]


def _field(plant: Plant, feed: Feed, column: str, value: str, moulds: Sequence[str]) -> Field:
    quantity, needed = feed.quantity(column), column not in feed.omittable
    label = COLUMNS[column]
    if not needed:
        label = say("{label} (may be left out)", label=label)
    if quantity.kind == "time":
        return {**moment(column, label, value, plant), "needed": needed}
    if quantity.kind == "date":
        return field(column, label, value, "date", needed)
    if quantity.kind == "code":
        return choice(column, label, [("", "–"), *_choices(plant, quantity)], value, needed)
    offered = moulds if column == "mould" else ()
    most = 20 if quantity.kind in ("count", "number") else int(quantity.high or 200)
    shown = {**field(column, label, value, "text", needed, most, _hint(quantity), offered)}
    return {**shown, "mode": {"count": "numeric", "number": "decimal"}.get(quantity.kind, "")}


def _choices(plant: Plant, quantity: Quantity) -> list[tuple[str, str]]:
    """The codes that a plant knows, with their names; words of the contract."""
    found: list[tuple[str, str]] = []
    for table in quantity.known_as.split():
        for row in getattr(plant, table):
            code = row.code if table == "defect" else row.id
            name = defect_name(row.name) if table == "defect" else getattr(row, "name", "")
            found.append((code, joined(" ", (code, name)) if name else code))
    return [*found, *((word, worded(word.replace("_", " "))) for word in quantity.choices)]


def _hint(quantity: Quantity) -> str:
    """Unit, limits and an example."""
    if quantity.kind == "text":
        return say("such as {example}", example=quantity.example) if quantity.example else ""
    unit = quantity.unit if quantity.unit in _UNITS else ""
    low, high = (f"{each:g}" if abs(each) < 10_000 else count(each) for each in (quantity.low or 0, quantity.high or 0))
    if not unit:
        return say("{low} to {high}, such as {example}", low=low, high=high, example=quantity.example)
    return say("{unit}, {low} to {high}, such as {example}", unit=unit, low=low, high=high, example=quantity.example)


def entered(
    feed: Feed, sent: Mapping[str, str], clock: WorksClock, now: datetime
) -> tuple[dict[str, str], dict[str, str]]:
    """What was typed as a row of the feed, and the mistakes that only a person makes: times by the works' clock."""
    row: dict[str, str] = {}
    wrong: dict[str, str] = {}
    for column in feed.columns:
        text = sent.get(column, "").strip()
        quantity = feed.quantity(column)
        if column == WHO or not text:
            if not text and column != WHO and column not in feed.omittable:
                wrong[column] = say("This must be filled in.")
            continue
        if quantity.kind == "time":
            try:
                text = utc_text(local_moment(text, clock, now))
            except WrongUse as error:
                wrong[column] = sentence_of(error)
        elif quantity.kind in ("count", "number") and _DECIMAL.fullmatch(text):
            text = text.replace(",", ".")
        row[column] = text
    return row, wrong


def as_typed(feed: Feed, row: Mapping[str, str], clock: WorksClock) -> dict[str, str]:
    """A row of an archived file as its form shows it: times by the works' clock."""
    shown = {}
    for column in feed.columns:
        text = row.get(column) or ""
        if text and feed.quantity(column).kind == "time":
            with suppress(BadTime):
                text = clock.typed(parse_timestamp(text))
        shown[column] = text
    return shown
