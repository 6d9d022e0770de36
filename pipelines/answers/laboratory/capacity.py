"""Capacity of a line's items on a day: checked, judged, and worked out from the weight between two checks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

import polars as pl

from pipelines.clock import Span
from pipelines.ledger.reader import Reader
from pipelines.measures.laboratory.inferred import Volumes, heaviest_for, inferred, volumes
from pipelines.measures.laboratory.measuring import (
    RANGE_SAMPLE,
    SAMPLE,
    by_range,
    by_spread,
    chance_accepted,
    permissible_error_ml,
    sample_of,
)
from pipelines.measures.laboratory.water import at_20c, capacity_ml
from pipelines.measures.statistics.shares import mean_half_width
from pipelines.measures.weights.rounds import mould_order, rounds_of
from pipelines.measures.weights.tell import KEEPS
from pipelines.plant.tables import Item
from pipelines.plant.works import Plant
from pipelines.words import joined, numeral, say, sentence_of, worded
from schemas.answers.laboratory import Capacity, CapacityCheck, InferredCapacity
from schemas.answers.measuring import Measuring, MeasuringVerdict

BACK = timedelta(
    days=7
)  # of checks of the same item, for the moulds' volumes and for the sample of a measuring container
WEIGHED = timedelta(hours=8)  # how old the latest weighings of a mould may be


@dataclass(frozen=True)
class LineChecks:
    """A line's capacity checks (with capacity_ml, capacity_20_ml, item) and cold weighings, from BACK before a window
    to its end; the furnace's density.
    """

    plant: Plant
    line: str
    window: Span
    checks: pl.DataFrame
    weighings: pl.DataFrame
    density: float
    density_sd: float

    def of(self, item: str | None) -> LineChecks:
        checks, weighings = (part.filter(pl.col("item").eq_missing(item)) for part in (self.checks, self.weighings))
        return replace(self, checks=checks, weighings=weighings)

    def volumes_at(self, until: datetime) -> Volumes | None:
        """The moulds' volumes by the checks before a moment."""
        share = self.plant.uncertainty.weight / 100
        known = self.checks.filter(pl.col("sampled_at") < until)
        return volumes(known, self.weighings.filter(pl.col("sampled_at") < until), self.density, share)


def line_checks(
    reader: Reader, plant: Plant, line: str, window: Span, lehr_s: int, density: float, density_sd: float
) -> LineChecks:
    """Read and worked out: capacity by the water's mass, at the water's temperature and at 20 degrees C."""
    about = {"line": line, "from_time": window.start - BACK, "to_time": window.end, "lehr_s": lehr_s}
    checks = reader.ask("capacities_of_line", **about)
    measured = capacity_ml((checks["filled_g"] - checks["empty_g"]).to_numpy(), checks["water_c"].to_numpy())
    checks = checks.with_columns(
        capacity_ml=pl.Series(measured), capacity_20_ml=pl.Series(at_20c(measured, checks["water_c"].to_numpy()))
    )
    weighings = reader.ask("weights_of_line", **about).filter(pl.col("point") == "cold")
    return LineChecks(plant, line, window, checks, weighings, density, density_sd)


def answer_capacity(checks: LineChecks) -> list[Capacity]:
    """Every item of the window that was checked or weighed."""
    start = checks.window.start
    items = {
        item
        for part in (checks.checks, checks.weighings)
        for item in part.filter(pl.col("sampled_at") >= start)["item"].unique().to_list()
    }
    found = [_of_item(checks.of(item), checks.plant.items.get(item) if item else None, item) for item in items]
    return sorted(
        (capacity for capacity in found if capacity is not None),
        key=lambda capacity: (capacity.item is None, capacity.item or ""),
    )


def _of_item(these_checks: LineChecks, item: Item | None, code: str | None) -> Capacity | None:
    fill = item.fill if item else "brimful"
    right = replace(these_checks, checks=these_checks.checks.filter(pl.col("fill") == fill))
    today = right.checks.filter(pl.col("sampled_at") >= these_checks.window.start)
    if right.checks.is_empty():
        return None
    values = today["capacity_ml"].to_numpy()
    n = len(values)
    low, high = (item.capacity_min_ml, item.capacity_max_ml) if item else (None, None)
    sd = float(values.std(ddof=1)) if n > 1 else None
    half = mean_half_width(sd, n) if sd is not None else None
    checks = tuple(_check(row, low, high) for row in today.iter_rows(named=True))
    notes = _notes(these_checks, item, code, fill)
    now, alarms = _inferred(right, low, high) if low is not None or high is not None else ([], [])
    return Capacity(
        item=code,
        name=item.name if item else "",
        fill=fill,
        n=n,
        mean_ml=float(values.mean()) if n else None,
        low=float(values.mean()) - half if half is not None else None,
        high=float(values.mean()) + half if half is not None else None,
        sd_ml=sd,
        capacity_ml=item.capacity_ml if item else None,
        capacity_min_ml=low,
        capacity_max_ml=high,
        outside=sum(check.outside for check in checks),
        checks=checks,
        measuring=_measuring(right, item) if item is not None and item.measuring_container else None,
        inferred=tuple(now),
        alarms=tuple(alarms),
        notes=tuple(notes),
    )


def _check(row: dict[str, Any], low: float | None, high: float | None) -> CapacityCheck:
    value = row["capacity_ml"]
    outside = (low is not None and value < low) or (high is not None and value > high)
    cavity = f"{row['section']}{row['gob']}" if row["section"] is not None else ""
    return CapacityCheck(
        at=row["sampled_at"],
        mould=row["mould"],
        cavity=cavity,
        fill=row["fill"],
        empty_g=row["empty_g"],
        water_c=row["water_c"],
        capacity_ml=value,
        outside=outside,
    )


def _notes(checks: LineChecks, item: Item | None, code: str | None, fill: str) -> list[str]:
    notes = []
    today = checks.checks.filter(pl.col("sampled_at") >= checks.window.start)
    other = today.filter(pl.col("fill") != fill).height
    if item is None:
        notes.append(
            say("no job or mould log tells which item these checks are of: no limits")
            if code is None
            else say("item {item} is not in works.toml: no limits", item=code)
        )
    elif item.capacity_min_ml is None and item.capacity_max_ml is None:
        notes.append(say("works.toml gives {item} no capacity limits: nothing is called outside", item=item.id))
    if other:
        notes.append(
            say(
                "{other} checks of another fill than {fill}, which the limits of works.toml are for; they are not "
                "judged",
                other=other,
                fill=worded(fill.replace("_", " ")),
            )
        )
    if today.is_empty():
        notes.append(
            say("no capacity check came for this day: what stands here follows from the weight and earlier checks")
        )
    return notes


def _measuring(these_checks: LineChecks, item: Item) -> Measuring:
    """The verdicts of the rules for measuring containers, each on its own sample, capacities at 20 degrees C."""
    nominal = item.nominal_ml or item.capacity_ml
    checks = these_checks.checks.sort("sampled_at", "mould", "sample")
    n = min(SAMPLE, checks.height)
    if nominal is None:
        meaning = say(
            "works.toml gives {item} neither nominal_ml nor capacity_ml: no verdict is possible", item=item.id
        )
        return Measuring(nominal_ml=0.0, error_ml=None, n=n, meaning=meaning)
    try:
        error = permissible_error_ml(nominal)
    except ValueError as refused:
        meaning = say("{why}: no verdict", why=sentence_of(refused))
        return Measuring(nominal_ml=nominal, error_ml=None, n=n, meaning=meaning)
    indicated, verdicts = item.capacity_ml or nominal, []
    for rule, size in ((by_spread, SAMPLE), (by_range, RANGE_SAMPLE)):
        found = sample_of(checks["sampled_at"].to_list(), size)
        if found is not None:
            sample = checks.slice(found[0], size)
            verdict, taken = rule(sample["capacity_20_ml"].to_list(), indicated, error), sample["sampled_at"]
            of = {"sample_from": taken[0], "sample_to": taken[-1], "one_hour": found[1]}
            verdicts.append(verdict.model_copy(update=of))
    times = checks["sampled_at"].tail(SAMPLE).to_list() or [None]
    seen: dict[str, Any] = {"sample_from": times[0], "sample_to": times[-1]}
    if verdicts:
        seen = {"sample_from": verdicts[0].sample_from, "sample_to": verdicts[0].sample_to}
    meaning = _meaning(verdicts, checks.height)
    return Measuring(nominal_ml=nominal, error_ml=error, n=n, verdicts=tuple(verdicts), meaning=meaning, **seen)


def _meaning(verdicts: Sequence[MeasuringVerdict], checked: int) -> str:
    """What the verdicts say and do not say."""
    if not verdicts:
        return say(
            "the rules ask for {size} containers of one batch ({range_size} by the range method); {checked} were "
            "checked in the last {days} days: no verdict",
            size=SAMPLE,
            range_size=RANGE_SAMPLE,
            checked=checked,
            days=BACK.days,
        )
    said = [_as_batch(verdicts)]
    if len(verdicts) == 1:
        said.append(
            say(
                "Not judged by mean and range: that asks for {size}, {checked} were checked.",
                size=RANGE_SAMPLE,
                checked=checked,
            )
        )
    if not all(verdict.one_hour for verdict in verdicts):
        said.append(
            say(
                "No hour holds so many checks: these are the works' own of a longer time. The directive asks for one "
                "hour's production (annex II 1)."
            )
        )
    few, many = 0.025, 0.065
    said.append(
        say(
            "A batch with {few} % of its containers beyond one limit would pass in {passes} of 100 such samples of "
            "{size}, one with {many} % in {rarely}.",
            few=numeral(100 * few, ".1f"),
            passes=f"{100 * chance_accepted(few):.0f}",
            size=SAMPLE,
            many=numeral(100 * many, ".1f"),
            rarely=f"{100 * chance_accepted(many):.0f}",
        )
    )
    return joined(" ", said)


def _as_batch(verdicts: Sequence[MeasuringVerdict]) -> str:
    """Whether a batch of such ware would be accepted, by the gravest of the verdicts."""
    refused = [verdict for verdict in verdicts if not verdict.accepted]
    if not refused:
        return say(
            "As a batch these would be accepted by {method}, {n} containers, with {margin} ml to spare.",
            method=verdicts[0].method,
            n=verdicts[0].n,
            margin=numeral(verdicts[0].margin_ml, ".1f"),
        )
    return say(
        "As a batch these would be refused by {method}, {n} containers ({broken}), by {margin} ml. What becomes of "
        "the ware is for the authorised person to say.",
        method=refused[0].method,
        n=refused[0].n,
        broken=joined(", ", refused[0].broken),
        margin=numeral(-refused[0].margin_ml, ".1f"),
    )


def _inferred(
    checks: LineChecks, low: float | None, high: float | None
) -> tuple[list[InferredCapacity], list[InferredCapacity]]:
    """Every mould at the end of the window, and the moulds called in it, each when it first was since it was last
    not.
    """
    today = checks.weighings.filter(pl.col("sampled_at") >= checks.window.start)
    if today.is_empty():
        return [], []
    called: dict[str, InferredCapacity] = {}
    alarms: list[InferredCapacity] = []
    latest: list[InferredCapacity] = []
    starts = rounds_of(today).seconds
    ends = [*(datetime.fromtimestamp(s, checks.window.start.tzinfo) for s in starts[1:]), checks.window.end]
    known, checked = None, -1
    for end in ends:
        so_far = checks.checks.filter(pl.col("sampled_at") < end).height
        if so_far != checked:  # what the moulds enclose is known anew after a check
            known, checked = checks.volumes_at(end), so_far
        if known is None:
            continue
        weighed = checks.weighings.filter(pl.col("sampled_at").is_between(end - WEIGHED, end, closed="left"))
        latest = inferred(known, weighed, checks.density, checks.density_sd, low, high) if weighed.height else []
        fresh = {each.mould: each for each in latest if each.called}
        alarms += [_with_next(checks, each) for mould, each in fresh.items() if mould not in called]
        called = fresh
    ordered = sorted(latest, key=lambda answer: mould_order(answer.mould))
    return [_with_next(checks, each) for each in ordered], alarms


def _with_next(checks: LineChecks, capacity: InferredCapacity) -> InferredCapacity:
    return capacity.model_copy(update={"next_check": _next_check(checks, capacity.at)})


def _next_check(checks: LineChecks, at: datetime) -> datetime | None:
    """The first check after a moment; where none came, when one is due."""
    times = checks.checks["sampled_at"].to_list()
    later = [time for time in times if time > at]
    if later:
        return min(later)
    hours = checks.plant.checks.capacity_hours
    return max(times) + timedelta(hours=hours) if hours and times else None


def heavy_enough_g(these_checks: LineChecks, item: Item) -> float | None:
    """The mean weight [g] below which an item's capacity would come too near its greatest value; None without a limit
    or enough checks.
    """
    mine = these_checks.of(item.id)
    checks = mine.checks.filter(pl.col("fill") == item.fill)
    known = replace(mine, checks=checks).volumes_at(these_checks.window.end)
    if known is None or item.capacity_max_ml is None or checks.height < 6:
        return None
    sd = float(checks["capacity_ml"].to_numpy().std(ddof=1))
    return heaviest_for(known, these_checks.density, item.capacity_max_ml, sd, KEEPS)
