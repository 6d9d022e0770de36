"""What goes wrong after the stations and on the way: feeds that never come, stop, come late and in any order; pallets
packed anew, mixed, doubtful.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import polars as pl

from sample_feeds.simulator.works import Simulated, sscc
from sample_feeds.simulator.write import encode, feed_files

MOMENT = pl.Datetime("us", "UTC")
SILENT_H = (1.0, 12.0)
_LINE_NO = {"resorted": 7, "doubtful": 8}  # in the identities of pallets that no line made


@dataclass(frozen=True)
class DisturbedDelivery:
    """One feed file and when it comes into the inbox."""

    arrives_at: datetime
    name: str
    data: bytes


def without(simulated: Simulated, *feeds: str) -> Simulated:
    """The works that never sends these feeds. truth["absent"]: feed."""
    kept = {name: frame.clear() if name in feeds else frame for name, frame in simulated.feeds.items()}
    return replace(simulated, feeds=kept, truth={**simulated.truth, "absent": pl.DataFrame({"feed": list(feeds)})})


def challenged_at(simulated: Simulated, stations: Sequence[str]) -> Simulated:
    """Challenges at these stations only. truth["challenged"]: station."""
    frame = simulated.feeds["challenge_checks"].filter(pl.col("station").is_in(list(stations)))
    truth = {**simulated.truth, "challenged": pl.DataFrame({"station": list(stations)}, schema={"station": pl.String})}
    return replace(simulated, feeds={**simulated.feeds, "challenge_checks": frame}, truth=truth)


def fallen_silent(simulated: Simulated, seed: int, often: float) -> Simulated:
    """Stations' counts stop, `often` times a station and day, for 1 to 12 hours, and are never sent. truth["silent"]:
    station, start, end.
    """
    plan, rng = simulated.plan, np.random.default_rng([seed, 60])
    rows: list[dict[str, Any]] = []
    first = (plan.cold_from - plan.start).total_seconds() / 60
    for station in plan.plant.stations:
        for _ in range(int(rng.poisson(often * (plan.minutes - first) / 1440))):
            start = float(rng.uniform(first, plan.minutes))
            end = start + float(rng.uniform(*SILENT_H)) * 60
            rows.append({"station": station, "start": plan.at(start), "end": plan.at(end)})
    frame = pl.DataFrame(rows, schema={"station": pl.String, "start": MOMENT, "end": MOMENT})
    feeds = dict(simulated.feeds)
    for feed in ("station_counts", "reject_counts"):
        lost = pl.lit(False)
        for row in rows:
            inside = (pl.col("window_start") >= row["start"]) & (pl.col("window_start") < row["end"])
            lost |= (pl.col("station") == row["station"]) & inside
        feeds[feed] = feeds[feed].filter(~lost)
    return replace(simulated, feeds=feeds, truth={**simulated.truth, "silent": frame})


def deliveries(
    simulated: Simulated,
    seed: int,
    *,
    late: float = 0.2,
    hours: tuple[float, float] = (1.0, 12.0),
    formats: tuple[str, ...] = ("csv",),
) -> list[DisturbedDelivery]:
    """The works' files, an hour each, in the order in which they come: a share comes hours late, and files of one hour
    in any order.
    """
    rng, zone, disturbed_deliveries = np.random.default_rng([seed, 61]), simulated.plan.plant.works.timezone, []
    for feed, frame, suffix in feed_files(simulated, "1h", formats):
        moments = [frame[name] for name, kind in frame.schema.items() if isinstance(kind, pl.Datetime)]
        times = [moment for column in moments for moment in column.drop_nulls().to_list()]
        newest: datetime = max(times, default=simulated.plan.cold_from)
        after = float(rng.uniform(*hours)) * 60 if rng.random() < late else float(rng.uniform(0, 5))
        data = encode(frame, suffix.rsplit("Z.", 1)[-1], zone)
        disturbed_deliveries.append(DisturbedDelivery(newest + timedelta(minutes=5 + after), f"{feed}.{suffix}", data))
    return sorted(disturbed_deliveries, key=lambda answer: (answer.arrives_at, answer.name))


def resorted(simulated: Simulated, seed: int, share: float, lost: float = 0.03) -> Simulated:
    """A share of the pallets is opened, looked through and packed anew, some hours later, beside what the line packs
    then.

    The old pallet's state becomes `emptied`; the new one bears less by a share of up to `lost`. truth["resorted"]:
    from_pallet, to_pallet, units.
    """
    plan, rng = simulated.plan, np.random.default_rng([seed, 62])
    pallets = simulated.feeds["pallets"]
    chosen = pallets.filter(pl.Series(rng.random(pallets.height) < share) & (pl.col("state") == "packed"))
    new, links = [], []
    for number, row in enumerate(chosen.iter_rows(named=True)):
        start = row["packed_to"] + timedelta(minutes=float(rng.uniform(60, 600)))
        units = int(row["units"] * (1 - rng.uniform(0, lost)))
        name = sscc(_LINE_NO["resorted"], number)
        end = start + timedelta(minutes=float(rng.uniform(15, 60)))
        if end < plan.at(plan.minutes):
            new.append({**row, "pallet": name, "packed_from": start, "packed_to": end, "units": units})
            new.append({**row, "state": "emptied"})
            link = {"linked_at": end, "from_pallet": row["pallet"], "to_pallet": name, "units": units, "by": "store"}
            links.append(link)
    schema: dict[str, Any] = {
        "linked_at": MOMENT,
        "from_pallet": pl.String,
        "to_pallet": pl.String,
        "units": pl.Int64,
        "by": pl.String,
    }
    frame = pl.DataFrame(links, schema=schema)
    rows = _seconds(pl.DataFrame(new, schema=pallets.schema))
    feeds = {**simulated.feeds, "pallets": pl.concat([pallets, rows]), "pallet_links": frame}
    return replace(simulated, feeds=feeds, truth={**simulated.truth, "resorted": frame})


def doubtful(
    simulated: Simulated, seed: int, line: str, day_start: datetime, share: float, pallets: int = 2
) -> Simulated:
    """Pallets that nothing was packed on: `pallets` of them together bear `share` of the line's units of a day, within
    twenty minutes of it, over the line's own. truth["doubtful"]: pallet, units.
    """
    rng, every = np.random.default_rng([seed, 63]), simulated.feeds["pallets"]
    day = (pl.col("packed_to") >= day_start) & (pl.col("packed_to") < day_start + timedelta(days=1))
    mine = every.filter((pl.col("line") == line) & day & (pl.col("state") == "packed"))
    total = float(mine["units"].sum()) * share
    start = day_start + timedelta(minutes=float(rng.uniform(300, 1300)))
    item = mine.filter(pl.col("packed_to") <= start)["item"].to_list() or mine["item"].to_list()
    rows = [
        {
            "pallet": sscc(_LINE_NO["doubtful"], number),
            "line": line,
            "item": item[-1],
            "packed_from": start,
            "packed_to": start + timedelta(minutes=20),
            "units": round(total / pallets),
            "state": "packed",
        }
        for number in range(pallets)
    ]
    new = _seconds(pl.DataFrame(rows, schema=every.schema))
    feeds = {**simulated.feeds, "pallets": pl.concat([every, new])}
    return replace(simulated, feeds=feeds, truth={**simulated.truth, "doubtful": new.select("pallet", "units")})


def of_two_lines(simulated: Simulated, seed: int, share: float) -> Simulated:
    """A share of the pallets is filled up from another line: pairs packed in the same hours exchange a part of their
    units, line for line.

    `pallets` says the larger part's line and all units; `pallet_parts` both. truth["mixed"]: pallet, line, item,
    packed_from, packed_to, units.
    """
    rng, pallets = np.random.default_rng([seed, 64]), simulated.feeds["pallets"]
    ones = pallets.filter(pl.Series(rng.random(pallets.height) < share)).sort("packed_to").rows(named=True)
    parts, totals = [], {}
    while len(ones) > 1:
        fields = ones.pop()
        other = next((row for row in reversed(ones) if row["line"] != fields["line"]), None)
        if other is None:
            break
        ones.remove(other)
        moved = int(min(fields["units"], other["units"]) * rng.uniform(0.1, 0.45))
        given = moved + int(rng.integers(0, 60))  # not the same number both ways: a pallet can bear a few more or fewer
        for row, gives, takes, giver in ((fields, given, moved, other), (other, moved, given, fields)):
            own = {name: row[name] for name in ("pallet", "line", "item", "packed_from", "packed_to")}
            parts.append({**own, "units": row["units"] - gives})
            span = {name: giver[name] for name in ("line", "item", "packed_from", "packed_to")}
            parts.append({"pallet": row["pallet"], **span, "units": takes})
            totals[row["pallet"]] = row["units"] - gives + takes
    names = ("pallet", "line", "item", "packed_from", "packed_to", "units")
    frame = pl.DataFrame(parts, schema={name: pallets.schema[name] for name in names})
    units = pl.col("pallet").replace_strict(totals, default=pl.col("units"), return_dtype=pl.Int64)
    feeds = {**simulated.feeds, "pallets": pallets.with_columns(units=units), "pallet_parts": frame}
    return replace(simulated, feeds=feeds, truth={**simulated.truth, "mixed": frame})


def _seconds(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.with_columns(pl.col("packed_from", "packed_to").dt.truncate("1s"))
