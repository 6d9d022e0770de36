"""Temper numbers in sentences."""

from __future__ import annotations

from pipelines.measures.laboratory.words import clock_words
from pipelines.plant.works import Plant
from pipelines.words import joined, numeral, say, worded
from schemas.answers.laboratory import (
    Temper,
    TemperBeyond,
)


def temper_sentences(plant: Plant, line: str, temper: Temper) -> list[str]:
    """A line's temper numbers, as read and real, against the works' limits; each one beyond by itself."""
    if not temper.n:
        return [say("{line}: no temper number came for this day.", line=line)]
    limits = [_read(temper.limit)] if temper.limit is not None else []
    limits += [_real(temper.real_limit, "g")] if temper.real_limit is not None else []
    said = [say("{line}, {strained}", line=line, strained=_strained(plant, temper, each)) for each in temper.beyond]
    if said:
        said.append(say("{line}: strained ware can break without warning; have lehr and ware looked at.", line=line))
    if not limits:
        said = [
            say(
                "{line}: {n} temper numbers, {worst}; works.toml gives no [laboratory] temper_max to judge them by.",
                line=line,
                n=temper.n,
                worst=_worst(temper),
            )
        ]
    elif not said:
        said = [
            say(
                "{line}: {n} temper numbers, {worst}, none beyond {limits}.",
                line=line,
                n=temper.n,
                worst=_worst(temper),
                limits=joined(say(" or "), limits),
            )
        ]
    if temper.no_thickness:
        said.append(
            say(
                "{line}: {bare} of {n} temper numbers stand as read: no temper_thickness_mm is known of their item. "
                "Thin glass is then more strained than its number says.",
                line=line,
                bare=temper.no_thickness,
                n=temper.n,
            )
        )
    return said


def _read(value: float) -> str:
    return say("{value} as read", value=numeral(value, "g"))


def _real(value: float, spec: str) -> str:
    return say("{value} real", value=numeral(value, spec))


def _worst(temper: Temper) -> str:
    worst = say("the worst {read}", read=_read(max(lane.worst for lane in temper.lanes)))
    real = [lane.worst_real for lane in temper.lanes if lane.worst_real is not None]
    return joined(", ", (worst, _real(max(real), ".1f"))) if real else worst


def _strained(plant: Plant, temper: Temper, beyond: TemperBeyond) -> str:
    """One temper number beyond a limit, in words."""
    over = [_read(temper.limit)] if temper.limit is not None and beyond.temper > temper.limit else []
    if temper.real_limit and beyond.real is not None and beyond.real > temper.real_limit:
        over.append(_real(temper.real_limit, "g"))
    return say(
        "lane {lane}{mould}: temper number {read}{real} at {at}, beyond {over}.",
        lane=worded(beyond.lane) if beyond.lane else say("not noted"),
        mould=say(", mould {mould}", mould=beyond.mould) if beyond.mould else "",
        read=_read(beyond.temper),
        real=_thick(beyond),
        at=clock_words(plant, beyond.at),
        over=joined(say(" and "), over),
    )


def _thick(beyond: TemperBeyond) -> str:
    if beyond.real is None:
        return ""
    thick = numeral(beyond.thickness_mm or 0.0, "g")
    return say(", {real} ({thick} mm thick)", real=_real(beyond.real, ".1f"), thick=thick)
