"""The day report: one sheet to read in two minutes, then the glass, then a sheet a machine."""

from __future__ import annotations

from datetime import date, timedelta

from pipelines.answers.day import Day, answer_day
from pipelines.ledger.reader import Reader
from pipelines.measures.laboratory.tell import all_due, laboratory_sentences
from pipelines.measures.laboratory.weight_sentences import gob_sentences
from pipelines.measures.statistics.shares import more_than_whole
from pipelines.measures.yields.change import Revision, YieldChange
from pipelines.measures.yields.meter_sentences import meter_sentences, yield_words
from pipelines.numbers import count, decimals, percent
from pipelines.plant.works import Plant
from pipelines.reports.addresses import day_address
from pipelines.reports.breakages import breakage_sections
from pipelines.reports.day.changes import changes_sheet
from pipelines.reports.day.held import holds_section
from pipelines.reports.day.machine import machine_sections
from pipelines.reports.day.revision import moved_section
from pipelines.reports.day.tables import (
    critical_sheet,
    furnaces_sheet,
    held_sheet,
    laboratory_sheet,
    machines_sheet,
    shifts_sheet,
    weights_sheet,
)
from pipelines.reports.frame.page import CAUTION, GLASS, Figure, Page, Section
from pipelines.reports.frame.sources import sources
from pipelines.reports.missing import missing_section, uncalled_sentence, waiting_words
from pipelines.reports.signals import signals_sheet
from pipelines.reports.yields.losses import balances_sheet, biggest_sheet, furnace_picture, meters_sheet
from pipelines.words import joined, numeral, say, say_n
from schemas.answers.weights import Weights
from schemas.answers.yields import FurnaceYield

MOST = 3
SIGNALS = 5


def day_page(reader: Reader, plant: Plant, day: date, revision: str = "") -> Page:
    """The page of one production day. `revision` says which close wrote it."""
    return page_of(plant, answer_day(reader, plant, day), revision)


def page_of(
    plant: Plant, day: Day, words: str = "", why: Revision | None = None, earlier: tuple[tuple[str, str], ...] = ()
) -> Page:
    """The page of a day already answered. words: which close wrote it; why: what it moved; earlier: pages of the
    revisions before.
    """
    return Page(
        title=say("Production day {on}", on=day.day.isoformat()),
        when=say(
            "{start} to {end}, {hours} hours{words}",
            start=plant.clock.show(day.span.start),
            end=plant.clock.show(day.span.end),
            hours=numeral(day.span.seconds / 3600, "g"),
            words=say("; {words}", words=words) if words else "",
        ),
        figures=tuple(_furnace_figure(f) for f in day.yields.furnaces),
        sections=tuple(_sections(plant, day, why)),
        links=(
            (say("← day before"), f"../{day_address(day.day - timedelta(days=1))}"),
            (say("day after →"), f"../{day_address(day.day + timedelta(days=1))}"),
            *earlier,
            (say("all pages"), "../index.html"),
        ),
        cautions=(CAUTION, GLASS),
        sources=sources(day.asked, day.files),
        made=say(
            "The yield follows the same ware from the melt to the pallet, each step in its own time-aligned window."
        ),
        workbook=f"{day.day.isoformat()}.xlsx",
    )


def _furnace_figure(furnace: FurnaceYield) -> Figure:
    what = say("pack-to-melt, furnace {furnace}", furnace=furnace.furnace)
    if furnace.low is None:
        cut = yield_words(furnace.packed_over_cut, furnace.packed_over_cut_low, furnace.packed_over_cut_high)
        instead = say(
            "{why}: packed over cut {cut}, {packed} of {of} kg",
            why=furnace.why,
            cut=cut,
            packed=count(furnace.packed_kg),
            of=count(furnace.cut_kg),
        )
        return Figure("–", what, furnace.why if furnace.packed_over_cut_low is None else instead)
    raw = (
        say("plain quotient {raw}", raw=percent(furnace.raw, 1))
        if furnace.raw is not None
        else say("by gobs: no whole melt log")
        if furnace.basis == "gobs"
        else say("no plain quotient: see pallets")
    )
    low, high, melted = percent(furnace.low, 1), percent(furnace.high, 1), ""
    if furnace.melted_kg is not None:
        melted = say(", {kg} kg melted by the log", kg=count(furnace.melted_kg))
    under = say(
        "95 %: {low} to {high}; {raw}; {packed}{melted}",
        low=low,
        high=high,
        raw=raw,
        packed=_packed_words(furnace),
        melted=melted,
    )
    if furnace.pack_to_melt is None:
        under = say("{under}; {why}", under=under, why=furnace.why)
        return Figure(say("{low} to {high}", low=low, high=high), what, under)
    return Figure(percent(furnace.pack_to_melt, 1), what, under)


def _packed_words(furnace: FurnaceYield) -> str:
    if furnace.packed_kg is None:
        return say("packed: not told for want of a line's pallets")
    return say("{kg} kg packed", kg=count(furnace.packed_kg))


def _sections(plant: Plant, day: Day, why: Revision | None) -> list[Section]:
    """The first sheet, the glass, a sheet a machine, and the tables behind them."""
    few = [change for change in day.changes if _worth_a_line(day, change)]
    pictures = [furnace_picture(furnace) for furnace in day.yields.furnaces if furnace.flow]
    return [
        Section(say("What changed"), sheet=changes_sheet(few, "changed"), wide=True),
        Section(
            say("The biggest losses"),
            sheet=biggest_sheet(plant, day.yields, MOST, "biggest", say("Biggest losses")),
            wide=True,
        ),
        _signals(plant, day),
        _critical_lines(day),
        *breakage_sections(plant, day.breakages),
        holds_section(plant, day),
        _laboratory(plant, day),
        missing_section(_missing(plant, day)),
        *([moved_section(plant, why)] if why else []),
        Section(say("Every machine's results"), sheet=machines_sheet(day.yields), wide=True, sheet_of_paper=True),
        *pictures,
        Section(say("Furnaces"), sheet=furnaces_sheet(day.yields), wide=True),
        Section(
            say("All losses"),
            sheet=biggest_sheet(plant, day.yields, 20, "losses", say("Losses, the greatest first")),
            wide=True,
        ),
        *[section for line in day.yields.lines for section in machine_sections(plant, day, line)],
        Section(
            say("Critical calls of the day"),
            sheet=critical_sheet(plant, day),
            warn=_any_critical(day),
            wide=True,
            sheet_of_paper=True,
        ),
        *_all_signals(plant, day),
        Section(say("Every figure against earlier days"), sheet=changes_sheet(day.changes, "changes"), wide=True),
        Section(say("By shift"), sheet=shifts_sheet(day)),
        Section(say("Pallets held, to be re-sorted, scrapped"), sheet=held_sheet(plant, day)),
        Section(say("Weights against limits"), sheet=weights_sheet(day), wide=True),
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


def _laboratory(plant: Plant, day: Day) -> Section:
    """Weights, capacity, density, annealing and samples: what asks for somebody in sentences, then a line each with the
    ways to the pages.
    """
    said = [
        say("{line}: {text}", line=line, text=text)
        for line, many in day.weights.items()
        for text in _weight_words(plant, many)
    ]
    said += laboratory_sentences(plant, day.laboratory)
    head = (
        ()
        if said
        else (say("Nothing the laboratory weighed or checked is beyond its limits, and no gob position drifts."),)
    )
    missed = sum(due.missed for furnace in day.laboratory.furnaces for due in all_due(furnace))
    if missed:
        said.append(
            say_n(
                "{n} check that was due was missed; the laboratory pages list it.",
                "{n} checks that were due were missed; the laboratory pages list them.",
                missed,
            )
        )
    sheet = laboratory_sheet(plant, day)
    return Section(say("Laboratory"), head, items=tuple(dict.fromkeys(said)), sheet=sheet, warn=bool(said), wide=True)


def _weight_words(plant: Plant, many: list[Weights]) -> list[str]:
    """Drifting gob positions and weighings outside the limits."""
    said = [text for weights in many for text in gob_sentences(plant, weights)]
    said += [
        say(
            "{outside} of {n} weighings of {item} outside their limits.",
            outside=each.outside,
            n=each.n,
            item=each.item or say("unknown"),
        )
        for each in many
        if each.outside
    ]
    return said if many else [say("no weighing came for this day.")]


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


def _missing(plant: Plant, day: Day) -> list[str]:
    said = meter_sentences(day.yields)
    said += [say("{of}: {why}.", of=each.furnace, why=each.why) for each in day.yields.furnaces if each.why]
    said += [say("{of}: {why}.", of=each.line, why=each.why) for each in day.yields.lines if each.why]
    said += [
        say("{line}, from {hour}: {doubt}", line=line, hour=f"{plant.clock.local(hour):%H:%M}", doubt=doubt)
        for line, hour, doubt in day.doubts
    ]
    for line, cover in day.coverage.items():
        covered = {row["station"]: row["covered_s"] for row in cover.iter_rows(named=True)}
        for station in plant.stations_of(line):
            share = covered.get(station.id, 0) / day.span.seconds
            if share < 0.99:
                said.append(
                    say(
                        "{station}: counts for {share} % of the day.",
                        station=station.id,
                        share=decimals(100 * share, 1),
                    )
                )
        said.extend(uncalled_sentence(row) for row in day.uncalled[line].iter_rows(named=True))
        wrong = more_than_whole(day.paretos[line].rejected_for_faults, day.paretos[line].ware)
        said += [say("{line}: {wrong}", line=line, wrong=wrong)] if wrong else []
        if not any(weight.point == "cold" for weight in day.weights[line]):
            said.append(say("{line}: no cold weighing; nominal weights were used.", line=line))
    notes = [
        say("{of}: {note}", of=y.line, note=note)
        for y in day.yields.lines
        for note in y.notes
        if not note.startswith("lehr time")
    ]
    if any(day.waiting):
        waiting = waiting_words(*day.waiting)
        said.append(say("{waiting}, of all feeds; `coldledger feeds` says why.", waiting=waiting))
    return (
        said + notes + [say("{of}: {note}", of=f.furnace, note=note) for f in day.yields.furnaces for note in f.notes]
    )
