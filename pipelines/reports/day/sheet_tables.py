"""The tables of a day's sheet, the same on the page, in its workbook and on the terminal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pipelines.measures.signals.acts import Act, most_harmful
from pipelines.numbers import count, decimals, expected, percent
from pipelines.plant.works import Plant
from pipelines.reports.addresses import machine_address
from pipelines.reports.frame.sheet import CSV, SHOWN, Column, Sheet, in_csv
from pipelines.reports.signals import place_words
from pipelines.reports.yields.losses import money, money_column
from pipelines.words import defect_name, joined, say
from schemas.answers.day import DayLine, DayLoss, DaySheet, DayShift, RejectChange
from schemas.answers.signals import Signal

SHORT, FEW = 24, 3  # letters of what was made that a row has room for; else so many codes
MANY, MOST_AT = 6, 4  # lines whose items are named; lines named at a loss


def lines_sheet(plant: Plant, sheet: DaySheet) -> Sheet:
    """A row a line."""
    signals = {signal.id: signal for signal in sheet.signals}
    names = list(dict.fromkeys(shift.name for shift in plant.clock.shifts_of(sheet.day)))
    of_shift = {(shift.line, shift.shift): shift for shift in sheet.shifts}
    rows = []
    for line in sheet.lines:
        shifts = {_shift_column(name): _rate_of(of_shift.get((line.line, name))) for name in names}
        room = SHORT if len(sheet.lines) <= MANY else 0
        rows.append(_line_row(plant, line, signals.get(line.signal), sheet.closed, room) | shifts)
    strong = [number for number, line in enumerate(sheet.lines) if line.signal]
    address = {
        (number, "line"): f"../{machine_address(sheet.day, line.line)}" for number, line in enumerate(sheet.lines)
    }
    return Sheet(
        "lines", say("Lines"), tuple(_columns(names, sheet)), rows, _caption(sheet), strong=strong, links=address
    )


def _shift_column(name: str) -> str:
    return f"shift-{name}"


def _rate_of(shift: DayShift | None) -> float | None:
    return shift.rejected_share if shift is not None else None


def _columns(shifts: Sequence[str], sheet: DaySheet) -> list[Column]:
    made = (
        (
            Column("yield", say("Packed / cut, kg"), "id", SHOWN, short=say("packed/cut*")),
            Column("efficiency", say("Efficiency"), "percent1"),
        )
        if sheet.closed
        else (
            Column("until", say("Counts until"), "id", SHOWN),
            Column("packed", say("Packed"), "count", SHOWN),
        )
    )
    return [
        Column("line", say("Line"), "id"),
        Column("item", say("Item"), ways=SHOWN),
        *made,
        Column("share", say("Rejected"), "percent1", SHOWN),
        *(Column(_shift_column(name), say("from {shift}", shift=name), "percent1", SHOWN) for name in shifts),
        Column("change", say("Change, points") if sheet.closed else say("Before"), "id", SHOWN),
        Column("critical", say("Critical calls"), "count", SHOWN, short=say("critical")),
        Column("mark", say("Mark"), ways=SHOWN),
        *in_csv(
            "items", "ware", "rejected", "rejected_share", "critical_calls", "packed", "pack_to_melt", "low", "high"
        ),
        *in_csv("before", "difference", "margin", "signal", "why", "efficiency_why"),
    ]


def _line_row(plant: Plant, line: DayLine, signal: Signal | None, closed: bool, room: int) -> dict[str, Any]:
    plain = line.model_dump(exclude={"change", "items"})
    change = line.change.model_dump() if line.change is not None else {}
    until = f"{plant.clock.local(line.until):%H:%M}" if line.until is not None else "–"
    return {
        **plain,
        **{name: change.get(name) for name in ("before", "difference", "margin")},
        "items": joined(" ", line.items),
        "item": items_words(plant, line.items, room),
        "yield": _yield(line),
        "until": until,
        "share": line.rejected_share,
        "change": change_words(line.change, closed),
        "critical": line.critical_calls,
        "mark": _mark(plant, line, signal, closed),
    }


def items_words(plant: Plant, items: Sequence[str], room: int) -> str:
    """What was made: by name where there is room for its letters, else by code; the first of many."""
    if not items:
        return say("not known")
    names = joined(", ", [plant.items[code].name if code in plant.items else code for code in items])
    if len(names) <= room:
        return names
    few = FEW if room else 1
    first = joined(", ", items[:few])
    return f"{first} +{len(items) - few}" if len(items) > few else first


def _yield(line: DayLine) -> str:
    """Packed over cut mass; a range where the meters allow no number; that it is not known."""
    if line.pack_to_melt is not None:
        return percent(line.pack_to_melt, 1)
    if line.low is not None and line.high is not None:
        return say("{low} to {high}", low=decimals(100 * line.low, 1), high=percent(line.high, 1))
    return say("not known")


def change_words(change: RejectChange | None, closed: bool = True) -> str:
    """A change in points with its interval, or that it cannot be told; of an open day what it was then."""
    if change is None:
        return say("nothing before")
    if not closed:
        return say("{before} then", before=percent(change.before, 1))
    if change.margin is None:
        return say("cannot be told")
    points = signed_points(change.difference)
    return say("{points} ± {margin}", points=points, margin=decimals(100 * change.margin, 1))


def signed_points(difference: float) -> str:
    """A difference of shares in points, with its sign."""
    text = decimals(abs(100 * difference), 1)
    return f"{'+' if difference > 0 else '−'}{text}" if text.strip("0.,") else text


def _mark(plant: Plant, line: DayLine, signal: Signal | None, closed: bool) -> str:
    """What asks for somebody: the worst open signal; that nothing came, or nothing is there to compare with; else as
    usual.
    """
    if line.ware is None:
        return say("no counts came")
    if signal is None:
        return say("as usual") if line.judged else say("no past to compare with")
    return say("{sign} {what}", sign=sign_of(signal), what=signal_words(plant, signal, line.line))


def sign_of(signal: Signal) -> str:
    return "◆" if signal.severity == "critical" else "▲"


def signal_words(plant: Plant, signal: Signal, line: str = "") -> str:
    """A signal in few words: defect and place. line: where it is told of, and need not be named."""
    place = _short_place(plant, signal, line)
    if signal.scope == "line":
        place = say("whole line") if signal.placed_inside else say("place not known")
    if signal.scope == "furnace":
        place = say("furnace {furnace}", furnace=signal.furnace)
    elif not line:
        place = say("{line} {place}", line=signal.line, place=place)
    return say("{defect}, {place}", defect=defect_name(signal.name), place=place)


def _short_place(plant: Plant, signal: Signal, line: str) -> str:
    """A place inside the line without its cavities, or a station's name, in its line's row without the line's."""
    members = joined(", ", [each.removeprefix(f"{line}-") if line else each for each in signal.members])
    if signal.scope == "mould":
        return say("mould {members}", members=members)
    if signal.scope == "station" and not signal.blinded:
        return say("{members} alone", members=members)
    return place_words(plant, signal)


def _caption(sheet: DaySheet) -> str:
    changes = [line.change for line in sheet.lines if line.change is not None]
    before = changes[0].against if changes else ""
    if not sheet.closed:
        return (
            say("Running figures. Before: rejects in {before}.", before=before) if before else say("Running figures.")
        )
    if not changes:
        return say("Change: no closed day before to compare with.")
    if all(change.margin is None for change in changes):
        return say("Change of rejects: cannot be told by {before}.", before=before)
    return say(
        "Change of rejects against {before}. ± what 95 of 100 days keep; outside it is more than noise.", before=before
    )


def losses_sheet(plant: Plant, losses: Sequence[DayLoss]) -> Sheet:
    """Losses by stage and cause, of all lines together."""
    rows = [
        {
            **loss.model_dump(exclude={"lines"}),
            "cause": "" if loss.cause == loss.stage else loss.cause,
            "lines": joined(", ", loss.lines[:MOST_AT]) + (" …" if len(loss.lines) > MOST_AT else ""),
            "money": money(plant, loss.kg),
            "how": say("made and lost") if loss.made else say("not made"),
        }
        for loss in losses
    ]
    columns = (
        Column("stage", say("Stage")),
        Column("cause", say("Cause")),
        Column("units", say("Containers"), "count"),
        Column("kg", say("kg of glass"), "count"),
        *money_column(plant),
        Column("lines", say("Most at")),
        Column("how", say("Made or not"), "id", SHOWN),
        *in_csv("made"),
    )
    return Sheet("losses", say("Losses"), columns, rows)


def open_signals_sheet(plant: Plant, sheet: DaySheet, most: int = 0) -> Sheet:
    """What is still to act on, a furnace's lines of one cause in one row. most: rows, the rest told in the caption; 0
    for all.
    """
    found = most_harmful(sheet.signals)
    rows = [_act_row(plant, act) for act in (found[:most] if most else found)]
    columns = (
        Column("id", say("Name"), ways=CSV),
        Column("what", say("What and where")),
        Column("against", say("Calls / expected"), "id", SHOWN),
        Column("lost", say("Lost an hour"), "count"),
        Column("seen", say("Seen by")),
        *in_csv("calls", "expected"),
    )
    return Sheet("open", say("Open signals"), columns, rows, _more(len(found) - len(rows)))


def _act_row(plant: Plant, act: Act) -> dict[str, Any]:
    calls = sum(signal.calls for signal in act.signals)
    should = [signal.expected for signal in act.signals if signal.expected is not None]
    against = sum(should) if len(should) == len(act.signals) else None
    return {
        "id": act.first.id,
        "what": say("{sign} {what}", sign=sign_of(act.first), what=signal_words(plant, act.first)),
        "calls": calls,
        "against": f"{count(calls)} / {expected(against)}",
        "expected": against,
        "lost": act.lost_per_hour,
        "seen": act.seen.acknowledged_by if act.seen is not None else say("nobody"),
    }


def _more(number: int) -> str:
    return say("{n} more, behind this sheet.", n=number) if number > 0 else ""


def actions_sheet(plant: Plant, sheet: DaySheet, most: int = 0) -> Sheet:
    """What was done, the newest first."""
    newest = list(reversed(sheet.actions))
    rows = [
        {
            "at": f"{plant.clock.local(action.at):%H:%M}",
            "line": action.line,
            "what": action.what,
            "signal": action.signal,
        }
        for action in (newest[:most] if most else newest)
    ]
    columns = (
        Column("at", say("At"), "id"),
        Column("line", say("Line"), "id"),
        Column("what", say("What was done")),
        Column("signal", say("Signal"), ways=CSV),
    )
    return Sheet("actions", say("What was done"), columns, rows, _more(len(newest) - len(rows)))


def checks_sheet(sheet: DaySheet, most: int = 0) -> Sheet:
    """Checks outside their limits, what got past first."""
    rows = [
        {
            "of": check.of,
            "what": check.what,
            "found": say("◆ {found}", found=check.found) if check.got_past else check.found,
            "got_past": check.got_past,
        }
        for check in (sheet.checks[:most] if most else sheet.checks)
    ]
    columns = (
        Column("of", say("Of"), "id"),
        Column("what", say("Check")),
        Column("found", say("Found")),
        *in_csv("got_past"),
    )
    strong = [number for number, row in enumerate(rows) if row["got_past"]]
    more = _more(len(sheet.checks) - len(rows))
    made = say("{n} weighings, capacities, densities, temper numbers made.", n=count(sheet.checks_made))
    return Sheet(
        "checks", say("Checks outside limits"), columns, rows, joined(" ", filter(None, (made, more))), strong=strong
    )
