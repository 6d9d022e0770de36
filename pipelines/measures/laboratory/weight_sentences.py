"""What weighings say of gob positions, moulds and glass, the same on pages and on the terminal."""

from __future__ import annotations

from pipelines.measures.laboratory.words import between, clock_words, signed, whole
from pipelines.plant.works import Plant
from pipelines.words import joined, numeral, say, say_n, worded
from schemas.answers.weights import FeederCorrection, GobWeights, MouldWeights, WeightParts, Weights

_SAVING = {
    "weight_min_g": say("the least weight"),
    "capacity_max_ml": say("the greatest capacity: lighter ware holds more"),
}


def gob_sentence(plant: Plant, gob: GobWeights) -> str:
    """A drifting gob position as it was weighed at one point: by how much, since when."""
    if not gob.drifting or gob.offset_g is None or gob.since is None:
        return ""
    per_day = gob.g_per_day or 0.0
    return say(
        "Gob {gob} is {offset} g ({between}) from what was usual for its moulds, weighed {point}, since {since} ({low} "
        "to {high}){goes}.",
        gob=gob.gob,
        offset=signed(gob.offset_g),
        between=between(gob.offset_low, gob.offset_high),
        point=worded(gob.point),
        since=plant.clock.show(gob.since),
        low=clock_words(plant, gob.since_low),
        high=clock_words(plant, gob.since_high),
        goes=say(", {per_day} g a day now", per_day=signed(per_day, 1)) if abs(per_day) > 0.05 else "",
    )


def gob_sentences(plant: Plant, weights: Weights) -> list[str]:
    """Every drifting gob position as it was weighed, then one correction at the feeder for each."""
    drifting = [text for gob in weights.gobs if (text := gob_sentence(plant, gob))]
    return [*drifting, *(feeder_sentence(plant, weights, feeder_correction) for feeder_correction in weights.feeder)]


def feeder_sentence(plant: Plant, weights: Weights, correction: FeederCorrection) -> str:
    """What to do at the feeder for a gob position, and when that will be seen; or that what was weighed disagrees."""
    if not correction.agree or correction.correction_g is None:
        parts = (
            say(
                "{item} {point} {drift} %",
                item=w.item or say("unknown"),
                point=worded(w.point),
                drift=signed(w.drift_percent),
            )
            for w in correction.weighed
        )
        return say(
            "Feeder, gob {gob}: no correction is told. What was weighed of it disagrees by more than chance ({parts} "
            "of the weight). Weigh a mass standard on each scale first.",
            gob=correction.gob,
            parts=joined("; ", parts),
        )
    nominal = correction.to_nominal_g
    return say(
        "Correction at the feeder, gob {gob}: {correction} g a gob ({between}), as the gobs of {item} are cut now "
        "({weighed}).{nominal}{seen}",
        gob=correction.gob,
        correction=signed(correction.correction_g),
        between=between(correction.correction_low, correction.correction_high),
        item=weights.item or say("this item"),
        weighed=_weighed(correction),
        nominal=say(" To nominal: {nominal} g a gob.", nominal=signed(nominal)) if nominal is not None else "",
        seen=_seen(plant, correction),
    )


def _weighed(correction: FeederCorrection) -> str:
    points = joined(say(" and "), dict.fromkeys(worded(w.point) for w in correction.weighed))
    if len(correction.weighed) == 1:
        return say("by {points} weighings", points=points)
    items = joined(", ", dict.fromkeys(w.item or say("unknown") for w in correction.weighed))
    return say("{points} weighings of {items} together", points=points, items=items)


def _seen(plant: Plant, correction: FeederCorrection) -> str:
    if correction.seen_at is None:
        return ""
    return say(
        " A correction made at the end of this window is seen at the cold end about {at} ({low} to {high}).",
        at=clock_words(plant, correction.seen_at),
        low=clock_words(plant, correction.seen_low),
        high=clock_words(plant, correction.seen_high),
    )


def mould_words(mould: MouldWeights) -> str:
    """What called a mould, in few words."""
    own = [signal for signal in mould.signals if not signal.with_gob]
    sentences = [worded(s.rule) if s.still else say("{rule} (over)", rule=worded(s.rule)) for s in own]
    if mould.signals and not own:
        sentences = [say("moves with its gob")]
    outside = [say("{outside} outside limits", outside=mould.outside)] if mould.outside else []
    return joined(", ", outside + sentences)


def spread_sentence(weights: Weights) -> str:
    """By which spread the capability of a mould stands, and what its chart's limits borrow from the others."""
    if not weights.moulds:
        return ""
    ways = sorted({mould.within_by for mould in weights.moulds if mould.within_by})
    freedom = [mould.within_freedom for mould in weights.moulds if mould.within_g is not None]
    behind = (
        say(", {least} to {most} degrees of freedom", least=f"{min(freedom):.0f}", most=f"{max(freedom):.0f}")
        if freedom
        else say(": too few weighings")
    )
    return say(
        "Cp, Cpk: each mould by its own spread within ({ways}){behind}; nothing is borrowed from other moulds. Chart "
        "limits borrow {lent} degrees of freedom from moulds that scatter alike.",
        ways=joined(say(" or "), (worded(way) for way in ways)),
        behind=behind,
        lent=f"{weights.lent_freedom:.0f}",
    )


def parts_sentence(parts: WeightParts) -> str:
    """Where the spread of single weighings comes from."""
    named = (
        (say("between moulds"), parts.between_moulds_g2),
        (say("between gob positions"), parts.between_gobs_g2),
        (say("from time to time"), parts.between_times_g2),
        (say("within"), parts.within_g2),
    )
    known = [(name, value) for name, value in named if value is not None]
    total = sum(value for _, value in known)
    if not total:
        return ""
    shares = (
        say(
            "{share} % {part} ({sd} g)",
            share=f"{100 * value / total:.0f}",
            part=name,
            sd=numeral(value**0.5, ".2f"),
        )
        for name, value in known
    )
    return say("Of the variance of single weighings: {shares}.", shares=joined(", ", shares))


def glass_sentences(weights: Weights) -> list[str]:
    """Giveaway and what the lowest mean would save."""
    said = []
    if weights.giveaway_kg is not None and weights.packed_units is not None:
        said.append(
            say(
                "Giveaway {giveaway} kg above nominal on {units} containers packed ({between}).",
                giveaway=signed(weights.giveaway_kg, 0),
                units=whole(weights.packed_units),
                between=_kg_between(weights, weights.giveaway_low, weights.giveaway_high),
            )
        )
    elif weights.nominal_g is not None:
        said.append(say("No pallet of this item was closed in this time: no giveaway in kg."))
    if weights.lowest_mean_g is not None and weights.mean_g is not None:
        said.append(
            say(
                "Lowest mean that keeps the limits by three standard deviations of single containers: {lowest} g (mean "
                "now {mean} g), set by {by}.{saving}",
                lowest=numeral(weights.lowest_mean_g, ".1f"),
                mean=numeral(weights.mean_g, ".1f"),
                by=_SAVING[weights.lowest_by],
                saving=_saving(weights),
            )
        )
    return said


def _saving(weights: Weights) -> str:
    if weights.saving_kg is None:
        return ""
    return say(
        " Running there would have saved {saving} kg ({between}).",
        saving=signed(weights.saving_kg, 0),
        between=_kg_between(weights, weights.saving_low, weights.saving_high),
    )


def _kg_between(weights: Weights, low: float | None, high: float | None) -> str:
    """A 95 % interval [kg], or how few weighings there are for one."""
    if low is None or high is None:
        return say_n("no interval: {n} weighing is too few", "no interval: {n} weighings are too few", weights.n)
    return say("{between} kg", between=between(low, high, 0))


def hot_cold_sentence(weights: Weights) -> str:
    """Hot against cold weights [g], and what a difference means; empty where none were weighed at both."""
    hot_cold = weights.hot_cold
    if hot_cold is None:
        return ""
    sure = (
        ""
        if hot_cold.low is None or hot_cold.high is None
        else say(" The lehr changes no weight: one of the scales is off.")
        if hot_cold.low > 0 or hot_cold.high < 0
        else say(" No difference beyond chance.")
    )
    return say(
        "Hot less cold over {moulds} moulds weighed at both: {difference} g ({between}).{sure}",
        moulds=hot_cold.moulds,
        difference=signed(hot_cold.difference_g),
        between=between(hot_cold.low, hot_cold.high),
        sure=sure,
    )
