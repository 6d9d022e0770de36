"""What every feed has in common: fields made from the glossary, and the feed's own description."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Annotated, Any

import pandera.polars as pa
import polars as pl

from schemas.quantities import QUANTITIES, Quantity, quantity_of

Time = Annotated[pl.Datetime, "us", "UTC"]
Date = pl.Date
Count = pl.Int64
Number = pl.Float64
Text = pl.String

DTYPES: dict[str, pl.DataType] = {
    "time": pl.Datetime("us", "UTC"),
    "date": pl.Date(),
    "count": pl.Int64(),
    "number": pl.Float64(),
    "code": pl.String(),
    "text": pl.String(),
}


def field(name: str, *, optional: bool = False) -> Any:
    """A pandera field with the range that the glossary gives this quantity, by its name there (`complaints.state`).
    KeyError for a name it does not know.
    """
    if name not in QUANTITIES:
        raise KeyError(f"'{name}' is no column of schemas/quantities.py: every column of a feed stands there first")
    quantity = QUANTITIES[name]
    limits: dict[str, Any] = {}
    if quantity.kind in ("count", "number"):
        limits = {"ge": quantity.low, "le": quantity.high}
    elif quantity.choices and not quantity.known_as:
        limits = {"isin": list(quantity.choices)}
    elif quantity.high is not None and not quantity.known_as:  # known codes are no longer than works.toml has them
        limits = {"str_length": {"max_value": int(quantity.high)}}
    return pa.Field(nullable=optional, description=quantity.meaning, **limits)


class FeedModel(pa.DataFrameModel):
    """Base of the pandera classes: exactly these columns, each of its type."""

    class Config:
        strict = True


@dataclass(frozen=True)
class Feed:
    """One feed of the contract.

    name: as in the file name; also the ledger's table.
    model: the pandera class that a frame of this feed must satisfy.
    key: columns that name one fact; a later row with the same key replaces the earlier.
    when: the column of time that says when the fact was, or None.
    where: the column by which facts lie together in the ledger.
    defaults: what an empty or missing column means.
    """

    name: str
    model: type[FeedModel]
    key: tuple[str, ...]
    when: str | None
    where: str
    grain: str
    defaults: dict[str, Any]
    example: dict[str, str]

    @cached_property
    def schema(self) -> Any:
        return self.model.to_schema()

    @cached_property
    def columns(self) -> tuple[str, ...]:
        return tuple(self.schema.columns)

    @cached_property
    def optional(self) -> frozenset[str]:
        """Columns whose value may be empty."""
        return frozenset(name for name, column in self.schema.columns.items() if column.nullable)

    @cached_property
    def omittable(self) -> frozenset[str]:
        """Columns that a file need not have."""
        return self.optional | self.defaults.keys()

    def quantity(self, column: str) -> Quantity:
        return quantity_of(self.name, column)

    def dtype(self, column: str) -> pl.DataType:
        return DTYPES[self.quantity(column).kind]


def feed_of(model: type[FeedModel]) -> Feed:
    """The description that a pandera class carries in its Config.metadata, as a Feed."""
    answer = model.Config.metadata  # type: ignore[attr-defined]
    return Feed(
        name=answer["feed"],
        model=model,
        key=tuple(answer["key"]),
        when=answer.get("when"),
        where=answer["where"],
        grain=answer["grain"],
        defaults=answer.get("defaults", {}),
        example=answer.get("example", {}),
    )
