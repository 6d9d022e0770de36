"""How far stations' word can be taken, on the terminal: challenges, doubts, and what is assumed without them."""

from __future__ import annotations

from typing import Any

import typer

from pipelines.cautions import CAUTION
from pipelines.plant.works import Plant
from pipelines.reports.terminal.answers import percent
from pipelines.reports.terminal.table import Format, print_csv, print_json, print_table
from schemas.answers.trust import DetectionRate, StationAssumption, StationDoubt, Trust

TRUST_COLUMNS = (
    "line",
    "station",
    "defect",
    "severity",
    "passes",
    "caught",
    "detection",
    "at least",
    "at most",
    "last challenge",
    "last caught",
)
DOUBT_COLUMNS = (
    "station",
    "defect",
    "severity",
    "challenge",
    "really failed",
    "last good",
    "next good",
    "caught",
    "containers in doubt",
    "pallets",
    "released",
    "units",
)


def _rate_row(plant: Plant, rate: DetectionRate) -> tuple[Any, ...]:
    return (
        rate.line,
        rate.station,
        rate.defect,
        rate.severity,
        rate.passes,
        rate.caught,
        percent(rate.rate, 1),
        percent(rate.low, 1),
        percent(rate.high, 1),
        plant.clock.show(rate.last),
        f"{rate.last_caught} of {rate.last_passes}",
    )


def show_trust(plant: Plant, trust: Trust, format: Format) -> None:
    rows = [_rate_row(plant, rate) for rate in trust.rates]
    if format is Format.json:
        return print_json(trust.told())
    if format is Format.csv:
        return print_csv(TRUST_COLUMNS, rows)
    for text in unchallenged_words(trust):
        typer.echo(text)
    if rows:
        print_table(
            "Detection by challenge passes of 30 days; 95 % intervals (Clopper and Pearson; passes of one challenge "
            f"alike by {trust.alike:.2f})",
            TRUST_COLUMNS,
            rows,
        )
    if rows or trust.shown:
        print_table(
            "In doubt: ware that no good challenge vouches for; the likeliest real failures first (an estimate)",
            DOUBT_COLUMNS,
            [_doubt_row(plant, d) for d in trust.shown],
        )
    _show_usual(trust)
    for d in trust.shown:
        more = f" and {len(d.pallets) - 20} more" if len(d.pallets) > 20 else ""
        typer.echo(f"{d.station} {d.defect}: pallets {', '.join(d.pallets[:20])}{more}")
    for text in trust.never if trust.rates else ():
        typer.echo(f"Never challenged: {text}")
    _show_assumed(trust)
    typer.echo(CAUTION)
    return None


def _show_usual(trust: Trust) -> None:
    """What is folded away: failed challenges that are usual for their stations; the critical ones by name."""
    usual = [d for d in trust.doubts if d.usual]
    if not usual:
        return
    typer.echo(
        f"Failed challenges as usual for their stations, folded away: {len(usual)}; all of them with --format json."
    )
    severe = sorted({f"{d.station} {d.defect}" for d in usual if d.severity == "critical"})
    if severe:
        typer.echo(f"Of them critical, each with a pass missed: {', '.join(severe)}.")


def _doubt_row(plant: Plant, d: StationDoubt) -> tuple[Any, ...]:
    return (
        d.station,
        d.defect,
        d.severity,
        d.why,
        percent(d.likely, 0),
        plant.clock.show(d.from_) if d.from_ else "never vouched for",
        plant.clock.show(d.to) if d.to else "no good one yet",
        f"{d.caught} of {d.passes}" if d.passes else "-",
        d.containers,
        len(d.pallets),
        d.released,
        d.units,
    )


ASSUMED_COLUMNS = ("line", "station", "never challenged with", "taken to miss", "by")


def unchallenged_words(trust: Trust) -> list[str]:
    """Where no station asked for was challenged: that, and what a challenge is for."""
    if trust.rates:
        return []
    return [
        "No challenge: in the days asked and the 30 days before no marked container with a known defect was put "
        "through these stations.",
        "A challenge is for this: the share of its passes that a station misses tells how many containers with the "
        "defect get past it. Without one nobody knows that a station rejects anything it should.",
    ]


def _show_assumed(trust: Trust) -> None:
    """Station by station, what is taken of defects with which it was never challenged."""
    if not trust.assumed:
        return
    if not trust.works_challenged:
        typer.echo(
            "No station of the works was challenged: traces give no number of escapes. Only where lines are weighed "
            "against each other each station is taken to miss the share below, all alike: a guess."
        )
    else:
        typer.echo(
            "A station is taken to do as the works' challenged stations do, where it was never challenged: a guess."
        )
    rows = [(a.line, a.station, _codes(a), f"about {percent(a.missed, 1)}", a.by) for a in trust.assumed]
    print_table("Assumed of what was never challenged", ASSUMED_COLUMNS, rows)


def _codes(assumption: StationAssumption) -> str:
    return "all that it calls" if assumption.challenged == 0 else ", ".join(assumption.defects)
