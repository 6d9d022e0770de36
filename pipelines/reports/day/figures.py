"""All figures of a production day, behind its sheet: changes, meters, balances, losses, signals, what is missing."""

from __future__ import annotations

from pipelines.answers.day import Day
from pipelines.measures.yields.change import Revision, YieldChange
from pipelines.numbers import count
from pipelines.plant.works import Plant
from pipelines.reports.day.changes import changes_sheet
from pipelines.reports.day.missing import missing_of
from pipelines.reports.day.revision import moved_section
from pipelines.reports.day.tables import critical_sheet, furnaces_sheet, machines_sheet, shifts_sheet
from pipelines.reports.frame.page import Section
from pipelines.reports.missing import missing_section
from pipelines.reports.signals import signals_sheet
from pipelines.reports.yields.losses import balances_sheet, biggest_sheet, furnace_picture, meters_sheet
from pipelines.words import joined, say, say_n

SIGNALS = 5
LOSSES = 20


def figures_sections(plant: Plant, day: Day, why: Revision | None) -> list[Section]:
    """What changed and what is missing first, then every table. why: what a later close moved."""
    few = [change for change in day.changes if _worth_a_line(day, change)]
    pictures = [furnace_picture(furnace) for furnace in day.yields.furnaces if furnace.flow]
    losses = biggest_sheet(plant, day.yields, LOSSES, "losses", say("Losses, the greatest first"))
    return [
        *([moved_section(plant, why)] if why else []),
        Section(say("What changed"), sheet=changes_sheet(few, "changed"), wide=True),
        missing_section(missing_of(plant, day)),
        Section(say("Every machine's results"), sheet=machines_sheet(day.yields), wide=True),
        *pictures,
        Section(say("Furnaces"), sheet=furnaces_sheet(day.yields), wide=True),
        Section(say("All losses"), sheet=losses, wide=True),
        _signals(plant, day),
        *_all_signals(plant, day),
        _critical_lines(day),
        Section(say("Critical calls of the day"), sheet=critical_sheet(plant, day), warn=_any_critical(day), wide=True),
        Section(say("Every figure against earlier days"), sheet=changes_sheet(day.changes, "changes"), wide=True),
        Section(say("By shift"), sheet=shifts_sheet(day)),
        Section(say("Balances"), sheet=balances_sheet(day.yields), wide=True),
        Section(say("Meters"), sheet=meters_sheet(day.yields), wide=True),
    ]


def _worth_a_line(day: Day, yield_change: YieldChange) -> bool:
    """On the first sheet: the furnaces, and whatever changed by more than noise."""
    furnaces = {furnace.furnace for furnace in day.yields.furnaces}
    return yield_change.of in furnaces or any(
        past is not None and past.beyond for past in (yield_change.week, yield_change.month)
    )


def _critical_lines(day: Day) -> Section:
    """Critical calls in a sentence a line; they are never left out."""
    said = []
    for line, pareto in day.paretos.items():
        calls = [
            say("{key} {name} {calls}", key=row.key, name=row.name, calls=row.critical_calls)
            for row in pareto.rows
            if row.critical_calls
        ]
        said.append(
            say(
                "{line}: {calls}, in {ware} containers at the first station.",
                line=line,
                calls=joined(", ", calls) if calls else say("none called"),
                ware=count(pareto.ware),
            )
        )
    return Section(say("Critical calls"), items=tuple(said), warn=_any_critical(day), wide=True)


def _signals(plant: Plant, day: Day) -> Section:
    """What was not chance, the whole day: those still open first, then the most harmful; the rest behind."""
    still, passed = sum(signal.ended is None for signal in day.signals), sum(signal.passed for signal in day.signals)
    if not day.signals:
        return Section(
            say("What was not chance"),
            (say("No excess that chance does not explain was found in this day."),),
            wide=True,
        )
    shown = sorted(day.signals, key=lambda answer: (answer.passed, answer.ended is not None))[:SIGNALS]
    head = say_n(
        "{n} signal was open in this day, {still} of them still at its end.",
        "{n} signals were open in this day, {still} of them still at its end.",
        len(day.signals),
        still=still,
    )
    if passed:
        head += say(" Over within a quarter of an hour, their place a guess: {passed}.", passed=passed)
    if len(day.signals) > SIGNALS:
        head += say(" The {most} that matter most are here, all of them behind the machines.", most=SIGNALS)
    sheet = signals_sheet(plant, shown, day.span.start, "signals")
    return Section(say("What was not chance"), (head,), sheet=sheet, wide=True, warn=still > 0)


def _all_signals(plant: Plant, day: Day) -> list[Section]:
    if len(day.signals) <= SIGNALS:
        return []
    return [
        Section(
            say("All signals of the day"),
            sheet=signals_sheet(plant, day.signals, day.span.start, "all-signals"),
            wide=True,
        )
    ]


def _any_critical(day: Day) -> bool:
    return any(row.critical_calls for pareto in day.paretos.values() for row in pareto.rows)
