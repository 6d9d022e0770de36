"""Weights of a line in a window: asked of the ledger, measured, put into the contract's shape."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl

from pipelines.answers.laboratory.answer import density_of, glass_now
from pipelines.answers.laboratory.capacity import LineChecks, heavy_enough_g, line_checks
from pipelines.answers.lehr import LehrTime, lehr_time
from pipelines.answers.pareto import check_line
from pipelines.answers.weights.feeder import with_feeder
from pipelines.answers.weights.notes import item_notes, moved_together, no_weighing
from pipelines.clock import Span
from pipelines.errors import WrongUse
from pipelines.ledger.reader import Reader
from pipelines.measures.statistics.components import Component
from pipelines.measures.statistics.shares import mean_half_width
from pipelines.measures.weights import PAST, GobFound, ItemStudy, MouldFound, Study, study
from pipelines.measures.weights.tell import drift_a_day, glass, hot_cold, lowest_mean, mean_error
from pipelines.plant.works import Plant
from schemas.answers.weights import GobWeights, HotColdWeights, MouldWeights, WeightParts, Weights


@dataclass(frozen=True)
class _Asked:
    """What a question is about, and what of the line goes with every item: lehr time, containers packed by item,
    capacity checks.
    """

    plant: Plant
    line: str
    span: Span
    lehr: LehrTime
    packed: dict[str, int]
    checks: LineChecks


def answer_weights(reader: Reader, plant: Plant, line: str, span: Span, item: str | None = None) -> Weights:
    """Weights of a line; the item that was weighed most stands first, the others in `others`. WrongUse for an unknown
    line or item.
    """
    studies = study_weights(reader, plant, line, span, item)
    if not studies:
        note = no_weighing(item)
        return Weights(line=line, from_=span.start, to=span.end, item=item, n=0, notes=(note,))
    first, *rest = (item_study.weights for item_study in studies)
    return first.model_copy(update={"others": tuple(rest)})


def study_weights(reader: Reader, plant: Plant, line: str, span: Span, item: str | None = None) -> list[ItemStudy]:
    """Every item of the window, the one with most weighings first."""
    check_line(plant, line)
    if item is not None and item not in plant.items:
        raise WrongUse(f"there is no item '{item}' in works.toml; it has {', '.join(plant.items)}")
    lehr = lehr_time(reader, plant, line, span)
    lehr_s = int(lehr.minutes * 60)
    rows = reader.ask("weights_of_line", line=line, from_time=span.start - PAST, to_time=span.end, lehr_s=lehr_s)
    inside = rows.filter(pl.col("sampled_at") >= span.start)
    counts = inside.group_by("item").len().sort("len", "item", descending=[True, False])
    codes = [code for code in counts["item"] if item in (None, code)]
    if not codes:
        return []
    furnace = plant.lines[line].furnace
    density = glass_now(plant, furnace, density_of(reader, plant, furnace, span.end)[0])
    checks = line_checks(reader, plant, line, span, lehr_s, *density)
    asked = _Asked(plant, line, span, lehr, _packed(reader, line, span), checks)
    studies = [_of_item(asked, code, rows.filter(pl.col("item").eq_missing(code))) for code in codes]
    return with_feeder(studies, lehr)


def _packed(reader: Reader, line: str, span: Span) -> dict[str, int]:
    """Containers on the pallets whose last container was packed in the window, by item."""
    rows = reader.ask("pallets_of_line", line=line, from_time=span.start, to_time=span.end)
    ended = rows.filter(pl.col("packed_to").is_between(span.start, span.end, closed="left"))
    return dict(ended.group_by("item").agg(pl.col("units").sum()).iter_rows())


def _of_item(asked: _Asked, code: str | None, rows: pl.DataFrame) -> ItemStudy:
    known = asked.plant.items.get(code) if code else None
    studies = [
        found
        for point in ("cold", "hot")
        if (found := study(known, point, rows.filter(pl.col("point") == point), asked.span, asked.lehr)) is not None
    ]
    main = studies[0]
    values = main.rows["weight_g"].to_numpy()
    error = mean_error(main.here, {name: part.value for name, part in main.parts.items()})
    mean = float(values.mean())
    gobs = tuple(_gob(this_study, found, asked) for this_study in studies for found in this_study.gobs)
    weights = Weights(
        line=asked.line,
        from_=asked.span.start,
        to=asked.span.end,
        item=code,
        name=known.name if known else "",
        point=main.point,
        n=len(values),
        mean_g=mean,
        mean_low=mean - 1.96 * error if error > 0 else None,
        mean_high=mean + 1.96 * error if error > 0 else None,
        sd_g=_sd(values),
        nominal_g=known.weight_g if known else None,
        weight_min_g=known.weight_min_g if known else None,
        weight_max_g=known.weight_max_g if known else None,
        outside=_outside(main, values),
        moulds=tuple(_mould(main, mould) for mould in main.moulds),
        gobs=gobs,
        components=_parts(main.parts),
        rules=main.judge.words(),
        judged_from=None if main.usual.own else _moment(main.rounds.seconds[0]),
        lent_freedom=main.usual.lent,
        following=max((mould.spread.correlation for mould in main.moulds), default=0.0),
        notes=(*item_notes(code, main, asked.lehr), *moved_together(gobs)),
    )
    more = {**_worst(main), **_slope(main), **_apart(main, studies), **_glass(asked, main, weights, error)}
    return ItemStudy(weights.model_copy(update=more), tuple(studies))


def _sd(values: np.ndarray) -> float | None:
    return float(values.std(ddof=1)) if len(values) > 1 else None


def _worst(main: Study) -> dict[str, float | None]:
    """Ppk of the worst mould."""
    worst = min(
        (mould.perf for mould in main.moulds if mould.perf.k is not None), key=lambda p: p.k or 0.0, default=None
    )
    return {"ppk": worst.k, "ppk_low": worst.k_low} if worst else {}


def _slope(main: Study) -> dict[str, float]:
    slope = drift_a_day(main.here)
    return dict(zip(("drift_g_per_day", "drift_low", "drift_high"), slope, strict=True)) if slope else {}


def _apart(main: Study, studies: list[Study]) -> dict[str, HotColdWeights]:
    hot = next((this_study for this_study in studies if this_study.point == "hot"), None)
    apart = hot_cold(hot.rows, main.rows) if hot is not None and main.point == "cold" else None
    if apart is None:
        return {}
    hot_cold_weights = HotColdWeights(
        moulds=apart.moulds, difference_g=apart.difference_g, low=apart.low_g, high=apart.high_g
    )
    return {"hot_cold": hot_cold_weights}


def _glass(asked: _Asked, main: Study, weights: Weights, error: float) -> dict[str, object]:
    """Giveaway and saving over the containers packed, the scale's own uncertainty in their intervals; nothing of an
    item that works.toml does not know.
    """
    item = main.item
    if item is None or weights.mean_g is None:
        return {}
    heavy = heavy_enough_g(asked.checks, item) if weights.point == "cold" else None
    lowest = lowest_mean(weights.sd_g, item.weight_min_g, heavy) if weights.sd_g else None
    units = asked.packed.get(item.id)
    unsure = float(np.hypot(error, asked.plant.uncertainty.weight / 100 * weights.mean_g)) if main.parts else None
    kg = glass(weights.mean_g, unsure, item.weight_g, lowest.mean_g if lowest else None, units)
    return {
        "packed_units": units,
        "lowest_mean_g": lowest.mean_g if lowest else None,
        "lowest_by": lowest.by if lowest else "",
        **vars(kg),
    }


def _outside(main: Study, values: np.ndarray) -> int:
    """Single weighings beyond the item's limits."""
    low, high = (main.item.weight_min_g, main.item.weight_max_g) if main.item else (None, None)
    below = values < low if low is not None else np.zeros(len(values), bool)
    above = values > high if high is not None else np.zeros(len(values), bool)
    return int((below | above).sum())


def _mould(main: Study, found: MouldFound) -> MouldWeights:
    values, n = found.values, len(found.values)
    sd = _sd(values)
    half = mean_half_width(sd, n) * (n / found.spread.worth) ** 0.5 if sd is not None else None
    mean = float(values.mean())
    cap, perf = found.cap, found.perf
    return MouldWeights(
        mould=found.mould,
        cavities=found.cavities,
        n=n,
        mean_g=mean,
        mean_low=mean - half if half is not None else None,
        mean_high=mean + half if half is not None else None,
        sd_g=sd,
        least_g=float(values.min()),
        greatest_g=float(values.max()),
        outside=_outside(main, values),
        cp=cap.c,
        cp_low=cap.c_low,
        cp_high=cap.c_high,
        cpk=cap.k,
        cpk_low=cap.k_low,
        cpk_high=cap.k_high,
        pp=perf.c,
        pp_low=perf.c_low,
        pp_high=perf.c_high,
        ppk=perf.k,
        ppk_low=perf.k_low,
        ppk_high=perf.k_high,
        within_g=found.spread.sd,
        within_by=found.spread.by,
        within_freedom=found.spread.freedom,
        left_out_g=found.spread.left_out,
        signals=found.chart.called,
    )


def _gob(main: Study, found: GobFound, asked: _Asked) -> GobWeights:
    mine = main.rows.filter(pl.col("gob") == found.gob)["weight_g"]
    mean = float(mine.to_numpy().mean()) if mine.len() else found.usual_g
    gob = GobWeights(point=main.point, gob=found.gob, n=mine.len(), mean_g=mean)
    nominal = main.item.weight_g if main.item else None
    called = _moment(found.called_s) if found.called_s is not None else None
    drift = found.fit
    if drift is None or not found.still:
        return gob.model_copy(
            update={"called_at": called, "to_nominal_g": nominal - gob.mean_g if nominal is not None else None}
        )
    seen = asked.span.end + timedelta(minutes=asked.lehr.minutes)
    loose = timedelta(minutes=asked.lehr.half_width)
    return gob.model_copy(
        update={
            "drifting": True,
            "called_at": called,
            "since": _moment(drift.onset_s),
            "since_low": _moment(drift.onset_low_s),
            "since_high": _moment(drift.onset_high_s),
            "offset_g": drift.offset,
            "offset_low": drift.offset_low,
            "offset_high": drift.offset_high,
            "at_feeder_g": drift.feeder,
            "correction_g": -drift.feeder,
            "correction_low": -drift.feeder_high,
            "correction_high": -drift.feeder_low,
            "g_per_day": drift.slope_a_day,
            "to_nominal_g": nominal - found.usual_g - drift.feeder if nominal is not None else None,
            "seen_at": seen,
            "seen_low": seen - loose,
            "seen_high": seen + loose,
        }
    )


def _parts(parts: dict[str, Component]) -> WeightParts:
    names = {"moulds": "between_moulds", "gobs": "between_gobs", "times": "between_times", "within": "within"}
    values: dict[str, float | None] = {}
    for name, part in parts.items():
        values |= {f"{names[name]}_g2": part.value, f"{names[name]}_low": part.low, f"{names[name]}_high": part.high}
    return WeightParts(**values)


def _moment(seconds: float) -> datetime:
    return datetime.fromtimestamp(seconds, UTC)
