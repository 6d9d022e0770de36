"""How far stations' word can be taken, as tables: detection by challenges, ware in doubt, what is assumed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pipelines.plant.works import Plant
from pipelines.reports.frame.sheet import SHOWN, Column, Sheet, in_csv
from pipelines.words import say, worded
from schemas.answers.trust import DetectionRate, StationAssumption, StationDoubt, Trust

DETECTION = (
    Column("passes", say("Passes"), "count"),
    Column("caught", say("Caught"), "count"),
    Column("rate", say("Detection"), "percent1", SHOWN),
    Column("low", say("at least"), "percent1", SHOWN),
    Column("high", say("at most"), "percent1", SHOWN),
)
_RATES = (
    Column("line", say("Line")),
    Column("station", say("Station")),
    Column("defect", say("Defect")),
    Column("severity", say("Severity")),
    *DETECTION,
    *in_csv(rate_words="detection", low_words="at least", high_words="at most"),
    Column("last", say("Last challenge"), csv="last challenge"),
    Column("last_caught", say("Last caught"), csv="last caught"),
)
_DOUBTS = (
    Column("station", say("Station")),
    Column("defect", say("Defect")),
    Column("severity", say("Severity")),
    Column("why", say("Challenge")),
    Column("likely", say("Really failed")),
    Column("from", say("Last good")),
    Column("to", say("Next good")),
    Column("caught", say("Caught")),
    Column("containers", say("In doubt"), "count"),
    Column("pallets", say("Pallets"), "count"),
    Column("released", say("Released"), "count"),
    Column("units", say("Units"), "count"),
)
_ASSUMED = (
    Column("line", say("Line")),
    Column("station", say("Station")),
    Column("defects", say("Never challenged with")),
    Column("missed", say("Taken to miss")),
    Column("by", say("By")),
)


def _share(value: float | None, digits: int = 1) -> str:
    return "-" if value is None else f"{100 * value:.{digits}f} %"


def rates_sheet(plant: Plant, trust: Trust) -> Sheet:
    """Detection of each station and defect that was challenged."""
    title = say(
        "Detection by challenge passes of 30 days; 95 % intervals (Clopper and Pearson; passes of one challenge alike "
        "by {alike})",
        alike=f"{trust.alike:.2f}",
    )
    return Sheet("detection", title, _RATES, [_rate_row(plant, rate) for rate in trust.rates])


def _rate_row(plant: Plant, rate: DetectionRate) -> dict[str, Any]:
    return {
        **rate.told(),
        "severity": worded(rate.severity),
        "rate_words": _share(rate.rate),
        "low_words": _share(rate.low),
        "high_words": _share(rate.high),
        "last": plant.clock.show(rate.last),
        "last_caught": say("{caught} of {passes}", caught=rate.last_caught, passes=rate.last_passes),
    }


def doubts_sheet(plant: Plant, doubts: Sequence[StationDoubt]) -> Sheet:
    """Ware that no good challenge vouches for."""
    title = say("In doubt: ware that no good challenge vouches for; the likeliest real failures first (an estimate)")
    return Sheet("in-doubt", title, _DOUBTS, [_doubt_row(plant, doubt) for doubt in doubts])


def _doubt_row(plant: Plant, doubt: StationDoubt) -> dict[str, Any]:
    return {
        **doubt.told(),
        "severity": worded(doubt.severity),
        "why": worded(doubt.why),
        "likely": _share(doubt.likely, 0),
        "from": plant.clock.show(doubt.from_) if doubt.from_ else say("never vouched for"),
        "to": plant.clock.show(doubt.to) if doubt.to else say("no good one yet"),
        "caught": say("{caught} of {passes}", caught=doubt.caught, passes=doubt.passes) if doubt.passes else "-",
        "pallets": len(doubt.pallets),
    }


def assumed_sheet(assumed: Sequence[StationAssumption]) -> Sheet:
    """Station by station, what is taken of defects with which it was never challenged."""
    rows = [
        {
            "line": station.line,
            "station": station.station,
            "defects": say("all that it calls") if station.challenged == 0 else ", ".join(station.defects),
            "missed": say("about {share}", share=_share(station.missed)),
            "by": station.by,
        }
        for station in assumed
    ]
    return Sheet("assumed", say("Assumed of what was never challenged"), _ASSUMED, rows)
