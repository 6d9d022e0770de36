"""How far stations' word can be taken, on the terminal: challenges, doubts, and what is assumed without them."""

from __future__ import annotations

from collections.abc import Sequence

import typer

from pipelines.cautions import CAUTION
from pipelines.plant.works import Plant
from pipelines.reports.frame.table_terminal import print_sheet
from pipelines.reports.terminal.formats import Format, print_csv, print_json
from pipelines.reports.trace.detection import assumed_sheet, doubts_sheet, rates_sheet
from schemas.answers.trust import Trust


def show_trust(plant: Plant, trust: Trust, format: Format, unheard: Sequence[str] = ()) -> None:
    """unheard: lines of which no count reaches into the time asked for; beside JSON and CSV they stand on standard
    error.
    """
    for line in unheard:
        typer.echo(f"{line}: nothing came: which ware was in doubt then is not known.", err=format is not Format.table)
    if format is Format.json:
        return print_json(trust.told())
    if format is Format.csv:
        return print_csv(rates_sheet(plant, trust))
    for text in unchallenged_words(trust):
        typer.echo(text)
    if trust.rates:
        print_sheet(rates_sheet(plant, trust))
    if trust.rates or trust.shown:
        print_sheet(doubts_sheet(plant, trust.shown))
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
    print_sheet(assumed_sheet(trust.assumed))
