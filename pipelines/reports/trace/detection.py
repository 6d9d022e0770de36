"""How far stations' word can be taken, as tables: detection by challenges, ware in doubt, what is assumed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pipelines.plant.works import Plant
from pipelines.reports.frame.sheet import SHOWN, Column, Sheet, in_csv
from pipelines.words import say
from schemas.answers.trust import DetectionRate, StationAssumption, StationDoubt, Trust

DETECTION = (
    Column("passes", say("Passes"), "count"),
    Column("caught", say("Caught"), "count"),
    Column("rate", say("Detection"), "percent1", SHOWN),
    Column("low", say("at least"), "percent1", SHOWN),
    Column("high", say("at most"), "percent1", SHOWN),
)
_RATES = (
    Column("line", "Line"),
    Column("station", "Station"),
    Column("defect", "Defect"),
    Column("severity", "Severity"),
    *DETECTION,
    *in_csv(rate_words="detection", low_words="at least", high_words="at most"),
    Column("last", "Last challenge", csv="last challenge"),
    Column("last_caught", "Last caught", csv="last caught"),
)
_DOUBTS = (
    Column("station", "Station"),
    Column("defect", "Defect"),
    Column("severity", "Severity"),
    Column("why", "Challenge"),
    Column("likely", "Really failed"),
    Column("from", "Last good"),
    Column("to", "Next good"),
    Column("caught", "Caught"),
    Column("containers", "In doubt", "count"),
    Column("pallets", "Pallets", "count"),
    Column("released", "Released", "count"),
    Column("units", "Units", "count"),
)
_ASSUMED = (
    Column("line", "Line"),
    Column("station", "Station"),
    Column("defects", "Never challenged with"),
    Column("missed", "Taken to miss"),
    Column("by", "By"),
)


def _share(value: float | None, digits: int = 1) -> str:
    return "-" if value is None else f"{100 * value:.{digits}f} %"


def rates_sheet(plant: Plant, trust: Trust) -> Sheet:
    """Detection of each station and defect that was challenged."""
    title = (
        "Detection by challenge passes of 30 days; 95 % intervals (Clopper and Pearson; passes of one challenge alike "
        f"by {trust.alike:.2f})"
    )
    return Sheet("detection", title, _RATES, [_rate_row(plant, rate) for rate in trust.rates])


def _rate_row(plant: Plant, rate: DetectionRate) -> dict[str, Any]:
    return {
        **rate.told(),
        "rate_words": _share(rate.rate),
        "low_words": _share(rate.low),
        "high_words": _share(rate.high),
        "last": plant.clock.show(rate.last),
        "last_caught": f"{rate.last_caught} of {rate.last_passes}",
    }


def doubts_sheet(plant: Plant, doubts: Sequence[StationDoubt]) -> Sheet:
    """Ware that no good challenge vouches for."""
    title = "In doubt: ware that no good challenge vouches for; the likeliest real failures first (an estimate)"
    return Sheet("in-doubt", title, _DOUBTS, [_doubt_row(plant, doubt) for doubt in doubts])


def _doubt_row(plant: Plant, doubt: StationDoubt) -> dict[str, Any]:
    return {
        **doubt.told(),
        "likely": _share(doubt.likely, 0),
        "from": plant.clock.show(doubt.from_) if doubt.from_ else "never vouched for",
        "to": plant.clock.show(doubt.to) if doubt.to else "no good one yet",
        "caught": f"{doubt.caught} of {doubt.passes}" if doubt.passes else "-",
        "pallets": len(doubt.pallets),
    }


def assumed_sheet(assumed: Sequence[StationAssumption]) -> Sheet:
    """Station by station, what is taken of defects with which it was never challenged."""
    rows = [
        {
            "line": station.line,
            "station": station.station,
            "defects": "all that it calls" if station.challenged == 0 else ", ".join(station.defects),
            "missed": f"about {_share(station.missed)}",
            "by": station.by,
        }
        for station in assumed
    ]
    return Sheet("assumed", "Assumed of what was never challenged", _ASSUMED, rows)
