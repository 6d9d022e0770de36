"""The tables of the day report that speak of all machines at once."""

from __future__ import annotations

from pipelines.answers.day import Day
from pipelines.measures.laboratory.words import signed
from pipelines.measures.statistics.shares import share
from pipelines.measures.yields.meter_sentences import yield_words
from pipelines.measures.yields.names import state_name
from pipelines.numbers import count, decimals
from pipelines.plant.works import Plant
from pipelines.reports.addresses import laboratory_address, weights_address
from pipelines.reports.frame.sheet import PAGE, TERMINAL, Column, Sheet
from pipelines.reports.trace.contents import ON_PALLET
from pipelines.words import joined, moment_dated, say, worded
from schemas.answers.weights import Weights
from schemas.answers.yields import FurnaceYield, Yield

_MACHINES = (
    Column("line", say("Line")),
    Column("cut", say("Gobs cut, read"), "count", short=say("gobs cut")),
    Column("hot", say("Hot rejects, read"), "count", short=say("hot rejects")),
    Column("lehr", say("To the lehr, read"), "count", short=say("to lehr")),
    Column("inspected", say("Inspected, read"), "count", short=say("inspected")),
    Column("rejected", say("Rejected, read"), "count", short=say("rejected")),
    Column("rate", say("Rejected / inspected, read"), "percent", PAGE),
    Column("packed", say("Packed, read"), "count", short=say("packed")),
    Column("value", say("Packed / formed, kg, reconciled"), "percent1", PAGE),
    Column("low", say("95 % from"), "percent1", PAGE),
    Column("high", say("to"), "percent1", PAGE),
    Column("range", say("Packed / formed, kg, reconciled"), ways=TERMINAL, short=say("packed/formed*")),
    Column("quality", say("Quality ratio"), "percent1", PAGE),
    Column("scrap", say("Scrap ratio"), "percent1", PAGE),
    Column("running", say("Availability"), "percent1", PAGE),
    Column("lost", say("Unaccounted, reconciled"), "count", short=say("unaccounted*")),
    Column("efficiency", say("Efficiency"), "percent1"),
    Column("give", say("Giveaway, kg"), "count"),
)


def machines_sheet(yields: Yield) -> Sheet:
    """What every machine cut, lost and packed."""
    rows = [
        {
            "line": y.line,
            "cut": y.gobs_cut,
            "hot": y.hot_rejected,
            "lehr": y.to_lehr,
            "inspected": None if y.silent else y.inspected,
            "rejected": None if y.silent else y.rejected,
            "rate": share(y.rejected - y.rejected_apart, y.inspected),
            "packed": y.packed_units,
            "value": y.pack_to_melt,
            "low": y.low,
            "high": y.high,
            "range": yield_words(y.pack_to_melt, y.low, y.high),
            "quality": y.quality_ratio,
            "scrap": y.scrap_ratio,
            "running": y.availability,
            "lost": y.unaccounted_units,
            "efficiency": y.efficiency,
            "give": y.giveaway_kg,
        }
        for y in yields.lines
    ]
    caption = say(
        "Containers of the same ware. Quality ratio = packed / gobs cut, scrap ratio = rejected hot and "
        "cold / gobs cut, availability = running / all section-minutes by the stoppage log (ISO 22400-2)."
        " Packed / formed and unaccounted are reconciled; the rest as counted."
    )
    return Sheet("machines", say("Machines"), _MACHINES, rows, caption)


_FURNACES = (
    Column("furnace", say("Furnace")),
    Column("melted", say("Melted, kg, read"), "count", short=say("melted kg")),
    Column("pull", say("Pull, kg, read"), "count", short=say("pull kg")),
    Column("cut", say("Cut, kg, reconciled"), "count", TERMINAL, short=say("cut kg*")),
    Column("packed", say("Packed, kg, read"), "count", short=say("packed kg")),
    Column("value", say("Pack-to-melt, reconciled"), "percent", PAGE),
    Column("low", say("95 % from"), "percent1", PAGE),
    Column("high", say("to"), "percent1", PAGE),
    Column("range", say("Pack-to-melt, reconciled"), ways=TERMINAL, short=say("pack-to-melt*")),
    Column("raw", say("Packed / melted as read"), "percent", short=say("plain quotient")),
    Column("over_cut", say("Packed / cut, reconciled"), short=say("packed/cut*")),
    Column("lost", say("Unaccounted before the shears, kg, reconciled"), "count", short=say("unaccounted kg*")),
    Column("lost_low", say("95 % from"), "count", PAGE),
    Column("lost_high", say("to"), "count", PAGE),
    Column("p", say("p of the balances"), "chance", PAGE),
    Column("days", say("Earlier days known"), "count", PAGE),
    Column("notes", say("Notes"), ways=PAGE),
)


def furnaces_sheet(yields: Yield) -> Sheet:
    """Every furnace: melted, packed, reconciled."""
    rows = [
        {
            "furnace": f.furnace,
            "melted": f.melted_kg,
            "pull": f.pull_kg,
            "cut": f.cut_kg,
            "packed": f.packed_kg,
            "value": f.pack_to_melt,
            "low": f.low,
            "high": f.high,
            "range": yield_words(f.pack_to_melt, f.low, f.high),
            "raw": f.raw,
            "lost": f.unaccounted_kg,
            "lost_low": f.unaccounted_low,
            "lost_high": f.unaccounted_high,
            "p": f.p,
            "days": f.usual_days,
            "over_cut": _over_cut(f),
            "notes": joined("; ", filter(None, (f.why, *f.notes))),
        }
        for f in yields.furnaces
    ]
    return Sheet(
        "furnaces",
        say("Furnaces"),
        _FURNACES,
        rows,
        say(
            "Melted, by the log, in the window in which the day's ware was formed. Pull = melted less what a "
            "rise of the level held back. p: chance of readings that disagree so much if every meter keeps "
            "its uncertainty. Unaccounted is weighed between the day's readings and what the furnace lost on "
            "earlier days."
        ),
    )


def _over_cut(furnace: FurnaceYield) -> str:
    """Packed over cut, with what was cut; it stands where there is no melt log."""
    share = yield_words(furnace.packed_over_cut, furnace.packed_over_cut_low, furnace.packed_over_cut_high)
    return (
        say("{share} of {kg} kg", share=share, kg=count(furnace.cut_kg))
        if furnace.packed_over_cut_low is not None
        else furnace.packed_over_cut_why
    )


def critical_sheet(plant: Plant, day: Day) -> Sheet:
    """Every critical call by line and defect."""
    rows = [
        {
            "line": line,
            "code": row.key,
            "name": row.name,
            "calls": row.calls,
            "ware": row.own_ware,
            "rate": row.own_rate,
        }
        for line, pareto in day.paretos.items()
        for row in pareto.rows
        if row.critical_calls
    ]
    columns = (
        Column("line", say("Line")),
        Column("code", say("Code")),
        Column("name", say("Critical defect")),
        Column("calls", say("Calls"), "count"),
        Column("ware", say("Inspected for it"), "count"),
        Column("rate", say("Rate"), "percent"),
    )
    return Sheet("critical", say("Critical"), columns, rows, say("Every critical call of the day."))


def shifts_sheet(day: Day) -> Sheet:
    """Ware and rejects by shift."""
    rows = [
        {
            "line": line,
            "shift": name,
            "ware": p.ware,
            "rejected": p.rejected_for_faults,
            "rate": share(p.rejected_for_faults, p.ware),
            "critical": sum(r.critical_calls for r in p.rows),
        }
        for line, shifts in day.shifts.items()
        for name, p in shifts
    ]
    columns = (
        Column("line", say("Line")),
        Column("shift", say("Shift from")),
        Column("ware", say("Ware"), "count"),
        Column("rejected", say("Rejected"), "count"),
        Column("rate", say("Rejected"), "percent"),
        Column("critical", say("Critical calls"), "count"),
    )
    return Sheet(
        "shifts",
        say("Shifts"),
        columns,
        rows,
        say("By the cold-end clock: what a shift saw was partly formed in the one before."),
    )


def weights_sheet(day: Day) -> Sheet:
    """Weighings against limits, with what drifts."""
    rows = [
        {
            "line": line,
            "item": w.item or say("unknown"),
            "point": worded(w.point),
            "n": w.n,
            "mean": w.mean_g,
            "mean_low": w.mean_low,
            "mean_high": w.mean_high,
            "sd": w.sd_g,
            "low": w.weight_min_g,
            "nominal": w.nominal_g,
            "high": w.weight_max_g,
            "outside": w.outside,
            "ppk": w.ppk,
            "drift": _drifting(w),
        }
        for line, many in day.weights.items()
        for w in many
    ]
    columns = (
        Column("line", say("Line")),
        Column("item", say("Item")),
        Column("point", say("Weighed")),
        Column("n", say("Weighings"), "count"),
        Column("mean", say("Mean, g"), "number2"),
        Column("mean_low", say("95 % from"), "number2"),
        Column("mean_high", say("to"), "number2"),
        Column("sd", say("SD, g"), "number2"),
        Column("low", say("Least allowed, g"), "number"),
        Column("nominal", say("Nominal, g"), "number"),
        Column("high", say("Greatest allowed, g"), "number"),
        Column("outside", say("Outside limits"), "count"),
        Column("ppk", say("Worst mould's Ppk"), "number2"),
        Column("drift", say("Gob positions that drift")),
    )
    caption = say("SD holds mould to mould, time and scale together. Each line's weight page shows every mould.")
    return Sheet("weights", say("Weights"), columns, rows, caption)


def _drifting(weights: Weights) -> str:
    return joined(
        ", ",
        (
            say("{gob} {offset} g", gob=gob.gob, offset=signed(gob.offset_g or 0.0))
            for gob in weights.gobs
            if gob.drifting
        ),
    )


_LABORATORY = (
    Column("line", say("Line")),
    Column("weights", say("Every mould")),
    Column("laboratory", say("Laboratory page")),
    Column("density", say("Glass, g/cm³"), "id"),
    Column("checks", say("Capacity checks"), "count"),
    Column("outside", say("outside"), "count"),
    Column("temper", say("Temper numbers"), "count"),
    Column("strained", say("beyond"), "count"),
    Column("samples", say("Samples"), "count"),
    Column("refused", say("not accepted"), "count"),
    Column("missed", say("Checks missed"), "count"),
)


def laboratory_sheet(plant: Plant, day: Day) -> Sheet:
    """What the laboratory found on each line, with the ways to its pages."""
    rows: list[dict[str, object]] = []
    links = {}
    for furnace in day.laboratory.furnaces:
        density = furnace.density.readings[-1].density_g_cm3 if furnace.density.readings else None
        for line in furnace.lines:
            checks = sum(capacity.n for capacity in line.capacity)
            links[(len(rows), "weights")] = f"../../{weights_address(day.day, line.line)}"
            links[(len(rows), "laboratory")] = f"../../{laboratory_address(day.day, furnace.furnace)}"
            rows.append(
                {
                    "line": line.line,
                    "weights": say("weights {line}", line=line.line),
                    "laboratory": say("laboratory {furnace}", furnace=furnace.furnace),
                    "density": decimals(density, 4) if density is not None else "–",
                    "checks": checks,
                    "outside": sum(capacity.outside for capacity in line.capacity),
                    "temper": line.temper.n,
                    "strained": len(line.temper.beyond),
                    "samples": sum(s.severity == "critical" for s in line.visual.samples),
                    "refused": sum(s.accepted is False for s in line.visual.samples),
                    "missed": sum(due.missed for due in line.due),
                }
            )
    return Sheet(
        "laboratory",
        say("Laboratory"),
        _LABORATORY,
        rows,
        say("The laboratory's day against its limits; each line leads to its pages."),
        links=links,
    )


def held_sheet(plant: Plant, day: Day) -> Sheet:
    """Every pallet that is held, to be re-sorted or scrapped."""
    rows = [
        {
            "pallet": row["pallet"],
            "line": row["line"],
            "item": row["item"],
            "state": state_name(row["state"]),
            "units": row["units"],
            "from": moment_dated(plant.clock.local(row["packed_from"])),
            "to": moment_dated(plant.clock.local(row["packed_to"])),
        }
        for row in day.held.iter_rows(named=True)
    ]
    columns = (Column("line", say("Line")), *ON_PALLET, Column("state", say("State")))
    return Sheet("held", say("Held"), columns, rows, say("State by the pallets feed, as the warehouse last told it."))
