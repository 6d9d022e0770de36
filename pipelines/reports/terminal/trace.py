"""Traces, holds, pallets, moulds and stations' trust on the terminal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import typer

from pipelines.cautions import CAUTION, GLASS
from pipelines.clock import parse_timestamp
from pipelines.measures.holds.decisions import Hold
from pipelines.measures.pareto.kinds_of_call import WORDS
from pipelines.plant.works import Plant
from pipelines.reports.terminal.answers import percent
from pipelines.reports.terminal.table import Format, print_csv, print_json, print_table
from pipelines.reports.trace.tables import few, stay_words, whole_range
from pipelines.reports.trace.whereabouts import whereabouts
from schemas.answers.contents import MouldLife, MouldStay, PalletContents
from schemas.answers.holds import HeldPallet
from schemas.answers.trace import HoldList, SamplingPlan, Trace, TracedPallet

SHOWN = 12
PALLET_COLUMNS = (
    "pallet",
    "line",
    "item",
    "packed from",
    "to",
    "units",
    "state",
    "of these moulds",
    "expected defective",
    "at least",
    "at most (95 %)",
    "chance it is the one",
    "95 % list",
    "beyond the window",
    "in doubt",
    "holds",
    "begin inferred",
)
_CHANCE = 11
_BRIEF = (0, 2, 3, 5, 6, 7, 8, 10, 11, 12)


def _pallet_row(plant: Plant, pallet: TracedPallet) -> tuple[Any, ...]:
    show = plant.clock.show
    return (
        pallet.pallet,
        pallet.line,
        pallet.item,
        show(pallet.packed_from),
        show(pallet.packed_to),
        pallet.units,
        pallet.state,
        pallet.mould_units,
        pallet.expected_defective,
        pallet.expected_low,
        pallet.expected_high,
        pallet.probability,
        "yes" if pallet.proposed else "",
        "yes" if pallet.beyond else "",
        "; ".join(pallet.doubts),
        ", ".join(pallet.holds),
        "yes" if pallet.begin_inferred else "",
    )


def show_trace(plant: Plant, trace: Trace, format: Format) -> None:
    if format is Format.json:
        return print_json(trace.told())
    rows = [_pallet_row(plant, pallet) for pallet in trace.pallets]
    if format is Format.csv:
        return print_csv(PALLET_COLUMNS, rows)
    for text in trace.impossible:
        typer.echo(f"Cannot be: {text}")
    for text in trace.nearest:
        typer.echo(f"  nearest: {text}")
    _show_cavities(plant, trace)
    brief = [
        tuple(row[n] if n != _CHANCE else percent(p.probability, 1) for n in _BRIEF)
        for row, p in zip(rows[:30], trace.pallets, strict=False)
    ]
    more = f"and {len(rows) - 30} more; all of them on the page and with --format csv" if len(rows) > 30 else ""
    print_table(
        f"Pallets that can carry its sisters: those released first. {whereabouts(plant)}",
        [PALLET_COLUMNS[n] for n in _BRIEF],
        brief,
        more,
    )
    _show_lists(trace)
    for note in trace.notes:
        typer.echo(note)
    typer.echo(CAUTION)
    return None


def _show_cavities(plant: Plant, trace: Trace) -> None:
    show = plant.clock.show
    rows = [
        (c.line, c.section, c.gob, c.mould, c.blank, c.neck_ring, show(c.from_), show(c.to), percent(c.probability, 1))
        for c in trace.cavities[:SHOWN]
    ]
    more = f"and {len(trace.cavities) - SHOWN} less likely ones" if len(trace.cavities) > SHOWN else ""
    columns = ("line", "section", "gob", "mould", "blank", "neck ring", "formed from", "to", "probability")
    if trace.cavities and not trace.stands_out:
        typer.echo(f"Cannot be told: about {trace.about_cavities:.0f} cavities; none stands out.")
    print_table("Cavities that can have made it", columns, rows, more)
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
        ("the fewest units that cover 95 % of the expected escapes", trace.proposed),
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


PLAN_COLUMNS = ("inspection", "now", "letter", "lot", "sample", "accept up to", "refuse from", "aql")


def show_plans(name: str, state: str, plans: Sequence[SamplingPlan], format: Format) -> None:
    """The plans for a hold, the one that the switching rules call for marked."""
    if format is Format.json:
        return print_json({"hold": name, "inspection": state, "plans": [plan.told() for plan in plans]})
    rows = [
        (p.inspection, "yes" if p.inspection == state else "", p.letter, p.lot, p.n, p.ac, p.re, p.aql) for p in plans
    ]
    if format is Format.csv:
        return print_csv(PLAN_COLUMNS, rows)
    print_table(f"Re-inspection of {name}: ISO 2859-1, single sampling, {plans[0].severity}", PLAN_COLUMNS, rows)
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


HOLD_COLUMNS = (
    "hold",
    "pallet",
    "state",
    "since",
    "by",
    "line",
    "item",
    "units",
    "warehouse",
    "disagrees",
    "why",
    "evidence",
)


def show_holds(plant: Plant, pallets: Sequence[HeldPallet], format: Format) -> None:
    if format is Format.json:
        return print_json([pallet.told() for pallet in pallets])
    rows = [
        (
            h.hold,
            h.pallet,
            h.state,
            plant.clock.show(h.since) if h.since else None,
            h.by,
            h.line,
            h.item,
            h.units,
            h.warehouse,
            h.disagrees,
            h.why,
            h.evidence,
        )
        for h in pallets
    ]
    if format is Format.csv:
        return print_csv(HOLD_COLUMNS, rows)
    print_table("Pallets on hold", HOLD_COLUMNS[:10], [row[:10] for row in rows])
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
    columns = ("number", "at", "action", "by", "pallets", "why", "evidence")
    rows = [
        (d.number, plant.clock.show(d.at), d.action, d.by, ", ".join(d.pallets), d.why, d.evidence)
        for d in hold.decisions
    ]
    if format is Format.csv:
        return print_csv(columns, rows)
    print_table(f"Hold {hold.name}: every decision, the oldest first", columns, rows)
    return show_holds(plant, pallets, format)


PART_COLUMNS = ("section", "gob", "mould", "blank", "neck ring", "containers", "formed from", "to")


def show_contents(plant: Plant, contents: PalletContents, format: Format) -> None:
    show = plant.clock.show
    rows = [
        (p.section, p.gob, p.mould, p.blank, p.neck_ring, p.units, show(p.from_), show(p.to)) for p in contents.parts
    ]
    if format is Format.json:
        return print_json(contents.told())
    if format is Format.csv:
        return print_csv(PART_COLUMNS, rows)
    holds = f"; holds: {', '.join(contents.holds)}" if contents.holds else ""
    packed = f"packed on {contents.line} from {show(contents.packed_from)} to {show(contents.packed_to)}"
    typer.echo(f"Pallet {contents.pallet}: {contents.units} {contents.item} {packed}; {contents.state}{holds}")
    print_table("Moulds on it, and when they formed them (95 %)", PART_COLUMNS, rows)
    defects = [(d.defect, d.name, d.severity, d.calls, d.expected, d.low, d.high) for d in contents.defects]
    columns = ("defect", "name", "severity", "called and rejected then", "expected on it", "at least", "at most (95 %)")
    print_table("Defects", columns, defects)
    _show_around(plant, contents)
    for text in contents.doubts:
        typer.echo(f"In doubt: {text}")
    for text in (*contents.notes, CAUTION, GLASS):
        typer.echo(text)
    return None


def _show_around(plant: Plant, contents: PalletContents) -> None:
    signals = [
        (
            s["id"],
            s["defect"],
            s["severity"],
            s["scope"],
            ", ".join(s["members"][:8]),
            _local(plant, s["onset"]),
            _local(plant, s["ended"]),
        )
        for s in contents.signals
    ]
    columns = ("signal", "defect", "severity", "scope", "members", "onset", "ended")
    print_table("Signals open while its ware was inspected", columns, signals)
    states = [
        (s["state"], s["units"], _local(plant, s["received_at"]), s["file"], s["file_line"]) for s in contents.states
    ]
    print_table("What the warehouse said of it", ("state", "units", "received", "file", "line"), states)


LIFE_COLUMNS = ("pallet", "item", "packed_from", "packed_to", "state", "units", "of_mould")


def show_mould(plant: Plant, life: MouldLife, format: Format) -> None:
    if format is Format.json:
        return print_json(life.told())
    if format is Format.csv:
        return print_csv(LIFE_COLUMNS, [tuple(p[name] for name in LIFE_COLUMNS) for p in life.pallets])
    for text in life.impossible:
        typer.echo(f"Cannot be: {text}")
    for text in life.nearest:
        typer.echo(f"  nearest: {text}")
    if life.stays:
        _show_life(plant, life)
    return None


def _stay_row(plant: Plant, stay: MouldStay) -> tuple[Any, ...]:
    show = plant.clock.show
    ended = show(stay.ended) if stay.ended else "still there"
    parts = (stay.blank, stay.neck_ring)
    return (stay.section, stay.gob, stay.item, show(stay.fitted), ended, *parts, stay.containers)


def _show_life(plant: Plant, life: MouldLife) -> None:
    stays = [_stay_row(plant, stay) for stay in life.stays]
    columns: tuple[str, ...] = ("section", "gob", "item", "fitted", "ended", "blank", "neck ring", "containers seen")
    print_table(f"Mould {life.mould} on {life.line}", columns, stays)
    calls = [
        (
            c["defect"],
            c["severity"] or WORDS.get(c["kind"], ""),
            c["calls"],
            c["of"],
            percent(c["rate"]),
            percent(c["low"]),
            percent(c["high"]),
        )
        for c in life.calls
    ]
    columns = ("defect", "severity", "calls", "of containers read", "rate", "at least", "at most (95 %)")
    print_table("Calls with the number read", columns, calls)
    for text in life.notes:
        typer.echo(text)
    by_state = ", ".join(f"{state} {units:,.0f}" for state, units in life.states.items())
    typer.echo(f"{len(life.pallets)} pallets carry it: {by_state or 'none'} containers. All of them with --format csv.")
    near = [
        (
            p["pallet"],
            p["item"],
            *(_local(plant, p[at]) for at in ("packed_from", "packed_to")),
            p["state"],
            p["of_mould"],
        )
        for p in life.pallets[-20:]
    ]
    print_table("The newest pallets", ("pallet", "item", "packed from", "to", "state", "of this mould"), near)


def _local(plant: Plant, moment: Any) -> str:
    return "-" if moment is None else plant.clock.show(parse_timestamp(str(moment)))
