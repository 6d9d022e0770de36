"""The store of the invented works: ware that breaks beside pallets, pallets that leave, and pallets that come back.
Each is added to a works that has lived already, so that nothing of it changes.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import polars as pl

from sample_feeds.simulator.works import Simulated

MOMENT = pl.Datetime("us", "UTC")
LOAD = 18  # pallets on one vehicle
CUSTOMERS = ("C-EAST", "C-WEST", "C-SOUTH")  # where works.toml names nobody who takes an item
REASONS = ("foil torn on the road", "wrong item loaded", "refused at the door")


def broken_ware(simulated: Simulated, seed: int, often: float = 1.5) -> Simulated:
    """Ware breaks `often` a line and day, at packing, in the lehr or at a station; most places are cleared, some not
    yet.

    truth["breakages"]: line, place, broke_at, pallet (one a row, that really was struck by fragments; empty for none).
    """
    plan, rng = simulated.plan, np.random.default_rng([seed, 73])
    rows: list[dict[str, Any]] = []
    true: list[dict[str, Any]] = []
    minutes = (plan.at(plan.minutes) - plan.cold_from).total_seconds() / 60
    for line in plan.lines:
        places = ["packing", "packing", "lehr", "hot_end", *(s.id for s in plan.plant.stations_of(line))]
        for _ in range(int(rng.poisson(often * minutes / 1440))):
            at = (plan.cold_from + timedelta(minutes=float(rng.uniform(5, minutes - 5)))).replace(microsecond=0)
            place = str(rng.choice(places))
            cleared = at + timedelta(minutes=int(rng.integers(3, 25))) if rng.random() < 0.9 else None
            rows.append({"broke_at": at, "line": line, "place": place, "cleared_at": cleared, "by": "shift"})
            struck: list[str | None] = [*_beside(simulated, line, at)] if place == "packing" else []
            true += [{"line": line, "place": place, "broke_at": at, "pallet": pallet} for pallet in struck or [None]]
    words = dict.fromkeys(("line", "place"), pl.String)
    schema: dict[str, Any] = {"broke_at": MOMENT, **words, "cleared_at": MOMENT, "by": pl.String}
    frame = pl.DataFrame(rows, schema=schema).unique(["broke_at", "line", "place"], keep="first").sort("broke_at")
    truth = pl.DataFrame(true, schema={**words, "broke_at": MOMENT, "pallet": pl.String})
    return replace(
        simulated, feeds={**simulated.feeds, "breakages": frame}, truth={**simulated.truth, "breakages": truth}
    )


def _beside(simulated: Simulated, line: str, at: datetime) -> list[str]:
    """The pallets that were being packed on a line at a moment."""
    packing = (pl.col("line") == line) & (pl.col("packed_from") <= at) & (pl.col("packed_to") >= at)
    return simulated.feeds["pallets"].filter(packing)["pallet"].unique().sort().to_list()


def shipped(simulated: Simulated, seed: int, *, share: float = 0.4, back: float = 0.02) -> Simulated:
    """A share of the pallets that are whole and neither held nor emptied leaves in loads, some hours after it was
    packed; a share of those comes back a few hours later.

    truth["whereabouts"]: pallet, delivery, customer, dispatched_at, returned_at (empty: it stayed away).
    """
    plan, rng = simulated.plan, np.random.default_rng([seed, 74])
    end = plan.at(plan.minutes)
    last = simulated.feeds["pallets"].unique("pallet", keep="last", maintain_order=True)
    free = last.filter(pl.col("state").is_in(["packed", "released"])).sort("packed_to", "pallet")
    chosen = free.filter(pl.Series(rng.random(free.height), dtype=pl.Float64) < share)
    rows: list[dict[str, Any]] = []
    for (item,), pallets in chosen.group_by(["item"], maintain_order=True):
        takers = [customer.id for customer in plan.plant.customer if item in customer.items] or list(CUSTOMERS)
        for start in range(0, pallets.height, LOAD):
            load = pallets[start : start + LOAD]
            newest: datetime = load["packed_to"].to_list()[-1]
            at = (newest + timedelta(hours=float(rng.uniform(1, 6)))).replace(microsecond=0)
            if at >= end:
                continue
            delivery, customer = f"D-{plan.cold_from:%y}-{len(rows) + 1:04d}", str(rng.choice(takers))
            for pallet, units in load.select("pallet", "units").iter_rows():
                later = (at + timedelta(hours=float(rng.uniform(1, 8)))).replace(microsecond=0)
                came = later if rng.random() < back and later < end else None
                went = {"pallet": pallet, "dispatched_at": at, "delivery": delivery, "customer": customer}
                rows.append({**went, "units": units, "returned_at": came, "reason": str(rng.choice(REASONS))})
    words = dict.fromkeys(("delivery", "customer"), pl.String)
    schema: dict[str, Any] = {"pallet": pl.String, "dispatched_at": MOMENT, **words, "units": pl.Int64}
    every = pl.DataFrame(rows, schema={**schema, "returned_at": MOMENT, "reason": pl.String})
    dispatches = every.select("pallet", "dispatched_at", "delivery", "customer").sort("dispatched_at", "pallet")
    returned = every.filter(pl.col("returned_at").is_not_null())
    returns = returned.select("pallet", "returned_at", "units", "delivery", "reason").sort("returned_at", "pallet")
    truth = every.select("pallet", "delivery", "customer", "dispatched_at", "returned_at")
    feeds = {**simulated.feeds, "dispatches": dispatches, "returns": returns}
    return replace(simulated, feeds=feeds, truth={**simulated.truth, "whereabouts": truth})
