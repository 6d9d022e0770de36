"""Signals on a page: the most harmful as cards with their small chart, all of them as a table."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from pipelines.measures.signals.tell import nothing_found
from pipelines.numbers import count, decimals, expected, percent
from pipelines.plant.works import Plant
from pipelines.reports.frame.page import Card, Section
from pipelines.reports.frame.sheet import PAGE, SHOWN, Column, Sheet, in_csv
from schemas.answers.signals import Signal

CARDS = 6  # a screenful


PASSED = "Over within a quarter of an hour, their place a guess"


def place_words(plant: Plant, signal: Signal) -> str:
    """A signal's place as a machine man would say it."""
    if signal.kind != "excess":
        return f"moulds read: {', '.join(signal.moulds)}" if signal.moulds else "no mould number read"
    if not signal.placed_inside and signal.scope == "line":
        return f"somewhere on {signal.line}: too few of these calls carry a mould number to say more"
    cavities = f" ({', '.join(signal.cavities)})" if signal.cavities else ""
    return {
        "mould": f"mould {', '.join(signal.members)}{cavities}",
        "section": f"section {', '.join(signal.members)}",
        "gob": f"gob position {', '.join(signal.members)}",
        "line": f"the whole line {signal.line}",
        "furnace": f"all lines of furnace {signal.furnace} together ({', '.join(signal.members)})",
        "station": _station_words(signal),
    }[signal.scope]


def _station_words(signal: Signal) -> str:
    names = ", ".join(signal.members)
    return f"station {names} lets pass what it found before" if signal.blinded else f"station {names} alone"


def sureness(signal: Signal) -> str:
    """How probable the place is, and what else it could be."""
    if signal.probability is None:
        return "not judged by statistics"
    others = sorted(((p, s) for s, p in signal.scopes.items() if s != signal.scope and p >= 0.05), reverse=True)
    else_ = f"; else {', '.join(f'{s} {percent(p, 0)}' for p, s in others)}" if others else ""
    return f"{signal.doubt}{': ' if signal.doubt else ''}{signal.scope} {percent(signal.probability, 0)}{else_}"


def _share(signal: Signal) -> str:
    if signal.probability is None:
        return ""
    return ", ".join(part for part in (percent(signal.probability, 0), signal.doubt) if part)


def card_name(signal: Signal) -> str:
    """What a link to a signal's card says after the #."""
    return f"s-{signal.id}"


def clock_words(plant: Plant, moment: datetime, near: datetime) -> str:
    """A local time; with its date where that is another day's."""
    local, other = plant.clock.local(moment), plant.clock.local(near)
    return f"{local:%H:%M}" if local.date() == other.date() else f"{local:%d %b %H:%M}"


def _card(plant: Plant, signal: Signal, now: datetime) -> Card:
    def at(moment: datetime) -> str:
        return clock_words(plant, moment, now)

    rates = f"{percent(signal.rate_after)} against {percent(signal.rate_before)} before"
    since = f"Since {at(signal.onset)} (95 %: {at(signal.onset_low)} to {at(signal.onset_high)}) at the station; " + (
        f"ended {at(signal.ended)}." if signal.ended is not None else "going on."
    )
    lines = [
        f"Place: {sureness(signal)}. Look first: {signal.look_first}.",
        since,
        f"Formed from {at(signal.formed)} on (95 %: {at(signal.formed_low)} to {at(signal.formed_high)}); lehr "
        f"{signal.lehr}.",
        f"{count(signal.calls)} calls in {count(signal.ware)} containers of this place, {expected(signal.expected)} "
        f"expected: {rates}. q = {signal.q or 0:.1g}.",
    ]
    if signal.happened:
        lines.append(f"The logs then: {'; '.join(signal.happened)}.")
    if signal.borrowed:
        lines.append("New job: what is expected leans on a former job's past.")
    if signal.new_mould:
        lines.append("New mould: what is expected of it leans on the line's own rate.")
    lines.append(f"{signal.closes[:1].upper()}{signal.closes[1:]}.")
    lines.append(_acknowledged(plant, signal, now))
    kind = "critical" if signal.severity == "critical" else ""
    title = f"{signal.defect} {signal.name} ({signal.severity}): {place_words(plant, signal)}"
    lost = f"about {signal.lost_per_hour:.0f} containers lost an hour" if signal.ended is None else "closed"
    return Card(
        title,
        lost,
        _chart(plant, signal, now),
        tuple(lines),
        kind,
        card_name(signal),
        signal=signal.id,
        seen=signal.acknowledged_by is not None,
    )


def _acknowledged(plant: Plant, signal: Signal, now: datetime) -> str:
    if signal.acknowledged_by is None or signal.acknowledged_at is None:
        return f"Seen by nobody yet: coldledger signals acknowledge {signal.id} --by NAME --note TEXT"
    note = f": {signal.note}" if signal.note else ""
    return f"Seen by {signal.acknowledged_by}, {clock_words(plant, signal.acknowledged_at, now)}{note} ({signal.id})"


def _chart(plant: Plant, signal: Signal, now: datetime) -> str:
    if signal.series_from is None or not signal.series_calls:
        return ""
    from pipelines.reports.frame import charts

    begun = (signal.onset - signal.series_from).total_seconds() / 60 / signal.series_step_min
    rows = [
        {"value": calls, "expected": expected, "late": number + 0.5 >= begun}
        for number, (calls, expected) in enumerate(zip(signal.series_calls, signal.series_expected, strict=True))
    ]
    words = (
        f"Calls in {signal.series_step_min:.0f} min from {clock_words(plant, signal.series_from, now)}: "
        + ", ".join(f"{c:.0f}" for c in signal.series_calls)
        + f"; expected about {decimals(sum(signal.series_expected) / len(signal.series_expected), 1)} each"
    )
    return charts.svg(charts.pulse, words, rows, f"in {signal.series_step_min:.0f} min")


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
        answer = ", ".join(f"{s.defect} {s.name} {s.calls} ({place_words(plant, s)})" for s in critical)
        texts.append(f"Critical calls, shown whatever chance says: {answer}.")
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
    cards = tuple(_card(plant, signal, now) for signal in shown)
    return Section(
        "What is not chance", tuple(texts), cards=cards, wide=True, warn=any(s.ended is None for s in excesses)
    )


SIGNAL_COLUMNS = (
    Column("line", "Line", ways=SHOWN),
    Column("defect", "Defect", ways=SHOWN),
    Column("place", "Place", ways=SHOWN),
    Column("sure", "How sure", ways=PAGE),
    Column("since", "Since (95 %)", ways=SHOWN),
    Column("formed", "Formed from", ways=PAGE),
    Column("ended", "Ended", ways=SHOWN),
    Column("calls", "Calls", "count", SHOWN),
    Column("expected", "Expected", "expected", SHOWN),
    Column("ware", "Ware of the place", "count", SHOWN),
    Column("lost", "Lost an hour", "number", SHOWN),
    Column("q", "q", ways=SHOWN),
    Column("seen", "Seen by", ways=PAGE),
    Column("id", "Name", ways=PAGE),
)
# programs are given what a signal says of itself, under the names that it has in JSON
_PLAIN = in_csv(
    *("id", "kind", "line", "furnace", "defect", "severity", "scope", "members", "moulds", "onset", "onset_low"),
    *("onset_high", "formed", "ended", "passed", "calls", "expected", "ware", "rate_before", "rate_after"),
    *("lost_per_hour", "q", "probability", "undecided", "acknowledged_by", "note"),
)


def plain_signals(signals: Sequence[Signal]) -> Sheet:
    """All signals for programs: lists as words with blanks between."""
    rows = [{name: _flat(value) for name, value in signal.told().items()} for signal in signals]
    return Sheet("signals", "Signals", _PLAIN, rows)


def _flat(value: object) -> object:
    return " ".join(str(v) for v in value) if isinstance(value, list) else value


def critical_sheet(plant: Plant, signals: Sequence[Signal]) -> Sheet:
    """Critical calls, which no chance excuses."""
    rows = [
        {
            "line": signal.line,
            "defect": signal.defect,
            "name": signal.name,
            "calls": signal.calls,
            "ware": signal.ware,
            "moulds": ", ".join(signal.moulds) or "not read",
            "onset": plant.clock.show(signal.onset),
        }
        for signal in signals
    ]
    columns = (
        Column("line", "Line"),
        Column("defect", "Defect"),
        Column("name", "Name"),
        Column("calls", "Calls", "count"),
        Column("ware", "Inspected for it", "count"),
        Column("moulds", "Moulds read"),
        Column("onset", "First call", "id"),
    )
    return Sheet("critical", "Critical calls, shown whatever chance says", columns, rows)


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
