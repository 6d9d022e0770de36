"""Traces, holds, pallets, moulds and stations' trust on the terminal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import typer

from pipelines.cautions import CAUTION, GLASS
from pipelines.measures.holds.decisions import Hold
from pipelines.plant.works import Plant
from pipelines.reports.frame.table_terminal import print_sheet
from pipelines.reports.holds import decisions_sheet, held_sheet
from pipelines.reports.terminal.formats import Format, print_csv, print_json
from pipelines.reports.trace import contents as tables
from pipelines.reports.trace.plan import plans_sheet
from pipelines.reports.trace.tables import cavity_sheet, few, pallet_sheet, stay_words, whole_range
from pipelines.reports.trace.whereabouts import whereabouts
from schemas.answers.contents import MouldLife, PalletContents
from schemas.answers.holds import HeldPallet
from schemas.answers.trace import HoldList, SamplingPlan, Trace

SHOWN_CAVITIES, SHOWN_PALLETS, SHOWN_CARRIED = 12, 30, 20


def show_trace(plant: Plant, trace: Trace, format: Format) -> None:
    if format is Format.json:
        return print_json(trace.told())
    pallets = pallet_sheet(plant, trace)
    if format is Format.csv:
        return print_csv(pallets)
    for text in trace.impossible:
        typer.echo(f"Cannot be: {text}")
    for text in trace.nearest:
        typer.echo(f"  nearest: {text}")
    _show_cavities(plant, trace)
    beyond = len(pallets.rows) - SHOWN_PALLETS
    more = f"and {beyond} more; all of them on the page and with --format csv" if beyond > 0 else ""
    title = f"Pallets that can carry its sisters: those released first. {whereabouts(plant)}"
    print_sheet(replace(pallets, title=title, caption=more, rows=pallets.rows[:SHOWN_PALLETS]))
    _show_lists(trace)
    for note in trace.notes:
        typer.echo(note)
    typer.echo(CAUTION)
    return None


def _show_cavities(plant: Plant, trace: Trace) -> None:
    beyond = len(trace.cavities) - SHOWN_CAVITIES
    more = f"and {beyond} less likely ones" if beyond > 0 else ""
    if trace.cavities and not trace.stands_out:
        typer.echo(f"Cannot be told: about {trace.about_cavities:.0f} cavities; none stands out.")
    sheet = cavity_sheet(plant, trace)
    title = "Cavities that can have made it"
    print_sheet(replace(sheet, title=title, caption=more, rows=sheet.rows[:SHOWN_CAVITIES]))
    if trace.whole_stay is not None:
        for text in stay_words(plant, trace.whole_stay):
            typer.echo(text)


def _show_lists(trace: Trace) -> None:
    if trace.expected_defective is not None:
        typer.echo(
            f"Expected defective containers on these pallets: {few(trace.expected_defective)} "
            f"(95 %: {whole_range(trace.expected_low, trace.expected_high)}). Fewer than 1 is none with 95 %, not that "
            "none can be there."
        )
    if trace.complained:
        typer.echo(f"At least {trace.complained} reached the customer: that was complained of.")
    for name, hold_list in (
        ("the fewest containers that cover 95 % of the expected escapes", trace.proposed),
        ("everything possible", trace.possible),
    ):
        if hold_list is not None:
            typer.echo(f"Hold list, {name}: {hold_words(hold_list)}")
    if trace.severity == "critical":
        typer.echo(
            "A critical defect is not sampled away: sort all of it or scrap it, as the works' quality system decides."
        )
    for plan in trace.plans:
        typer.echo(
            f"ISO 2859-1, {plan.severity}, AQL {plan.aql:g}, {plan.inspection}: letter {plan.letter}, "
            f"{plan_words(plan)}"
        )


def plan_words(plan: SamplingPlan) -> str:
    whole = ", which is all of it" if plan.whole_lot else ""
    return f"look at {plan.n} of {plan.lot}{whole}, accept with up to {plan.ac}, not with {plan.re}"


def show_plans(name: str, state: str, plans: Sequence[SamplingPlan], format: Format) -> None:
    """The plans for a hold, the one that the switching rules call for marked."""
    if format is Format.json:
        return print_json({"hold": name, "inspection": state, "plans": [plan.told() for plan in plans]})
    sheet = plans_sheet(plans, state)
    if format is Format.csv:
        return print_csv(sheet)
    print_sheet(replace(sheet, title=f"Re-inspection of {name}: ISO 2859-1, single sampling, {plans[0].severity}"))
    if state == "stopped":
        typer.echo(
            "Five lots were not accepted under tightened inspection: sampling stops until the cause is removed. Sort "
            "all of it or scrap it."
        )
    typer.echo(CAUTION)
    typer.echo(GLASS)
    return None


def hold_words(hold_list: HoldList) -> str:
    covers = f", {hold_list.covers:.1%} of what is expected" if hold_list.covers is not None else ""
    gone = f", {hold_list.released} of them released already" if hold_list.released else ""
    return f"{len(hold_list.pallets)} pallets, {hold_list.units} units{covers}{gone}"


def show_holds(plant: Plant, pallets: Sequence[HeldPallet], format: Format) -> None:
    if format is Format.json:
        return print_json([pallet.told() for pallet in pallets])
    sheet = held_sheet(plant, "held", "Pallets on hold", pallets)
    if format is Format.csv:
        return print_csv(sheet)
    print_sheet(sheet)
    typer.echo(
        f"{sum(h.state == 'held' for h in pallets)} held, {sum(h.state == 'proposed' for h in pallets)} proposed and "
        "held by nobody until a person confirms them."
    )
    typer.echo(CAUTION)
    return None


def show_hold(plant: Plant, hold: Hold, pallets: Sequence[HeldPallet], format: Format) -> None:
    """One hold with its whole history."""
    if format is Format.json:
        return print_json(
            {
                "hold": hold.name,
                "state": hold.state,
                "decisions": [d.told() for d in hold.decisions],
                "pallets": [pallet.told() for pallet in pallets],
            }
        )
    title = f"Hold {hold.name}: every decision, the oldest first"
    decisions = decisions_sheet(plant, title, hold.decisions)
    if format is Format.csv:
        return print_csv(decisions)
    print_sheet(decisions)
    return show_holds(plant, pallets, format)


def show_contents(plant: Plant, contents: PalletContents, format: Format) -> None:
    show = plant.clock.show
    if format is Format.json:
        return print_json(contents.told())
    parts = tables.parts_sheet(plant, contents)
    if format is Format.csv:
        return print_csv(parts)
    holds = f"; holds: {', '.join(contents.holds)}" if contents.holds else ""
    packed = f"packed on {contents.line} from {show(contents.packed_from)} to {show(contents.packed_to)}"
    typer.echo(f"Pallet {contents.pallet}: {contents.units} {contents.item} {packed}; {contents.state}{holds}")
    print_sheet(parts)
    print_sheet(tables.defects_sheet(contents))
    print_sheet(tables.signals_then(plant, contents))
    print_sheet(tables.states_sheet(plant, contents))
    for text in contents.doubts:
        typer.echo(f"In doubt: {text}")
    for text in (*contents.notes, CAUTION, GLASS):
        typer.echo(text)
    return None


def show_mould(plant: Plant, life: MouldLife, format: Format) -> None:
    if format is Format.json:
        return print_json(life.told())
    if format is Format.csv:
        return print_csv(tables.carried_sheet(plant, life))
    for text in life.impossible:
        typer.echo(f"Cannot be: {text}")
    for text in life.nearest:
        typer.echo(f"  nearest: {text}")
    if life.stays:
        _show_life(plant, life)
    return None


def _show_life(plant: Plant, life: MouldLife) -> None:
    print_sheet(tables.stays_sheet(plant, life))
    print_sheet(tables.calls_sheet(life))
    for text in life.notes:
        typer.echo(text)
    by_state = ", ".join(f"{state} {units:,.0f}" for state, units in life.states.items())
    typer.echo(f"{len(life.pallets)} pallets carry it: {by_state or 'none'} containers. All of them with --format csv.")
    carried = tables.carried_sheet(plant, life)
    print_sheet(replace(carried, rows=carried.rows[-SHOWN_CARRIED:]))
