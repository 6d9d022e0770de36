"""The density of the glass in sentences, the same on pages and on the terminal."""

from __future__ import annotations

from pipelines.measures.laboratory.words import clock_words, signed
from pipelines.plant.works import Plant
from pipelines.words import numeral, say, worded
from schemas.answers.laboratory import Density

POINT = 0.0001  # g/cm3, as densities are followed from day to day: common practice
_POINT = numeral(POINT, "g")


def density_sentences(plant: Plant, furnace: str, density: Density) -> list[str]:
    """The density of the day, and what of it asks for somebody."""
    said = [
        say(
            "{furnace}: {density} g/cm³ at {at} ({how}){beyond}.",
            furnace=furnace,
            density=numeral(reading.density_g_cm3, ".4f"),
            at=plant.clock.show(reading.at),
            how=worded(reading.how),
            beyond=say(", outside its limits") if density.beyond and reading is density.readings[-1] else "",
        )
        for reading in density.readings
    ]
    if not density.readings:
        said.append(no_density(furnace))
    said += density_warnings(plant, furnace, density)
    if density.change is None and density.lone_by_g_cm3 is None and density.noise_g_cm3 is not None:
        said.append(
            say(
                "{furnace}: no change that is more than noise ({noise} points of {point} g/cm³ a reading, {earlier} "
                "earlier readings).",
                furnace=furnace,
                point=_POINT,
                noise=numeral(density.noise_g_cm3 / POINT, ".1f"),
                earlier=density.earlier,
            )
        )
    return said + [say("{furnace}: {note}.", furnace=furnace, note=note) for note in density.notes]


def no_density(furnace: str) -> str:
    """That no reading came."""
    return say("{furnace}: no density reading came for this day.", furnace=furnace)


def density_warnings(plant: Plant, furnace: str, density: Density) -> list[str]:
    """A change that is more than noise with what it does, a last reading that is off alone, one outside its limits."""
    said = _changed(plant, furnace, density)
    if density.lone_by_g_cm3 is not None:
        points = numeral(abs(density.lone_by_g_cm3) / POINT, ".0f")
        said.append(
            say(
                "{furnace}: the last reading lies {points} points of {point} g/cm³ below those before it. One reading: "
                "whether it is a step or a slip cannot be told; measure again.",
                furnace=furnace,
                point=_POINT,
                points=points,
            )
            if density.lone_by_g_cm3 < 0
            else say(
                "{furnace}: the last reading lies {points} points of {point} g/cm³ above those before it. One reading: "
                "whether it is a step or a slip cannot be told; measure again.",
                furnace=furnace,
                point=_POINT,
                points=points,
            )
        )
    elif density.beyond and density.low is not None and density.high is not None:
        said.append(
            say(
                "{furnace}: the last density, {density} g/cm³, is outside the limits of single readings, {low} to "
                "{high}.",
                furnace=furnace,
                density=numeral(density.readings[-1].density_g_cm3, ".4f"),
                low=numeral(density.low, ".4f"),
                high=numeral(density.high, ".4f"),
            )
        )
    return said


def _changed(plant: Plant, furnace: str, density: Density) -> list[str]:
    change = density.change
    if change is None or density.noise_g_cm3 is None or density.centre_g_cm3 is None:
        return []
    moved = (
        say("the density fell by {points} points", points=numeral(abs(change.by_g_cm3) / POINT, ".0f"))
        if change.by_g_cm3 < 0
        else say("the density rose by {points} points", points=numeral(abs(change.by_g_cm3) / POINT, ".0f"))
    )
    low, high = sorted((abs(change.low), abs(change.high)))
    return [
        say(
            "{furnace}: {moved} of {point} g/cm³ (95 %: {low} to {high}) and has been at {centre} since the reading of "
            "{since} (after {since_low}, by {since_high}). That is more than the noise, {noise} points a reading; a "
            "step is {sure} %.",
            furnace=furnace,
            point=_POINT,
            moved=moved,
            low=numeral(low / POINT, ".0f"),
            high=numeral(high / POINT, ".0f"),
            centre=numeral(density.centre_g_cm3, ".4f"),
            since=plant.clock.show(change.since),
            since_low=clock_words(plant, change.since_low),
            since_high=clock_words(plant, change.since_high),
            noise=numeral(density.noise_g_cm3 / POINT, ".1f"),
            sure=_sure(change.probability),
        ),
        *(
            say(
                "{line} {item}: with the feeder left alone the weight moves by {weight} g; once the weight is brought "
                "back the capacity moves by {capacity} ml.",
                line=effect.line,
                item=effect.item,
                weight=signed(effect.weight_g),
                capacity=signed(effect.capacity_ml),
            )
            for effect in density.effects
        ),
    ]


def _sure(probability: float) -> str:
    return say("over {share}", share=numeral(99.9, ".1f")) if probability > 0.999 else numeral(100 * probability, ".1f")
