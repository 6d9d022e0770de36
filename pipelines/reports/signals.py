"""Signals on a page: the most harmful as cards with their small chart, all of them as a table."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from pipelines.measures.signals.tell import nothing_found
from pipelines.numbers import decimals, expected
from pipelines.plant.works import Plant
from pipelines.reports.frame import charts
from pipelines.reports.frame.page import Card, Section
from pipelines.reports.frame.shared_parts import count, percent
from pipelines.reports.frame.sheet import Column, Sheet
from schemas.answers.signals import Signal

CARDS = 6  # a screenful


PASSED = "Over within a quarter of an hour, their place a guess"


def place_words(plant: Plant, told: Signal) -> str:
    """A signal's place as a machine man would say it."""
    if told.kind != "excess":
        return f"moulds read: {', '.join(told.moulds)}" if told.moulds else "no mould number read"
    if not told.placed_inside and told.scope == "line":
        return f"somewhere on {told.line}: too few of these calls carry a mould number to say more"
    cavities = f" ({', '.join(told.cavities)})" if told.cavities else ""
    return {
        "mould": f"mould {', '.join(told.members)}{cavities}",
        "section": f"section {', '.join(told.members)}",
        "gob": f"gob position {', '.join(told.members)}",
        "line": f"the whole line {told.line}",
        "furnace": f"all lines of furnace {told.furnace} together ({', '.join(told.members)})",
        "station": _station_words(told),
    }[told.scope]


def _station_words(told: Signal) -> str:
    names = ", ".join(told.members)
    return f"station {names} lets pass what it found before" if told.blinded else f"station {names} alone"


def sureness(told: Signal) -> str:
    """How probable the place is, and what else it could be."""
    if told.probability is None:
        return "not judged by statistics"
    others = sorted(((p, s) for s, p in told.scopes.items() if s != told.scope and p >= 0.05), reverse=True)
    else_ = f"; else {', '.join(f'{s} {percent(p, 0)}' for p, s in others)}" if others else ""
    return f"{told.doubt}{': ' if told.doubt else ''}{told.scope} {percent(told.probability, 0)}{else_}"


def _share(told: Signal) -> str:
    if told.probability is None:
        return ""
    return ", ".join(part for part in (percent(told.probability, 0), told.doubt) if part)


def card_name(told: Signal) -> str:
    """What a link to a signal's card says after the #."""
    return f"s-{told.id}"


def clock_words(plant: Plant, moment: datetime, near: datetime) -> str:
    """A local time; with its date where that is another day's."""
    local, other = plant.clock.local(moment), plant.clock.local(near)
    return f"{local:%H:%M}" if local.date() == other.date() else f"{local:%d %b %H:%M}"


def _card(plant: Plant, told: Signal, now: datetime) -> Card:
    def at(moment: datetime) -> str:
        return clock_words(plant, moment, now)

    rates = f"{percent(told.rate_after)} against {percent(told.rate_before)} before"
    since = f"Since {at(told.onset)} (95 %: {at(told.onset_low)} to {at(told.onset_high)}) at the station; " + (
        f"ended {at(told.ended)}." if told.ended is not None else "going on."
    )
    lines = [
        f"Place: {sureness(told)}. Look first: {told.look_first}.",
        since,
        f"Formed from {at(told.formed)} on (95 %: {at(told.formed_low)} to {at(told.formed_high)}); lehr {told.lehr}.",
        f"{count(told.calls)} calls in {count(told.ware)} containers of this place, {expected(told.expected)} "
        f"expected: {rates}. q = {told.q or 0:.1g}.",
    ]
    if told.happened:
        lines.append(f"The logs then: {'; '.join(told.happened)}.")
    if told.borrowed:
        lines.append("New job: what is expected leans on a former job's past.")
    if told.new_mould:
        lines.append("New mould: what is expected of it leans on the line's own rate.")
    lines.append(f"{told.closes[:1].upper()}{told.closes[1:]}.")
    lines.append(_acknowledged(plant, told, now))
    kind = "critical" if told.severity == "critical" else ""
    title = f"{told.defect} {told.name} ({told.severity}): {place_words(plant, told)}"
    lost = f"about {told.lost_per_hour:.0f} containers lost an hour" if told.ended is None else "closed"
    return Card(
        title,
        lost,
        _chart(plant, told, now),
        tuple(lines),
        kind,
        card_name(told),
        signal=told.id,
        seen=told.acknowledged_by is not None,
    )


def _acknowledged(plant: Plant, told: Signal, now: datetime) -> str:
    if told.acknowledged_by is None or told.acknowledged_at is None:
        return f"Seen by nobody yet: coldledger signals acknowledge {told.id} --by NAME --note TEXT"
    note = f": {told.note}" if told.note else ""
    return f"Seen by {told.acknowledged_by}, {clock_words(plant, told.acknowledged_at, now)}{note} ({told.id})"


def _chart(plant: Plant, told: Signal, now: datetime) -> str:
    if told.series_from is None or not told.series_calls:
        return ""
    begun = (told.onset - told.series_from).total_seconds() / 60 / told.series_step_min
    rows = [
        {"value": calls, "expected": expected, "late": number + 0.5 >= begun}
        for number, (calls, expected) in enumerate(zip(told.series_calls, told.series_expected, strict=True))
    ]
    words = (
        f"Calls in {told.series_step_min:.0f} min from {clock_words(plant, told.series_from, now)}: "
        + ", ".join(f"{c:.0f}" for c in told.series_calls)
        + f"; expected about {decimals(sum(told.series_expected) / len(told.series_expected), 1)} each"
    )
    return charts.svg(charts.pulse, words, rows, f"in {told.series_step_min:.0f} min")


def signals_section(
    plant: Plant, signals: Sequence[Signal], now: datetime, judged: str, doubts: Sequence[str] = ()
) -> Section:
    """The signals of a line at the end of an hour: cards of the most harmful, critical first. doubts: what could not be
    judged.
    """
    excesses = [s for s in signals if s.kind == "excess" and not s.passed]
    passed = [s for s in signals if s.passed]
    critical = [s for s in signals if s.kind != "excess"]
    shown = excesses[:CARDS]
    texts = []
    if critical:
        told = ", ".join(f"{s.defect} {s.name} {s.calls} ({place_words(plant, s)})" for s in critical)
        texts.append(f"Critical calls, shown whatever chance says: {told}.")
    if not excesses:
        texts.append(nothing_found(doubts))
    elif len(excesses) > CARDS:
        texts.append(f"The {CARDS} most harmful of {len(excesses)}; all of them are in the table below.")
    if passed:
        texts.append(f"{PASSED}: {len(passed)}, in the table below.")
    texts.append(
        f"{judged} Bars: calls; filled strongly since the onset; the stepped line is what the line's own past leads "
        "one to expect."
    )
    cards = tuple(_card(plant, one, now) for one in shown)
    return Section(
        "What is not chance", tuple(texts), cards=cards, wide=True, warn=any(s.ended is None for s in excesses)
    )


SIGNAL_COLUMNS = (
    Column("line", "Line"),
    Column("defect", "Defect"),
    Column("place", "Place"),
    Column("sure", "How sure"),
    Column("since", "Since (95 %)"),
    Column("formed", "Formed from"),
    Column("ended", "Ended"),
    Column("calls", "Calls", "count"),
    Column("expected", "Expected", "expected"),
    Column("ware", "Ware of the place", "count"),
    Column("lost", "Lost an hour", "number"),
    Column("q", "q"),
    Column("seen", "Seen by"),
    Column("id", "Name"),
)


def signals_sheet(plant: Plant, signals: Sequence[Signal], now: datetime, name: str = "signals") -> Sheet:
    """All signals as rows, the most harmful first."""

    def at(moment: datetime) -> str:
        return clock_words(plant, moment, now)

    rows = [
        {
            "line": s.line,
            "defect": f"{s.defect} {s.name} ({s.severity})",
            "place": place_words(plant, s),
            "sure": _share(s),
            "since": f"{at(s.onset)} ({at(s.onset_low)} to {at(s.onset_high)})",
            "formed": at(s.formed),
            "ended": f"{at(s.ended)}{', passed' if s.passed else ''}" if s.ended else "going on",
            "calls": s.calls,
            "expected": s.expected,
            "ware": s.ware,
            "lost": s.lost_per_hour,
            "q": f"{s.q:.1g}" if s.q is not None else "",
            "seen": s.acknowledged_by or "",
            "id": s.id,
            "severity": s.severity,
        }
        for s in signals
        if s.kind == "excess"
    ]
    strong = [number for number, row in enumerate(rows) if row["severity"] == "critical"]
    caption = (
        "Since and ended by the clock of the station that calls it. Expected: by the line's own past in this job. "
        "Ware: containers of the place since the onset. Lost an hour: calls beyond expectation in the last hour of "
        "it. q: false-discovery-adjusted probability of chance. Passed: over within a quarter of an hour of being "
        "raised, its place a guess; told to nobody."
    )
    return Sheet(name, "Signals", SIGNAL_COLUMNS, rows, caption, strong=strong)
