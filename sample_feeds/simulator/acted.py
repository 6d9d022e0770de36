"""What people did at the invented works: actions against faults, which help or do not, and moulds that go from cavity
to cavity and take what they do with them. Both are planned before the works lives; a plan without them is as it was.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import polars as pl

from sample_feeds.simulator.plan import (
    Exchange,
    Fitting,
    PartEffect,
    Plan,
    PlannedAction,
    PlannedFault,
    Stop,
)

MOMENT = pl.Datetime("us", "UTC")
ACTS_AFTER_MIN = (15.0, 90.0)  # after the first faulty ware came out of the lehr
WORSENS = 1.6  # by what a fault grows that an action made worse
EXCHANGE_MIN = 6  # for which both sections stand
_KINDS = {
    "mould": ("part_repaired", "swab"),
    "timing": ("timing",),
    "gob": ("gob_weight", "cooling"),
    "glass": ("temperature",),
    "lehr": ("temperature",),
    "handling": ("other",),
}
_VALUES = {"timing": 20.0, "gob_weight": 1.5, "temperature": 6.0, "cooling": 4.0}  # the most, in the kind's own unit
_TEXT = dict.fromkeys(("line", "kind"), pl.String)
_PLACE: dict[str, Any] = {"section": pl.Int64, "gob": pl.String, "station": pl.String, "mould": pl.String}
_WHAT: dict[str, Any] = {"part": pl.String, "defect": pl.String, "value": pl.Float64, "signal": pl.String}


def with_actions(plan: Plan, seed: int, *, cured: float = 0.6, worse: float = 0.1) -> Plan:
    """The plan with somebody acting against each of its faults, once it is seen at the cold end. cured, worse: the
    shares of the actions after which the fault is gone, or has grown; after the others nothing changes.

    truth["actions"]: acted_at, line, kind, section, gob, station, defect, outcome.
    """
    rng = np.random.default_rng([seed, 75])
    faults: list[PlannedFault] = []
    added: list[PlannedFault] = []
    actions: list[PlannedAction] = []
    for fault in plan.faults:
        minute = int(fault.start + plan.plant.lines[fault.line].lehr_minutes + rng.uniform(*ACTS_AFTER_MIN))
        drawn, (kind, value) = float(rng.random()), _act(plan, fault, rng)
        outcome = "cured" if drawn < cured else "worse" if drawn < cured + worse else "none"
        if minute >= min(fault.end, plan.minutes):
            faults.append(fault)
            continue
        faults.append(replace(fault, end=minute) if outcome == "cured" else fault)
        if outcome == "worse":
            added.append(replace(fault, start=minute, factor=WORSENS, drift=False))
        actions.append(PlannedAction(minute, fault.line, kind, *_place(fault), fault.defect, value, outcome))
    return replace(plan, faults=[*faults, *added], actions=[*plan.actions, *actions])


def _act(plan: Plan, fault: PlannedFault, rng: np.random.Generator) -> tuple[str, float | None]:
    """What a machine man would try against a fault, and by how much."""
    if fault.scope == "station":
        return "station_setting", None
    kind = str(rng.choice(_KINDS[plan.plant.defects[fault.defect].origin]))
    most = _VALUES.get(kind)
    return kind, None if most is None else round(float(rng.uniform(-most, most)), 1)


def _place(fault: PlannedFault) -> tuple[int, str, str]:
    """(section, gob, station) at which a fault is met: 0 and nothing where it is wider."""
    if fault.scope == "station":
        return 0, "", fault.members[0]
    place = fault.members[0].split("/")[1]
    section, gob = int(place[:-1]), place[-1]
    return (section if fault.scope in ("mould", "section") else 0), (gob if fault.scope in ("mould", "gob") else ""), ""


def acted_feeds(plan: Plan) -> dict[str, pl.DataFrame]:
    """The feeds of what was planned, by name; none where nothing was."""
    feeds = {"actions": action_rows(plan)} if plan.actions else {}
    return feeds | ({"part_events": part_events(plan)} if plan.exchanges or plan.part_effects else {})


def action_rows(plan: Plan) -> pl.DataFrame:
    """The feed: what was done, without what came of it."""
    rows = [
        {
            **{"acted_at": plan.at(action.minute), "line": action.line, "kind": action.kind},
            **{"section": action.section or None, "gob": action.gob or None, "station": action.station or None},
            **{"defect": action.defect, "value": action.value, "by": "hot" if not action.station else "shift"},
        }
        for action in plan.actions
    ]
    schema = {"acted_at": MOMENT, **_TEXT, **_PLACE, **_WHAT, "note": pl.String, "by": pl.String}
    frame = pl.DataFrame([dict.fromkeys(schema) | row for row in rows], schema=schema)
    key = ["acted_at", "line", "kind", "section", "gob", "station", "mould"]
    return frame.unique(key, keep="first", maintain_order=True).sort("acted_at", "line")


def with_moving_moulds(
    plan: Plan, seed: int, *, exchanges: int = 2, effects: int = 2, factor: tuple[float, float] = (3.0, 8.0)
) -> Plan:
    """The plan with moulds that are bad of themselves (`effects` a line), and cavities that exchange their moulds
    (`exchanges` a line), the bad ones first: what follows the mould is the mould's, what stays is the cavity's.

    truth["part_effects"]: line, number, defect, factor.  truth["exchanges"]: line, at, sections, gobs, numbers.
    """
    rng = np.random.default_rng([seed, 76])
    lines, bad, moved = dict(plan.lines), list(plan.part_effects), list(plan.exchanges)
    for name, line in plan.lines.items():
        first = [fitting for fitting in line.fittings if fitting.minute <= 0]
        codes = sorted({c for s in plan.plant.stations_of(name) for c in (s.sees or plan.plant.defects)})
        codes = [c for c in codes if plan.plant.defects[c].origin == "mould" and c in plan.plant.faults] or codes
        numbers = [str(n) for n in rng.permutation([fitting.number for fitting in first])]
        for number in numbers[:effects]:
            bad.append(PartEffect(name, number, str(rng.choice(codes)), float(rng.uniform(*factor))))
        fittings, stops = list(line.fittings), list(line.stops)
        minutes = np.sort(rng.integers(plan.minutes // 4, plan.minutes * 3 // 4, exchanges)).tolist()
        for minute, number in zip(minutes, numbers, strict=False):
            exchange = _exchange(plan, name, fittings, int(minute), number, rng)
            if exchange is None:
                continue
            moved.append(exchange)
            items = {f.number: f.item for f in fittings}
            for cavity, fitted in zip(exchange.cavities, exchange.numbers, strict=True):
                fittings.append(Fitting(exchange.minute, cavity, fitted, items[fitted]))
                start = exchange.minute - EXCHANGE_MIN
                stops.append(Stop(line.cavities[cavity][0], start, exchange.minute, "mould change"))
            fittings.sort(key=lambda fitting: fitting.minute)
        stops.sort(key=lambda stop: stop.start)
        lines[name] = replace(line, fittings=fittings, stops=stops)
    return replace(plan, lines=lines, part_effects=bad, exchanges=moved)


def _exchange(
    plan: Plan, line: str, fittings: list[Fitting], minute: int, number: str, rng: np.random.Generator
) -> Exchange | None:
    """A mould and another of its item, from then on each in the other's cavity; None where it is fitted no more, or
    nothing else of its item is there, or something was fitted there in the same minutes.
    """
    there = {fitting.cavity: fitting for fitting in fittings if fitting.minute <= minute}
    here = next((fitting for fitting in there.values() if fitting.number == number), None)
    if here is None:
        return None
    later = {f.cavity for f in fittings if abs(f.minute - minute) <= 2 * EXCHANGE_MIN}
    others = [f for f in there.values() if f.item == here.item and f.number != number and f.cavity not in later]
    if not others or here.cavity in later:
        return None
    other = others[int(rng.integers(len(others)))]
    return Exchange(line, minute, (here.cavity, other.cavity), (other.number, here.number))


def part_events(plan: Plan) -> pl.DataFrame:
    """The feed: each mould that went into another cavity."""
    rows = [
        {
            "happened_at": plan.at(exchange.minute),
            "part": "mould",
            "set": plan.lines[exchange.line].jobs[0][1],
            "number": number,
            "event": "swapped",
            "by": "shop",
        }
        for exchange in plan.exchanges
        for number in exchange.numbers
    ]
    words = dict.fromkeys(("part", "set", "number", "event", "by"), pl.String)
    return pl.DataFrame(rows, schema={"happened_at": MOMENT, **words}).sort("happened_at", "set", "number")


def acted_truth(plan: Plan) -> dict[str, pl.DataFrame]:
    """What came of the actions, what the moulds do, and where they went; nothing where nothing of it was planned."""
    truth: dict[str, pl.DataFrame] = {}
    if plan.actions:
        rows: list[dict[str, Any]] = [{"acted_at": plan.at(action.minute), **vars(action)} for action in plan.actions]
        schema = {"acted_at": MOMENT, **_TEXT, **_PLACE, "defect": pl.String, "outcome": pl.String}
        del schema["mould"]
        truth["actions"] = pl.DataFrame([{name: row[name] for name in schema} for row in rows], schema=schema)
    if plan.part_effects:
        truth["part_effects"] = pl.DataFrame([vars(effect) for effect in plan.part_effects])
    if plan.exchanges:
        cavities = {line: line_plan.cavities for line, line_plan in plan.lines.items()}
        truth["exchanges"] = pl.DataFrame(
            [
                {
                    "line": exchange.line,
                    "at": plan.at(exchange.minute),
                    "sections": [cavities[exchange.line][cavity][0] for cavity in exchange.cavities],
                    "gobs": [cavities[exchange.line][cavity][1] for cavity in exchange.cavities],
                    "numbers": list(exchange.numbers),
                }
                for exchange in plan.exchanges
            ]
        )
    return truth
