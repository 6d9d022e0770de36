"""What of a production day is held, in doubt or not known: a short sentence each, what asks for somebody first."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import polars as pl

from pipelines.answers.breakages import Breakage
from pipelines.answers.day import Day
from pipelines.measures.yields.names import meter_name, state_name
from pipelines.numbers import count, decimals
from pipelines.plant.works import Plant
from pipelines.words import joined, say, say_n
from schemas.answers.holds import HeldPallet
from schemas.answers.trust import StationDoubt

LEAST_COVER = 0.99  # of a day that a station's counts reach over


def doubts_of(plant: Plant, day: Day) -> list[str]:
    """All of a closed day."""
    return [
        *breakage_words(day.breakages),
        *held_words(day.held, day.holds),
        *unvouched_words(day.unvouched),
        *_meters(day),
        *_cover(plant, day),
        *_unknown(day),
        *waiting_words(day.waiting),
    ]


def breakage_words(breakages: Iterable[Breakage]) -> Iterator[str]:
    """Ware that broke on a line: pieces of glass may lie in what stood beside it."""
    of_line: dict[str, list[Breakage]] = {}
    for breakage in breakages:
        of_line.setdefault(breakage.line, []).append(breakage)
    for line, mine in of_line.items():
        pallets = {pallet for breakage in mine for pallet in breakage.pallets["pallet"]}
        yield say_n(
            "{line}: {n} breakage, {pallets} beside it.",
            "{line}: {n} breakages, {pallets} beside it.",
            len(mine),
            line=line,
            pallets=_pallets(len(pallets)),
        )


def held_words(held: pl.DataFrame, holds: Iterable[HeldPallet]) -> Iterator[str]:
    """Pallets by their state in the warehouse, and decisions about holds."""
    decided = list(holds)
    out = [hold.pallet for hold in decided if hold.state == "held" and hold.warehouse == "released"]
    if out:
        yield given_out_words(len(out))
    for (state,), rows in held.sort("state").group_by(["state"], maintain_order=True):
        lines = joined(", ", sorted(set(rows["line"])))
        yield say(
            "{pallets}, {state}: {lines}.", pallets=_pallets(rows.height), state=state_name(str(state)), lines=lines
        )
    for state, words in (("proposed", say("proposed for a hold")), ("held", say("held by decision"))):
        mine = {hold.pallet for hold in decided if hold.state == state}
        if mine:
            yield say("{pallets} {state}.", pallets=_pallets(len(mine)), state=words)


def given_out_words(pallets: int) -> str:
    """Pallets that a decision holds and the warehouse gave out."""
    return say_n("{n} pallet held here was given out.", "{n} pallets held here were given out.", pallets)


def _pallets(number: int) -> str:
    return say_n("{n} pallet", "{n} pallets", number)


def unvouched_words(doubts: Iterable[StationDoubt]) -> Iterator[str]:
    """Stations that nobody vouches for, one sentence a station."""
    stations: dict[str, list[StationDoubt]] = {}
    for doubt in doubts:
        stations.setdefault(doubt.station, []).append(doubt)
    for station, mine in stations.items():
        yield say(
            "{station} in doubt for {defects}: {containers} containers.",
            station=station,
            defects=joined(", ", dict.fromkeys(doubt.defect for doubt in mine)),
            containers=count(max(doubt.containers for doubt in mine)),
        )


def _meters(day: Day) -> Iterator[str]:
    for suspect in (*day.yields.suspect_meters, *day.yields.unusual_losses):
        yield say("{meter}: more probably off than not.", meter=meter_name(suspect.meter))


def _cover(plant: Plant, day: Day) -> Iterator[str]:
    for line, cover in day.coverage.items():
        covered = {row["station"]: row["covered_s"] for row in cover.iter_rows(named=True)}
        stations = plant.stations_of(line)
        if stations and not any(covered.get(station.id) for station in stations):
            yield say("{line}: no counts came.", line=line)
            continue
        for station in stations:
            share = covered.get(station.id, 0) / day.span.seconds
            if not share:
                yield say("{line}: no counts came.", line=station.id)
            elif share < LEAST_COVER:
                yield say(
                    "{station}: counts for {share} % of the day.", station=station.id, share=decimals(100 * share, 1)
                )


def _unknown(day: Day) -> Iterator[str]:
    """What no feed told."""
    for line in day.yields.lines:
        if line.packed_units is None and not line.silent:
            yield say("{line}: packed is not known, no pallet came.", line=line.line)
    for furnace in day.yields.furnaces:
        if furnace.melted_kg is None:
            yield say("{furnace}: melted is not known, no whole melt log came.", furnace=furnace.furnace)
    lines: dict[str, int] = {}
    for line_name, _, _ in day.doubts:
        lines[line_name] = lines.get(line_name, 0) + 1
    for line_name, hours in lines.items():
        yield say_n(
            "{line}: {n} hour with a doubt about its signals.",
            "{line}: {n} hours with a doubt about their signals.",
            hours,
            line=line_name,
        )


def waiting_words(waiting: tuple[int, int]) -> Iterator[str]:
    """What waits in quarantine, of all feeds."""
    rows, files = waiting
    if rows or files:
        yield say("{rows} rows and {files} files wait in quarantine.", rows=count(rows), files=count(files))
