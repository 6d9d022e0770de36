"""A day against the days before it, and a close against the close before it."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta
from typing import Any

WEEK, MONTH = 7, 28
ENOUGH = 4  # days from which the noise from day to day is told


@dataclass(frozen=True)
class Against:
    """A figure against the mean of earlier days: their mean, how many, the difference, and the 95 % limits that a
    further day of the same kind would keep; beyond is None where the days are too few to tell.
    """

    mean: float
    days: int
    difference: float
    low: float | None
    high: float | None
    beyond: bool | None


@dataclass(frozen=True)
class YieldChange:
    """One figure of one day. of: furnace or line; kind: how it is written (percent, kg)."""

    of: str
    name: str
    kind: str
    value: float
    week: Against | None
    month: Against | None


def against(value: float, week: Sequence[float], month: Sequence[float]) -> tuple[Against | None, Against | None]:
    """The day against its last 7 and its last 28 days. The noise is the standard deviation s from day to day within the
    28: a further day lies within mean -+ t s sqrt(1 + 1/n), t of n28 - 1 degrees of freedom.

    References: [1] Hahn and Meeker, Statistical Intervals (1991) 4.7 (prediction interval of one further observation).
    """
    half = noise(month)
    return _against(value, week, half), _against(value, month, half)


def noise(days: Sequence[float]) -> float | None:
    """Half of the 95 % limits of one day about a mean that is known: t s, of the days' standard deviation s. None where
    they are too few to tell.
    """
    from scipy.special import stdtrit

    if len(days) < ENOUGH:
        return None
    mean = sum(days) / len(days)
    s = math.sqrt(sum((each - mean) ** 2 for each in days) / (len(days) - 1))
    return float(stdtrit(len(days) - 1, 0.975)) * s


def margin_of(mine: float | None, days: int, other: float | None = None) -> float | None:
    """Half of the 95 % interval of a day less the mean of some others: `noise` of the line, and of another line where
    the others are of that. None where a noise is not known.
    """
    if mine is None or days < 1:
        return None
    return math.sqrt(mine**2 + (mine if other is None else other) ** 2 / days)


def _against(value: float, past: Sequence[float], half: float | None) -> Against | None:
    if not past:
        return None
    mean = sum(past) / len(past)
    if half is None:
        return Against(mean, len(past), value - mean, None, None, None)
    wide = half * math.sqrt(1 + 1 / len(past))
    return Against(mean, len(past), value - mean, mean - wide, mean + wide, abs(value - mean) > wide)


FIGURES = (("pack_to_melt", "pack-to-melt", "percent"),)
LINE_FIGURES = (
    ("pack_to_melt", "packed / cut, kg", "percent"),
    ("rejected_share", "rejected / inspected", "percent"),
    ("hot_share", "hot rejects / gobs", "percent"),
    ("efficiency", "efficiency", "percent"),
    ("giveaway_kg", "giveaway", "kg"),
)


def changes(
    day: date, today: Sequence[Mapping[str, Any]], past: Sequence[tuple[date, Mapping[str, Any]]]
) -> list[YieldChange]:
    """What moved against the last 7 and 28 days. today, past: `Yield.brief` of each furnace, past with its day."""
    found: list[YieldChange] = []
    for now in today:
        name = now["furnace"]["furnace"]
        mine = [(on, row) for on, row in past if row["furnace"]["furnace"] == name]
        found += _changes(
            day, name, figures_of(now["furnace"]), [(on, figures_of(row["furnace"])) for on, row in mine], FIGURES
        )
        for line in now["lines"]:
            then = [(on, figures_of(old)) for on, row in mine for old in row["lines"] if old["line"] == line["line"]]
            found += _changes(day, line["line"], figures_of(line), then, LINE_FIGURES)
    return found


def figures_of(row: Mapping[str, Any]) -> dict[str, Any]:
    """Figures with the shares that are not kept as such."""
    seen, cut = row.get("inspected"), row.get("gobs_cut")
    shares = (
        {"rejected_share": (row["rejected"] - row.get("rejected_apart", 0)) / seen if seen else None}
        if "rejected" in row
        else {}
    )
    if "hot_rejected" in row:
        shares["hot_share"] = row["hot_rejected"] / cut if cut and row["hot_rejected"] is not None else None
    return {**row, **shares}


def _changes(
    day: date,
    of: str,
    now: Mapping[str, Any],
    past: Sequence[tuple[date, Mapping[str, Any]]],
    figures: Sequence[tuple[str, str, str]],
) -> list[YieldChange]:
    found = []
    for key, name, kind in figures:
        value = now.get(key)
        if value is None:
            continue
        known = [(on, row[key]) for on, row in past if row.get(key) is not None]
        week, month = ([v for on, v in known if day - timedelta(days=back) <= on < day] for back in (WEEK, MONTH))
        found.append(YieldChange(of, name, kind, value, *against(value, week, month)))
    return found


@dataclass(frozen=True)
class Moved:
    """One figure that a new revision of a close changed."""

    of: str
    what: str
    before: float | None
    after: float | None


@dataclass(frozen=True)
class Revision:
    """Why a day was closed again: after which revision, closed when, what moved, and the files that came since."""

    after: int
    closed_at: datetime
    moved: Sequence[Moved]
    files: Sequence[Mapping[str, Any]]

    def told(self) -> str:
        """As JSON, for keeping."""
        files = [{**file, "received_at": file["received_at"].isoformat()} for file in self.files]
        moved_ = [asdict(this_moved) for this_moved in self.moved]
        return json.dumps(
            {"after": self.after, "closed_at": self.closed_at.isoformat(), "moved": moved_, "files": files}
        )


def revision_of(kept: str) -> Revision:
    """A revision as it was kept."""
    answer = json.loads(kept)
    files = [{**file, "received_at": datetime.fromisoformat(file["received_at"])} for file in answer["files"]]
    return Revision(
        answer["after"], datetime.fromisoformat(answer["closed_at"]), [Moved(**each) for each in answer["moved"]], files
    )


_KEPT = {
    "furnaces": ("pack_to_melt", "melted_kg", "packed_kg", "unaccounted_kg"),
    "lines": ("pack_to_melt", "gobs_cut", "hot_rejected", "inspected", "rejected", "packed_units", "unaccounted_units"),
}


def moved(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[Moved]:
    """What differs between the kept answers of two closes of a day, beyond the last bits: yields, counts, calls by line
    and defect.
    """
    found = []
    for table, figures in _KEPT.items():
        key = table[:-1]
        old = {this_each[key]: this_each for this_each in before["yield"][table]}
        for entry in after["yield"][table]:
            was = old.get(entry[key], {})
            found += [Moved(entry[key], name.replace("_", " "), was.get(name), entry.get(name)) for name in figures]
    for line, each in after["pareto"].items():
        then = before["pareto"].get(line, {"rows": [], "calls": None})
        found.append(Moved(line, "calls", then["calls"], each["calls"]))
        calls = {row["key"]: row["calls"] for row in then["rows"]}
        now = {row["key"]: row["calls"] for row in each["rows"]}
        found += [Moved(line, f"calls of {key}", calls.get(key, 0), now.get(key, 0)) for key in {**now, **calls}]
    return [this_moved for this_moved in found if _differ(this_moved.before, this_moved.after)]


def _differ(before: float | None, after: float | None) -> bool:
    if before is None or after is None:
        return before is not after
    return abs(after - before) > 1e-4 * max(1.0, abs(before)) * (0.1 if max(abs(before), abs(after)) < 1.5 else 0.01)
