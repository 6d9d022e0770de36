"""The names of meters, losses, balances and causes, as people read them: answers keep them as plain English."""

from __future__ import annotations

from pipelines.measures.pareto.kinds_of_call import WORDS
from pipelines.plant.works import Plant
from pipelines.words import defect_name, recalled, say, template, worded
from schemas.answers.yields import Cause

NOT_MADE = ("stoppage", say("job change"), "cycles")  # never was a container; the rest was made and lost

_STEPS = (
    template("before {station}"),
    template("lehr to packing"),
    template("lehr"),
    template("packing"),
    template("whole line"),
)
_METERS = (
    template("{furnace} melt log"),
    template("{line} gobs cut"),
    template("{line} hot rejects"),
    template("{line} weight"),
    template("{station} inspected"),
    template("{station} rejected"),
    template("{line} packed"),
)
_LOSSES = (
    template("{furnace}, furnace to shears"),
    template("{station}, part of its lanes in {job}"),
    template("{station}, part of its lanes"),
    template("{loss} in {job}"),
    "{line}, {step}",
    *_STEPS,
)
_BALANCES = (template("{furnace}: melted = held back + cut"), "{line}: {step}", *_STEPS)
_PLACES = (template("section {section}"), *_STEPS)
_WORDS = {
    str(word): word
    for word in (
        *WORDS.values(),
        say("containers"),
        say("machine"),
        say("stoppage"),
        say("job change"),
        say("start-up"),
        say("cycles"),
        say("slower cycles, gobs not counted"),
        say("hot end"),
        say("hot rejects"),
        say("station"),
        say("pallets"),
        say("unaccounted"),
        say("unaccounted before the shears"),
        say("no cause given"),
        say("no job"),
        say("resort"),
        say("re-sorted"),
        say("scrapped"),
        say("counted"),
        say("difference"),
        say("shift"),
        say("job"),
        say("pack-to-melt"),
        say("packed / cut, kg"),
        say("rejected / inspected"),
        say("hot rejects / gobs"),
        say("efficiency"),
        say("giveaway"),
    )
}


def meter_name(name: str) -> str:
    """A meter, or a loss, of a furnace or line."""
    return recalled(name, _LOSSES if ", " in name else _METERS)


def balance_name(name: str) -> str:
    """What is balanced."""
    return recalled(name, _BALANCES)


def place_name(name: str) -> str:
    """Where something was lost: a section, the machine, a step; a station or line by its id."""
    return _WORDS.get(name) or recalled(name, _PLACES)


def state_name(state: str) -> str:
    """A state of pallets, as the warehouse tells it."""
    return say("to be re-sorted") if state == "resort" else worded(state)


def plain_word(word: str) -> str:
    """A kind of loss, a cause of ours, a unit; a works' own word as it is."""
    return _WORDS.get(word) or worded(word)


def cause_name(plant: Plant, cause: Cause) -> str:
    """A cause in words: a defect by its name, a stop by its cause."""
    if cause.kind in ("station", "start-up", *WORDS.values()) and cause.cause in plant.defects:
        return say("{code} {name}", code=cause.cause, name=defect_name(plant.defects[cause.cause].name))
    if cause.kind == "unaccounted":
        return say("unaccounted, {where}", where=place_name(cause.where))
    return plain_word(cause.cause) or place_name(cause.where)


def broad_cause(plant: Plant, cause: Cause) -> str:
    """A cause's name where sections do not matter."""
    return say("hot rejects") if cause.kind == "hot end" else cause_name(plant, cause)
