"""Weights by mould against the item's limits."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from pipelines.plant import Item, Plant


@dataclass(frozen=True)
class ItemWeights:
    """Cold weighings of one item on one line.

    moulds: mould, n, mean_g, sd_g (null for one weighing), low_g, high_g.  outside: weighings beyond the limits.
    """

    item: Item
    n: int
    mean_g: float
    sd_g: float | None
    outside: int
    moulds: pl.DataFrame


def item_weights_of(plant: Plant, weighings: pl.DataFrame) -> list[ItemWeights]:
    """One entry an item. weighings: mould, weight_g, item (null where no log tells; those are left out)."""
    found = []
    for (code,), part in weighings.filter(pl.col("item").is_not_null()).group_by(["item"], maintain_order=True):
        item = plant.items.get(str(code))
        if item is None:
            continue
        g = pl.col("weight_g")
        moulds = part.group_by("mould").agg(
            pl.len().alias("n"),
            g.mean().alias("mean_g"),
            g.std().alias("sd_g"),
            g.min().alias("low_g"),
            g.max().alias("high_g"),
        )
        below = part.filter(g < (item.weight_min_g or 0.0)).height
        above = part.filter(g > item.weight_max_g).height if item.weight_max_g is not None else 0
        mean, sd = part.select(g.mean().alias("m"), g.std().alias("s")).row(0)
        found.append(ItemWeights(item, part.height, mean, sd, below + above, moulds.sort("mean_g", descending=True)))
    return found
