"""Weights and laboratory results in words, the same on pages and on the terminal."""

from __future__ import annotations

from datetime import datetime

from pipelines.measures.laboratory.annealing_sentences import temper_sentences
from pipelines.plant.works import Plant
from schemas.answers.laboratory import (
    Capacity,
    Density,
    DueChecks,
    FurnaceLaboratory,
    InferredCapacity,
    LaboratoryDay,
    LineLaboratory,
    RunningQuality,
    Visual,
)
from schemas.answers.weights import FeederCorrection, GobWeights, MouldWeights, WeightParts, Weights

POINT = 0.0001  # g/cm3, as densities are followed from day to day: common practice


def signed(value: float, digits: int = 2) -> str:
    """A number with its sign, by a true minus."""
    return f"{value:+.{digits}f}".replace("-", "−")


def whole(value: float) -> str:
    """A whole number, thousands apart."""
    return f"{value:,.0f}".replace(",", " ").replace("-", "−")


def between(low: float | None, high: float | None, digits: int = 2) -> str:
    """A 95 % interval, or that there is none."""
    if low is None or high is None:
        return "no interval: too few"
    return f"95 %: {signed(low, digits)} to {signed(high, digits)}"


def gob_sentence(plant: Plant, gob: GobWeights) -> str:
    """A drifting gob position as it was weighed at one point: by how much, since when."""
    show = plant.clock.show
    if not gob.drifting or gob.offset_g is None or gob.since is None:
        return ""
    since = f"{show(gob.since)} ({_clock(plant, gob.since_low)} to {_clock(plant, gob.since_high)})"
    goes = f", {signed(gob.g_per_day or 0.0, 1)} g a day now" if abs(gob.g_per_day or 0.0) > 0.05 else ""
    return (
        f"Gob {gob.gob} is {signed(gob.offset_g)} g ({between(gob.offset_low, gob.offset_high)}) from what was usual "
        f"for its moulds, weighed {gob.point}, since {since}{goes}."
    )


def gob_sentences(plant: Plant, weights: Weights) -> list[str]:
    """Every drifting gob position as it was weighed, then one correction at the feeder for each."""
    drifting = [text for gob in weights.gobs if (text := gob_sentence(plant, gob))]
    return [*drifting, *(feeder_sentence(plant, weights, feeder_correction) for feeder_correction in weights.feeder)]


def feeder_sentence(plant: Plant, weights: Weights, feeder_correction: FeederCorrection) -> str:
    """What to do at the feeder for a gob position, and when that will be seen; or that what was weighed disagrees."""
    points = " and ".join(dict.fromkeys(w.point for w in feeder_correction.weighed))
    items = ", ".join(dict.fromkeys(w.item or "unknown" for w in feeder_correction.weighed))
    of = (
        f" ({points} weighings of {items} together)"
        if len(feeder_correction.weighed) > 1
        else f" (by {points} weighings)"
    )
    if not feeder_correction.agree or feeder_correction.correction_g is None:
        parts = "; ".join(
            f"{w.item or 'unknown'} {w.point} {signed(w.drift_percent)} %" for w in feeder_correction.weighed
        )
        return (
            f"Feeder, gob {feeder_correction.gob}: no correction is told. What was weighed of it disagrees by more "
            f"than chance ({parts} of the weight). Weigh a mass standard on each scale first."
        )
    nominal = (
        f" To nominal: {signed(feeder_correction.to_nominal_g)} g a gob."
        if feeder_correction.to_nominal_g is not None
        else ""
    )
    seen = (
        " A correction made at the end of this window is seen at the cold end about "
        f"{_clock(plant, feeder_correction.seen_at)} ({_clock(plant, feeder_correction.seen_low)} to "
        f"{_clock(plant, feeder_correction.seen_high)})."
        if feeder_correction.seen_at is not None
        else ""
    )
    return (
        f"Correction at the feeder, gob {feeder_correction.gob}: {signed(feeder_correction.correction_g)} g a gob "
        f"({between(feeder_correction.correction_low, feeder_correction.correction_high)}), as the gobs of "
        f"{weights.item or 'this item'} are cut now"
        f"{of}.{nominal}{seen}"
    )


def _clock(plant: Plant, at: datetime | None) -> str:
    return f"{plant.clock.local(at):%d %b %H:%M}" if at else "–"


def mould_words(mould: MouldWeights) -> str:
    """What called a mould, in few words."""
    own = [signal for signal in mould.signals if not signal.with_gob]
    sentences = [f"{s.rule}{'' if s.still else ' (over)'}" for s in own]
    if mould.signals and not own:
        sentences = ["moves with its gob"]
    return ", ".join([f"{mould.outside} outside limits"] * bool(mould.outside) + sentences)


def spread_sentence(weights: Weights) -> str:
    """By which spread the capability of a mould stands, and what its chart's limits borrow from the others."""
    if not weights.moulds:
        return ""
    ways = " or ".join(sorted({mould.within_by for mould in weights.moulds if mould.within_by}))
    freedom = [mould.within_freedom for mould in weights.moulds if mould.within_g is not None]
    behind = f", {min(freedom):.0f} to {max(freedom):.0f} degrees of freedom" if freedom else ": too few weighings"
    return (
        f"Cp, Cpk: each mould by its own spread within ({ways}){behind}; nothing is borrowed from other moulds. "
        f"Chart limits borrow {weights.lent_freedom:.0f} degrees of freedom from moulds that scatter alike."
    )


def parts_sentence(parts: WeightParts) -> str:
    """Where the spread of single weighings comes from."""
    named = {
        "between moulds": parts.between_moulds_g2,
        "between gob positions": parts.between_gobs_g2,
        "from time to time": parts.between_times_g2,
        "within": parts.within_g2,
    }
    known = {name: value for name, value in named.items() if value is not None}
    whole = sum(known.values())
    if not whole:
        return ""
    return (
        "Of the variance of single weighings: "
        + ", ".join(f"{100 * value / whole:.0f} % {name} ({value**0.5:.2f} g)" for name, value in known.items())
        + "."
    )


def glass_sentences(weights: Weights) -> list[str]:
    """Giveaway and what the lowest mean would save."""
    said = []
    if weights.giveaway_kg is not None and weights.packed_units is not None:
        said.append(
            f"Giveaway {signed(weights.giveaway_kg, 0)} kg above nominal on {whole(weights.packed_units)} containers "
            f"packed ({_kg_between(weights, weights.giveaway_low, weights.giveaway_high)})."
        )
    elif weights.nominal_g is not None:
        said.append("No pallet of this item was closed in this time: no giveaway in kg.")
    if weights.lowest_mean_g is not None and weights.mean_g is not None:
        by = {"weight_min_g": "the least weight", "capacity_max_ml": "the greatest capacity: lighter ware holds more"}[
            weights.lowest_by
        ]
        kg = ""
        if weights.saving_kg is not None:
            kg = (
                f" Running there would have saved {signed(weights.saving_kg, 0)} kg "
                f"({_kg_between(weights, weights.saving_low, weights.saving_high)})."
            )
        said.append(
            "Lowest mean that keeps the limits by three standard deviations of single containers: "
            f"{weights.lowest_mean_g:.1f} g (mean now {weights.mean_g:.1f} g), set by {by}.{kg}"
        )
    return said


def _kg_between(weights: Weights, low: float | None, high: float | None) -> str:
    """A 95 % interval [kg], or how few weighings there are for one."""
    if low is None or high is None:
        return f"no interval: {weights.n} weighing{'s'[: weights.n != 1]} {'is' if weights.n == 1 else 'are'} too few"
    return f"{between(low, high, 0)} kg"


def hot_cold_sentence(weights: Weights) -> str:
    """Hot against cold weights [g], and what a difference means; empty where none were weighed at both."""
    hot_cold_weights = weights.hot_cold
    if hot_cold_weights is None:
        return ""
    sure = (
        ""
        if hot_cold_weights.low is None or hot_cold_weights.high is None
        else " The lehr changes no weight: one of the scales is off."
        if hot_cold_weights.low > 0 or hot_cold_weights.high < 0
        else " No difference beyond chance."
    )
    return (
        f"Hot less cold over {hot_cold_weights.moulds} moulds weighed at both: "
        f"{signed(hot_cold_weights.difference_g)} g ({between(hot_cold_weights.low, hot_cold_weights.high)}).{sure}"
    )


def density_sentences(plant: Plant, furnace: str, density: Density) -> list[str]:
    """The density of the day, and what of it asks for somebody."""
    said = [
        f"{furnace}: {reading.density_g_cm3:.4f} g/cm³ at {plant.clock.show(reading.at)} ({reading.how})"
        + (", outside its limits" if density.beyond and reading is density.readings[-1] else "")
        + "."
        for reading in density.readings
    ]
    if not density.readings:
        said.append(f"{furnace}: no density reading came for this day.")
    said += density_warnings(plant, furnace, density)
    if density.change is None and density.lone_by_g_cm3 is None and density.noise_g_cm3 is not None:
        said.append(
            f"{furnace}: no change that is more than noise ({density.noise_g_cm3 / POINT:.1f} points of 0.0001 g/cm³ a "
            f"reading, {density.earlier} earlier readings)."
        )
    return said + [f"{furnace}: {note}." for note in density.notes]


def density_warnings(plant: Plant, furnace: str, density: Density) -> list[str]:
    """A change that is more than noise with what it does, a last reading that is off alone, one outside its limits."""
    said = []
    if density.change is not None and density.noise_g_cm3 is not None:
        density_change = density.change
        way = "fell" if density_change.by_g_cm3 < 0 else "rose"
        said.append(
            f"{furnace}: the density {way} by {abs(density_change.by_g_cm3) / POINT:.0f} points of 0.0001 g/cm³ (95 "
            f"%: {min(abs(density_change.low), abs(density_change.high)) / POINT:.0f} to "
            f"{max(abs(density_change.low), abs(density_change.high)) / POINT:.0f}) and has been at "
            f"{density.centre_g_cm3:.4f} since the reading of {plant.clock.show(density_change.since)} (after "
            f"{_clock(plant, density_change.since_low)}, by {_clock(plant, density_change.since_high)}). That is more "
            f"than the noise, {density.noise_g_cm3 / POINT:.1f} points a reading; a step is "
            f"{_sure(density_change.probability)} %."
        )
        said += [
            f"{one_.line} {one_.item}: with the feeder left alone the weight moves by {signed(one_.weight_g)} g; "
            f"once the weight is brought back the capacity moves by {signed(one_.capacity_ml)} ml."
            for one_ in density.effects
        ]
    if density.lone_by_g_cm3 is not None:
        way = "below" if density.lone_by_g_cm3 < 0 else "above"
        said.append(
            f"{furnace}: the last reading lies {abs(density.lone_by_g_cm3) / POINT:.0f} points of 0.0001 g/cm³ {way} "
            "those before it. One reading: whether it is a step or a slip cannot be told; measure again."
        )
    elif density.beyond and density.low is not None and density.high is not None:
        said.append(
            f"{furnace}: the last density, {density.readings[-1].density_g_cm3:.4f} g/cm³, is outside the limits of "
            f"single readings, {density.low:.4f} to {density.high:.4f}."
        )
    return said


def _sure(probability: float) -> str:
    return "over 99.9" if probability > 0.999 else f"{100 * probability:.1f}"


def capacity_sentences(plant: Plant, line: str, capacity: Capacity) -> list[str]:
    """One item's capacity: checks, verdict for a measuring container, moulds that the weight shows beyond a limit."""
    said = []
    if capacity.n and capacity.mean_ml is not None:
        mean = f"mean {capacity.mean_ml:.1f} ml" + (
            f" (95 %: {capacity.low:.1f} to {capacity.high:.1f})"
            if capacity.low is not None and capacity.high is not None
            else ""
        )
        limits = (
            f"{capacity.outside} outside {_limits(capacity)}"
            if capacity.capacity_min_ml is not None or capacity.capacity_max_ml is not None
            else "no limits given"
        )
        said.append(
            f"{line} {capacity.item or 'unknown item'}: {capacity.n} checks {capacity.fill.replace('_', ' ')}, "
            f"{mean}, {limits}."
        )
    if capacity.measuring is not None:
        said.append(
            f"{line} {capacity.item}, measuring container of {capacity.measuring.nominal_ml:g} ml: "
            f"{capacity.measuring.meaning}"
        )
    said += [alarm_sentence(plant, line, capacity, alarm) for alarm in capacity.alarms]
    return said + [f"{line} {capacity.item or 'unknown item'}: {note}." for note in capacity.notes]


def alarm_sentence(plant: Plant, line: str, capacity: Capacity, inferred: InferredCapacity) -> str:
    """A mould whose capacity must be beyond a limit by its weight, before a check shows it."""
    high = (
        capacity.capacity_max_ml is not None
        and inferred.capacity_ml > (capacity.capacity_max_ml + (capacity.capacity_min_ml or 0)) / 2
    )
    side = f"above {capacity.capacity_max_ml:g}" if high else f"below {capacity.capacity_min_ml:g}"
    known = "" if inferred.checked else ", a mould whose volume was not checked yet"
    later = (
        f"; the next check {'was' if inferred.next_check in {c.at for c in capacity.checks} else 'is due'} at "
        f"{_clock(plant, inferred.next_check)}"
        if inferred.next_check
        else ""
    )
    return (
        f"{line} {capacity.item}, mould {inferred.mould}: by its weight ({inferred.weight_g:.1f} g) its capacity is "
        f"{inferred.capacity_ml:.1f} ml (95 %: {inferred.low:.1f} to {inferred.high:.1f}), {side} ml with "
        f"{100 * inferred.beyond:.0f} % probability, at {_clock(plant, inferred.at)}{known}{later}. Have it checked."
    )


def _limits(capacity: Capacity) -> str:
    low, high = (
        f"{value:g}" if value is not None else "–" for value in (capacity.capacity_min_ml, capacity.capacity_max_ml)
    )
    return f"{low} to {high} ml"


def visual_sentences(plant: Plant, line: str, visual: Visual) -> list[str]:
    """Samples that were not accepted, critical ones first, and what the samples of some days say together."""
    said = []
    for sample in visual.samples:
        if sample.accepted is False:
            rule = (
                "no critical defect is accepted"
                if sample.severity == "critical"
                else f"AQL {sample.aql:g} accepts {sample.ac}"
            )
            said.append(
                f"{line} {sample.taken_of}, {_clock(plant, sample.at)}: {sample.found} {sample.severity} in {sample.n} "
                f"looked at ({', '.join(sample.defects)}); {rule}. What becomes of the ware is for the authorised "
                "person to say."
            )
    small = {
        (visual_sample.severity, visual_sample.n, visual_sample.aql)
        for visual_sample in visual.samples
        if visual_sample.ac is None
    }
    said += [
        f"{line}: samples of {n} are too small to judge {severity} defects by AQL {aql:g}."
        for severity, n, aql in sorted(small)
    ]
    for run in visual.running:
        aql = f"; AQL {run.aql:g} %" if run.aql is not None else "; none is accepted"
        then = f"; inspection by ISO 2859-1: {run.inspection}" if run.inspection else ""
        said.append(
            f"{line}, {run.severity}, last {visual.days} days: {_faulty(run)} in {whole(run.n)} looked at "
            f"({100 * run.share:.3f} %, 95 %: {100 * run.low:.3f} to {100 * run.high:.3f} %){aql}{then}."
        )
    return said or [f"{line}: nobody's sample came for this day."]


def _faulty(run: RunningQuality) -> str:
    """How many faulty containers the counts by defect allow: one container can have several defects."""
    return f"{run.found}" if run.fewest in (0, run.found) else f"{run.fewest} to {run.found}"


def missed_sentences(plant: Plant, checks: tuple[DueChecks, ...]) -> list[str]:
    """Checks that were due and not done."""
    said = []
    for check in checks:
        if check.missed:
            gaps = "; ".join(f"{_clock(plant, start)} to {_clock(plant, end)}" for start, end in check.gaps[:4])
            every = f"{check.every_min:g} min" if check.every_min < 120 else f"{check.every_min / 60:g} h"
            said.append(
                f"{check.of}: {check.kind}, due each {every}, {check.made} made of {check.due} due; none {gaps}."
            )
    return said


def all_due(furnace: FurnaceLaboratory) -> tuple[DueChecks, ...]:
    """What was due at a furnace and on its lines."""
    return (*furnace.due, *(due for line in furnace.lines for due in line.due))


def laboratory_sentences(plant: Plant, laboratory: LaboratoryDay) -> list[str]:
    """What of a laboratory day asks for somebody: beyond limits, changes, samples not accepted; the missed checks in
    one sentence a kind.
    """
    said: list[str] = []
    for furnace in laboratory.furnaces:
        none = [] if furnace.density.readings else [f"{furnace.furnace}: no density reading came for this day."]
        said += none + density_warnings(plant, furnace.furnace, furnace.density)[:1]
        for line in furnace.lines:
            said += line_warnings(plant, line)
    return said


def line_warnings(plant: Plant, line: LineLaboratory) -> list[str]:
    """What of one line asks for somebody."""
    said = []
    for capacity in line.capacity:
        refused = capacity.measuring is not None and any(
            not verdict.accepted for verdict in capacity.measuring.verdicts
        )
        if capacity.outside or capacity.alarms or refused:
            said += capacity_sentences(plant, line.line, capacity)
    if line.temper.beyond:
        said += temper_sentences(plant, line.line, line.temper)
    return said + [text for text in visual_sentences(plant, line.line, line.visual) if "authorised" in text]
