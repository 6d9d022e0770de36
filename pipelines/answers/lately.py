"""What lies outside its limits or waits for somebody just now, beside counts: weights, temper, meters, holds."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

import polars as pl

from pipelines.answers.holds import answer_holds
from pipelines.answers.laboratory.answer import temper_of
from pipelines.clock import Span
from pipelines.ledger.reader import Reader
from pipelines.plant.works import Plant
from schemas.answers.laboratory import Temper

LOOKED_AT = timedelta(hours=24)


@dataclass(frozen=True)
class WeighedOutside:
    """Weighings of an item beyond its limits [g]. n: of its weighings at this point; worst: the one furthest beyond;
    beyond: by how much.
    """

    line: str
    item: str
    point: str
    n: int
    outside: int
    low: float | None
    high: float | None
    worst: float
    beyond: float


@dataclass(frozen=True)
class Lately:
    """span: what weights and temper numbers are of. weights: one an item and line, the one with the most beyond first;
    tempers: lines with numbers beyond a limit. meters: those that the newest closed day, `closed`, holds for more
    probably off than not. proposed: pallets whose hold waits for a person; given_out: held ones that were given out.
    """

    span: Span
    weights: tuple[WeighedOutside, ...]
    tempers: tuple[tuple[str, Temper], ...]
    meters: tuple[str, ...]
    closed: date | None
    proposed: int
    given_out: int


def answer_lately(reader: Reader, plant: Plant, span: Span, lehr_minutes: Mapping[str, float]) -> Lately:
    """What a works looks at in a day up to `span.end`. lehr_minutes: by line, where it is known; else nominal."""
    closed, meters = _meters(reader)
    holds = answer_holds(reader)
    weights: list[WeighedOutside] = []
    for line, nominal in plant.lines.items():
        weights += _weights(reader, plant, line, span, lehr_minutes.get(line, nominal.lehr_minutes))
    tempers = [(line, temper) for line in plant.lines if (temper := _tempers(reader, plant, line, span)) is not None]
    return Lately(
        span=span,
        weights=tuple(sorted(weights, key=lambda w: (-w.outside, -w.beyond))),
        tempers=tuple((line, temper) for line, temper in tempers if temper.beyond),
        meters=meters,
        closed=closed,
        proposed=len({hold.pallet for hold in holds if hold.state == "proposed"}),
        given_out=len({hold.pallet for hold in holds if hold.state == "held" and hold.warehouse == "released"}),
    )


def _weights(reader: Reader, plant: Plant, line: str, span: Span, lehr_minutes: float) -> Iterator[WeighedOutside]:
    """Items of a line with single weighings beyond their limits, by cold weights, by hot ones where there are no
    others.
    """
    lehr_s = int(lehr_minutes * 60)
    rows = reader.ask("weights_of_line", line=line, from_time=span.start, to_time=span.end, lehr_s=lehr_s)
    for (code,), mine in rows.group_by(["item"], maintain_order=True):
        item = plant.items.get(str(code)) if code is not None else None
        if item is None:
            continue
        point = "cold" if (mine["point"] == "cold").any() else "hot"
        values = mine.filter(pl.col("point") == point)["weight_g"]
        low, high = item.weight_min_g, item.weight_max_g
        beyond = [_beyond(value, low, high) for value in values]
        outside, far = sum(each > 0 for each in beyond), max(beyond)
        if outside:
            worst = float(values[beyond.index(far)])
            yield WeighedOutside(line, str(code), point, len(values), outside, low, high, worst, far)


def _beyond(value: float, low: float | None, high: float | None) -> float:
    """By how much a weight lies beyond its limits; a limit that is None holds always."""
    return max(0.0, 0.0 if low is None else low - value, 0.0 if high is None else value - high)


def _tempers(reader: Reader, plant: Plant, line: str, span: Span) -> Temper | None:
    """A line's temper numbers; None without any."""
    here = {"from_time": span.start, "to_time": span.end}
    rows = reader.ask("tempers_of_line", line=line, **here)
    if rows.is_empty():
        return None
    spans = pl.DataFrame(schema={"number": pl.String, "item": pl.String})
    if any(item.temper_thickness_mm is not None for item in plant.items.values()):  # else no item's is asked for
        spans = reader.ask("mould_spans_between", lines=[line], **here)
    return temper_of(plant, rows, span, spans)


def _meters(reader: Reader) -> tuple[date | None, tuple[str, ...]]:
    """The newest closed day, and the meters in doubt as its close kept them."""
    closes = reader.ask("last_closes")
    if closes.is_empty():
        return None, ()
    day = closes["day"].max()
    kept = reader.ask("closes_of_day", day=day).sort("revision")["answers"][-1]
    found = json.loads(kept).get("yield", {})
    suspects = (*found.get("suspect_meters", ()), *found.get("unusual_losses", ()))
    return day, tuple(dict.fromkeys(str(each.get("meter", "")) for each in suspects))  # type: ignore[return-value]
