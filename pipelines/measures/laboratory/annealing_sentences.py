"""Temper numbers in sentences."""

from __future__ import annotations

from pipelines.plant.works import Plant
from schemas.answers.laboratory import (
    Temper,
    TemperBeyond,
)


def temper_sentences(plant: Plant, line: str, temper: Temper) -> list[str]:
    """A line's temper numbers, as read and real, against the works' limits; each one beyond by itself."""
    if not temper.n:
        return [f"{line}: no temper number came for this day."]
    worst = f"the worst {max(lane.worst for lane in temper.lanes):g} as read"
    real = [lane.worst_real for lane in temper.lanes if lane.worst_real is not None]
    worst += f", {max(real):.1f} real" if real else ""
    limits = [
        f"{limit:g} {of}" for limit, of in ((temper.limit, "as read"), (temper.real_limit, "real")) if limit is not None
    ]
    said = [f"{line}, {_strained(plant, temper, each)}" for each in temper.beyond]
    if not limits:
        said = [
            f"{line}: {temper.n} temper numbers, {worst}; works.toml gives no [laboratory] temper_max to judge them by."
        ]
    elif not said:
        said = [f"{line}: {temper.n} temper numbers, {worst}, none beyond {' or '.join(limits)}."]
    if temper.no_thickness:
        said.append(
            f"{line}: {temper.no_thickness} of {temper.n} temper numbers stand as read: no temper_thickness_mm is "
            "known of their item. Thin glass is then more strained than its number says."
        )
    return said


def _strained(plant: Plant, temper: Temper, beyond: TemperBeyond) -> str:
    """One temper number beyond a limit, in words."""
    where = f"lane {beyond.lane or 'not noted'}{f', mould {beyond.mould}' if beyond.mould else ''}"
    number = f"temper number {beyond.temper:g} as read"
    number += f", {beyond.real:.1f} real ({beyond.thickness_mm:g} mm thick)" if beyond.real is not None else ""
    over = [f"{temper.limit:g} as read"] if temper.limit is not None and beyond.temper > temper.limit else []
    over += (
        [f"{temper.real_limit:g} real"]
        if temper.real_limit and beyond.real is not None and beyond.real > temper.real_limit
        else []
    )
    moment = f"{plant.clock.local(beyond.at):%d %b %H:%M}"
    return (
        f"{where}: {number} at {moment}, beyond {' and '.join(over)}: strained ware can break "
        "without warning; have lehr and ware looked at."
    )
