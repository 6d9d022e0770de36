"""What the challenges say of the stations, and what passed while nobody could vouch for them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property

import polars as pl

from pipelines.answers.pallets import pallets_of_line
from pipelines.answers.pareto import check_line
from pipelines.clock import Span
from pipelines.ledger.reader import Reader
from pipelines.measures.pareto.kinds_of_call import faults
from pipelines.measures.statistics.shares import clustered_interval
from pipelines.measures.trace.detection import (
    Detection,
    MissPrior,
    Passes,
    chances_of,
    design_effect,
    detection,
    passes_by_kind,
    sums_of,
    usual_of,
    works_prior,
)
from pipelines.measures.trace.trust import FAILED, OVERDUE, REAL, SHOWN, Doubt, doubts_of, failed_kinds
from pipelines.plant.works import Plant
from pipelines.words import say
from schemas.answers.trust import DetectionRate, StationAssumption, StationDoubt, Trust

BACK, AHEAD = timedelta(days=30), timedelta(days=1)


@dataclass(frozen=True)
class Vouching:
    """The works' challenges about a time, and what follows from them.

    counted: as `challenges_counted` gives them.  failing: every challenge of the stations and defects of which one
    failed.
    """

    plant: Plant
    counted: pl.DataFrame
    failing: pl.DataFrame
    until: datetime

    @cached_property
    def doubts(self) -> list[Doubt]:
        return doubts_of(self.plant, self.counted, self.failing, self.until)

    @cached_property
    def sums(self) -> pl.DataFrame:
        return sums_of(self.counted)

    @cached_property
    def passes(self) -> Passes:
        return passes_by_kind(self.sums)

    @cached_property
    def prior(self) -> MissPrior:
        return works_prior(self.counted, self.doubts)

    @cached_property
    def failures(self) -> dict[tuple[str, str], list[Doubt]]:
        """The stretches in doubt by failed challenges, by station and defect."""
        found: dict[tuple[str, str], list[Doubt]] = {}
        for doubt in self.doubts:
            if doubt.why == FAILED:
                found.setdefault((doubt.station, doubt.defect), []).append(doubt)
        return found

    @cached_property
    def _chances(self) -> dict[Doubt, float]:
        return {}

    def chance(self, doubt: Doubt) -> float:
        """How likely the station really failed in a stretch in doubt: by its failed challenges; where one is only
        overdue, by the time gone by.
        """
        if doubt.why == OVERDUE:
            return self._since(doubt)
        if doubt not in self._chances:
            mine = self.failures[doubt.station, doubt.defect]
            chances = chances_of(doubt.station, doubt.defect, self.passes, mine, self.prior)
            self._chances.update(zip(mine, chances, strict=True))
        return self._chances[doubt]

    def _since(self, doubt: Doubt) -> float:
        missed = (self.until - (doubt.start or self.until)) / timedelta(hours=self.plant.checks.challenge_hours)
        return float(1 - (1 - REAL) ** max(1.0, missed))

    def usual(self, station: str, defect: str) -> tuple[float, float]:
        """Beta parameters (missed, found) of what a station usually misses of a defect."""
        mine = self.failures.get((station, defect), [])
        return usual_of(station, defect, self.passes, mine, self.prior, [self.chance(d) for d in mine])

    def detection(self, line: str, defect: str | None) -> Detection:
        return detection(self.plant, line, defect, self.sums, self.prior.alike)

    def doubts_of(self, line: str, defect: str | None, start: datetime, end: datetime) -> list[Doubt]:
        """What of a line's stations is in doubt in [start, end), for one defect or for all."""
        mine = (d for d in self.doubts if d.line == line and (defect is None or d.defect == defect))
        return [d for d in mine if d.holds(start, end)]


def vouching(reader: Reader, plant: Plant, span: Span) -> Vouching:
    """The challenges from BACK before a span to AHEAD after it; overdue is told as of the end of what was received, at
    most AHEAD after the span.
    """
    moments = challenge_limits(span)
    counted = faults(plant, reader.ask("challenges_counted", **moments))
    kinds = failed_kinds(plant, counted)
    failing = reader.ask(
        "challenges_of_kinds", **moments, stations=kinds["station"].to_list(), defects=kinds["defect"].to_list()
    )
    last = reader.ask("span_of_counts")["last_window"][0]
    return Vouching(plant, counted, failing, min(last, moments["to_time"]) if last is not None else span.end)


def challenge_limits(span: Span) -> dict[str, datetime]:
    """The limits of the challenges that tell of a span."""
    return {"from_time": span.start - BACK, "to_time": span.end + AHEAD}


def answer_trust(reader: Reader, plant: Plant, span: Span, line: str | None = None) -> Trust:
    """Detection rates by station and defect from the challenges of 30 days, and every stretch in doubt that touches the
    span, with the ware that passed in it and the pallets it was packed on. WrongUse for an unknown line.
    """
    if line is not None:
        check_line(plant, line)
    known = vouching(reader, plant, span)
    mine = (
        reader.ask("challenges_between", **challenge_limits(span))
        if line is None
        else reader.ask("challenges_of_line", **challenge_limits(span), line=line, defect=None)
    )
    touched = ranked_doubts(known, span, line)
    return Trust(
        from_=span.start,
        to=span.end,
        rates=tuple(_rates(plant, mine, known.prior.alike)),
        doubts=tuple(station_doubt(reader, plant, doubt, known) for doubt in touched),
        never=tuple(_never(plant, mine, line)),
        usual_missed=known.prior.mean if known.prior.shown else None,
        alike=known.prior.alike,
        assumed=tuple(_assumed(plant, known, line)),
        works_challenged=_works_challenged(known),
    )


def _works_challenged(known: Vouching) -> bool:
    return any(passes for passes, _, _ in known.passes.values())


def _assumed(plant: Plant, known: Vouching, line: str | None) -> list[StationAssumption]:
    """What traces take of each station and the defects that it was never challenged with: the minor ones too."""
    by = (
        say("the works' challenges")
        if known.prior.shown
        else say("hardly anything: the works were challenged too little")
    )
    by = by if _works_challenged(known) else say("no challenge at all: one half, a guess")
    found = []
    for station in plant.station:
        able = [code for code in plant.faults if station.can_call(code)]
        never = tuple(code for code in able if not known.passes.get((station.id, code), (0.0,))[0])
        if never and line in (None, station.line):
            found.append(
                StationAssumption(
                    line=station.line,
                    station=station.id,
                    defects=never,
                    challenged=len(able) - len(never),
                    missed=known.prior.mean,
                    by=by,
                )
            )
    return found


def ranked_doubts(known: Vouching, span: Span, line: str | None = None) -> list[Doubt]:
    """The stretches in doubt that touch a span, ranked."""
    return by_harm(known, [d for d in known.doubts if line in (None, d.line) and d.holds(span.start, span.end)])


def by_harm(known: Vouching, mine: Sequence[Doubt]) -> list[Doubt]:
    """What asks for somebody first (the likeliest failures, then overdue challenges), then what is usual."""
    return sorted(mine, key=lambda d: (is_usual(known, d), -known.chance(d), d.line, d.station, d.defect))


def is_usual(known: Vouching, doubt: Doubt) -> bool:
    """Whether failed challenges are no more than what the station usually misses. An overdue challenge never is."""
    return doubt.why != OVERDUE and known.chance(doubt) < SHOWN


def doubts_in(reader: Reader, plant: Plant, span: Span) -> tuple[list[StationDoubt], list[Doubt]]:
    """The stretches in doubt that touch a span: with their ware and their pallets, the likeliest failures first; and
    those that are usual.
    """
    known = vouching(reader, plant, span)
    every = ranked_doubts(known, span)
    shown = [station_doubt(reader, plant, doubt, known) for doubt in every if not is_usual(known, doubt)]
    return shown, [doubt for doubt in every if is_usual(known, doubt)]


def _rates(plant: Plant, challenges: pl.DataFrame, alike: float) -> list[DetectionRate]:
    ends = (
        pl.col("checked_at").last().alias("last"),
        pl.col("caught").last().alias("of_last"),
        pl.col("passes").last().alias("n_last"),
    )
    sums = challenges.group_by("line", "station", "defect").agg(
        pl.col("passes").sum(),
        pl.col("caught").sum(),
        (pl.col("passes").cast(pl.Int64) ** 2).sum().alias("squares"),
        *ends,
    )
    found = []
    for row in sums.sort("line", "station", "defect").iter_rows(named=True):
        effect = design_effect(row["passes"], row["squares"], alike)
        low, high = clustered_interval(row["caught"], row["passes"], effect)
        rate = row["caught"] / row["passes"] if row["passes"] else None
        severity = plant.defects[row["defect"]].severity if row["defect"] in plant.defects else ""
        found.append(
            DetectionRate(
                line=row["line"],
                station=row["station"],
                defect=row["defect"],
                severity=severity,
                passes=row["passes"],
                caught=row["caught"],
                rate=rate,
                low=low,
                high=high,
                last=row["last"],
                last_caught=row["of_last"],
                last_passes=row["n_last"],
            )
        )
    return found


def _never(plant: Plant, challenges: pl.DataFrame, line: str | None) -> list[str]:
    """Stations that never were challenged with a defect they can call and that is not minor."""
    done = set(challenges.select("station", "defect").iter_rows())
    missing: dict[str, list[str]] = {}
    for station in plant.station:
        for code, defect in plant.faults.items():
            if (
                line in (None, station.line)
                and station.can_call(code)
                and defect.severity != "minor"
                and (station.id, code) not in done
            ):
                missing.setdefault(station.id, []).append(code)
    return [f"{station}: {', '.join(codes)}" for station, codes in missing.items()]


def station_doubt(reader: Reader, plant: Plant, doubt: Doubt, known: Vouching) -> StationDoubt:
    """A stretch in doubt with the containers the station inspected in it and the pallets that can hold them."""
    until = known.until
    start, end = doubt.start or until - BACK, doubt.end or until
    rows = reader.ask("ware", line=doubt.line, from_time=start, to_time=end)
    seen = int(rows.filter(pl.col("station") == doubt.station)["inspected"].sum())
    way = timedelta(
        minutes=plant.stations_of(doubt.line)[-1].after_minutes - plant.stations[doubt.station].after_minutes
    )
    pallets = pallets_of_line(reader, plant, doubt.line, start + way, end + way + timedelta(minutes=30))
    gone = pallets.filter(pl.col("state") == "released")
    return StationDoubt(
        line=doubt.line,
        station=doubt.station,
        defect=doubt.defect,
        severity=plant.defects[doubt.defect].severity if doubt.defect in plant.defects else "",
        why=doubt.why,
        from_=doubt.start,
        to=doubt.end,
        failed_at=doubt.failed_at,
        passes=doubt.passes,
        caught=doubt.caught,
        containers=seen,
        pallets=(*gone["pallet"], *pallets.filter(pl.col("state") != "released")["pallet"]),
        released=gone.height,
        units=int(pallets["units"].sum()),
        likely=known.chance(doubt),
        usual=is_usual(known, doubt),
    )


def around(
    rows: pl.DataFrame, start: datetime, end: datetime
) -> tuple[dict[str, object] | None, dict[str, object] | None]:
    """The last challenge before `start` and the first at or after `end`, of rows in order of time."""
    before, after = rows.filter(pl.col("checked_at") < start), rows.filter(pl.col("checked_at") >= end)
    return (
        before.row(-1, named=True) if before.height else None,
        after.row(0, named=True) if after.height else None,
    )


def stations_in_doubt(known: Sequence[Doubt]) -> list[str]:
    """Stretches in a word each, for a pallet's row."""
    return sorted({say("{station} {defect} ({why})", station=d.station, defect=d.defect, why=d.why) for d in known})
