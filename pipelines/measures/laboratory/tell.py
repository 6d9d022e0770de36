"""Weights and laboratory results in words, the same on pages and on the terminal."""

from __future__ import annotations

from datetime import datetime

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
    Temper,
    TemperBeyond,
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


def gob_sentence(plant: Plant, one: GobWeights) -> str:
    """A drifting gob position as it was weighed at one point: by how much, since when."""
    show = plant.clock.show
    if not one.drifting or one.offset_g is None or one.since is None:
        return ""
    since = f"{show(one.since)} ({_clock(plant, one.since_low)} to {_clock(plant, one.since_high)})"
    goes = f", {signed(one.g_per_day or 0.0, 1)} g a day now" if abs(one.g_per_day or 0.0) > 0.05 else ""
    return (
        f"Gob {one.gob} is {signed(one.offset_g)} g ({between(one.offset_low, one.offset_high)}) from what was usual "
        f"for its moulds, weighed {one.point}, since {since}{goes}."
    )


def gob_sentences(plant: Plant, told: Weights) -> list[str]:
    """Every drifting gob position as it was weighed, then one correction at the feeder for each."""
    drifting = [text for gob in told.gobs if (text := gob_sentence(plant, gob))]
    return [*drifting, *(feeder_sentence(plant, told, one) for one in told.feeder)]


def feeder_sentence(plant: Plant, told: Weights, one: FeederCorrection) -> str:
    """What to do at the feeder for a gob position, and when that will be seen; or that what was weighed disagrees."""
    points = " and ".join(dict.fromkeys(w.point for w in one.weighed))
    items = ", ".join(dict.fromkeys(w.item or "unknown" for w in one.weighed))
    of = f" ({points} weighings of {items} together)" if len(one.weighed) > 1 else f" (by {points} weighings)"
    if not one.agree or one.correction_g is None:
        parts = "; ".join(f"{w.item or 'unknown'} {w.point} {signed(w.drift_percent)} %" for w in one.weighed)
        return (
            f"Feeder, gob {one.gob}: no correction is told. What was weighed of it disagrees by more than chance "
            f"({parts} of the weight). Weigh a mass standard on each scale first."
        )
    nominal = f" To nominal: {signed(one.to_nominal_g)} g a gob." if one.to_nominal_g is not None else ""
    seen = (
        f" A correction made at the end of this window is seen at the cold end about {_clock(plant, one.seen_at)} "
        f"({_clock(plant, one.seen_low)} to {_clock(plant, one.seen_high)})."
        if one.seen_at is not None
        else ""
    )
    return (
        f"Correction at the feeder, gob {one.gob}: {signed(one.correction_g)} g a gob "
        f"({between(one.correction_low, one.correction_high)}), as the gobs of {told.item or 'this item'} are cut now"
        f"{of}.{nominal}{seen}"
    )


def _clock(plant: Plant, at: datetime | None) -> str:
    return f"{plant.clock.local(at):%d %b %H:%M}" if at else "–"


def mould_words(one: MouldWeights) -> str:
    """What called a mould, in few words."""
    own = [signal for signal in one.signals if not signal.with_gob]
    told = [f"{s.rule}{'' if s.still else ' (over)'}" for s in own]
    if one.signals and not own:
        told = ["moves with its gob"]
    return ", ".join([f"{one.outside} outside limits"] * bool(one.outside) + told)


def spread_sentence(told: Weights) -> str:
    """By which spread the capability of a mould stands, and what its chart's limits borrow from the others."""
    if not told.moulds:
        return ""
    ways = " or ".join(sorted({mould.within_by for mould in told.moulds if mould.within_by}))
    freedom = [mould.within_freedom for mould in told.moulds if mould.within_g is not None]
    behind = f", {min(freedom):.0f} to {max(freedom):.0f} degrees of freedom" if freedom else ": too few weighings"
    return (
        f"Cp, Cpk: each mould by its own spread within ({ways}){behind}; nothing is borrowed from other moulds. "
        f"Chart limits borrow {told.lent_freedom:.0f} degrees of freedom from moulds that scatter alike."
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


def glass_sentences(told: Weights) -> list[str]:
    """Giveaway and what the lowest mean would save."""
    said = []
    if told.giveaway_kg is not None and told.packed_units is not None:
        said.append(
            f"Giveaway {signed(told.giveaway_kg, 0)} kg above nominal on {whole(told.packed_units)} containers "
            f"packed ({_kg_between(told, told.giveaway_low, told.giveaway_high)})."
        )
    elif told.nominal_g is not None:
        said.append("No pallet of this item was closed in this time: no giveaway in kg.")
    if told.lowest_mean_g is not None and told.mean_g is not None:
        by = {"weight_min_g": "the least weight", "capacity_max_ml": "the greatest capacity: lighter ware holds more"}[
            told.lowest_by
        ]
        kg = ""
        if told.saving_kg is not None:
            kg = (
                f" Running there would have saved {signed(told.saving_kg, 0)} kg "
                f"({_kg_between(told, told.saving_low, told.saving_high)})."
            )
        said.append(
            "Lowest mean that keeps the limits by three standard deviations of single containers: "
            f"{told.lowest_mean_g:.1f} g (mean now {told.mean_g:.1f} g), set by {by}.{kg}"
        )
    return said


def _kg_between(told: Weights, low: float | None, high: float | None) -> str:
    """A 95 % interval [kg], or how few weighings there are for one."""
    if low is None or high is None:
        return f"no interval: {told.n} weighing{'s'[: told.n != 1]} {'is' if told.n == 1 else 'are'} too few"
    return f"{between(low, high, 0)} kg"


def hot_cold_sentence(told: Weights) -> str:
    """Hot against cold weights [g], and what a difference means; empty where none were weighed at both."""
    one = told.hot_cold
    if one is None:
        return ""
    sure = (
        ""
        if one.low is None or one.high is None
        else " The lehr changes no weight: one of the scales is off."
        if one.low > 0 or one.high < 0
        else " No difference beyond chance."
    )
    return (
        f"Hot less cold over {one.moulds} moulds weighed at both: {signed(one.difference_g)} g "
        f"({between(one.low, one.high)}).{sure}"
    )


def density_sentences(plant: Plant, furnace: str, told: Density) -> list[str]:
    """The density of the day, and what of it asks for somebody."""
    said = [
        f"{furnace}: {one.density_g_cm3:.4f} g/cm³ at {plant.clock.show(one.at)} ({one.how})"
        + (", outside its limits" if told.beyond and one is told.readings[-1] else "")
        + "."
        for one in told.readings
    ]
    if not told.readings:
        said.append(f"{furnace}: no density reading came for this day.")
    said += density_warnings(plant, furnace, told)
    if told.change is None and told.lone_by_g_cm3 is None and told.noise_g_cm3 is not None:
        said.append(
            f"{furnace}: no change that is more than noise ({told.noise_g_cm3 / POINT:.1f} points of 0.0001 g/cm³ a "
            f"reading, {told.earlier} earlier readings)."
        )
    return said + [f"{furnace}: {note}." for note in told.notes]


def density_warnings(plant: Plant, furnace: str, told: Density) -> list[str]:
    """A change that is more than noise with what it does, a last reading that is off alone, one outside its limits."""
    said = []
    if told.change is not None and told.noise_g_cm3 is not None:
        one = told.change
        way = "fell" if one.by_g_cm3 < 0 else "rose"
        said.append(
            f"{furnace}: the density {way} by {abs(one.by_g_cm3) / POINT:.0f} points of 0.0001 g/cm³ (95 %: "
            f"{min(abs(one.low), abs(one.high)) / POINT:.0f} to {max(abs(one.low), abs(one.high)) / POINT:.0f}) and "
            f"has been at {told.centre_g_cm3:.4f} since the reading of {plant.clock.show(one.since)} (after "
            f"{_clock(plant, one.since_low)}, by {_clock(plant, one.since_high)}). That is more than the noise, "
            f"{told.noise_g_cm3 / POINT:.1f} points a reading; a step is {_sure(one.probability)} %."
        )
        said += [
            f"{one_.line} {one_.item}: with the feeder left alone the weight moves by {signed(one_.weight_g)} g; "
            f"once the weight is brought back the capacity moves by {signed(one_.capacity_ml)} ml."
            for one_ in told.effects
        ]
    if told.lone_by_g_cm3 is not None:
        way = "below" if told.lone_by_g_cm3 < 0 else "above"
        said.append(
            f"{furnace}: the last reading lies {abs(told.lone_by_g_cm3) / POINT:.0f} points of 0.0001 g/cm³ {way} "
            "those before it. One reading: whether it is a step or a slip cannot be told; measure again."
        )
    elif told.beyond and told.low is not None and told.high is not None:
        said.append(
            f"{furnace}: the last density, {told.readings[-1].density_g_cm3:.4f} g/cm³, is outside the limits of "
            f"single readings, {told.low:.4f} to {told.high:.4f}."
        )
    return said


def _sure(probability: float) -> str:
    return "over 99.9" if probability > 0.999 else f"{100 * probability:.1f}"


def capacity_sentences(plant: Plant, line: str, told: Capacity) -> list[str]:
    """One item's capacity: checks, verdict for a measuring container, moulds that the weight shows beyond a limit."""
    said = []
    if told.n and told.mean_ml is not None:
        mean = f"mean {told.mean_ml:.1f} ml" + (
            f" (95 %: {told.low:.1f} to {told.high:.1f})" if told.low is not None and told.high is not None else ""
        )
        limits = (
            f"{told.outside} outside {_limits(told)}"
            if told.capacity_min_ml is not None or told.capacity_max_ml is not None
            else "no limits given"
        )
        said.append(
            f"{line} {told.item or 'unknown item'}: {told.n} checks {told.fill.replace('_', ' ')}, {mean}, {limits}."
        )
    if told.measuring is not None:
        said.append(
            f"{line} {told.item}, measuring container of {told.measuring.nominal_ml:g} ml: {told.measuring.meaning}"
        )
    said += [alarm_sentence(plant, line, told, one) for one in told.alarms]
    return said + [f"{line} {told.item or 'unknown item'}: {note}." for note in told.notes]


def alarm_sentence(plant: Plant, line: str, told: Capacity, one: InferredCapacity) -> str:
    """A mould whose capacity must be beyond a limit by its weight, before a check shows it."""
    high = (
        told.capacity_max_ml is not None and one.capacity_ml > (told.capacity_max_ml + (told.capacity_min_ml or 0)) / 2
    )
    side = f"above {told.capacity_max_ml:g}" if high else f"below {told.capacity_min_ml:g}"
    known = "" if one.checked else ", a mould whose volume was not checked yet"
    later = (
        f"; the next check {'was' if one.next_check in {c.at for c in told.checks} else 'is due'} at "
        f"{_clock(plant, one.next_check)}"
        if one.next_check
        else ""
    )
    return (
        f"{line} {told.item}, mould {one.mould}: by its weight ({one.weight_g:.1f} g) its capacity is "
        f"{one.capacity_ml:.1f} ml (95 %: {one.low:.1f} to {one.high:.1f}), {side} ml with "
        f"{100 * one.beyond:.0f} % probability, at {_clock(plant, one.at)}{known}{later}. Have it checked."
    )


def _limits(told: Capacity) -> str:
    low, high = (f"{value:g}" if value is not None else "–" for value in (told.capacity_min_ml, told.capacity_max_ml))
    return f"{low} to {high} ml"


def temper_sentences(plant: Plant, line: str, told: Temper) -> list[str]:
    """A line's temper numbers, as read and real, against the works' limits; each one beyond by itself."""
    if not told.n:
        return [f"{line}: no temper number came for this day."]
    worst = f"the worst {max(lane.worst for lane in told.lanes):g} as read"
    real = [lane.worst_real for lane in told.lanes if lane.worst_real is not None]
    worst += f", {max(real):.1f} real" if real else ""
    limits = [
        f"{limit:g} {of}" for limit, of in ((told.limit, "as read"), (told.real_limit, "real")) if limit is not None
    ]
    said = [f"{line}, {_strained(plant, told, one)}" for one in told.beyond]
    if not limits:
        said = [
            f"{line}: {told.n} temper numbers, {worst}; works.toml gives no [laboratory] temper_max to judge them by."
        ]
    elif not said:
        said = [f"{line}: {told.n} temper numbers, {worst}, none beyond {' or '.join(limits)}."]
    if told.no_thickness:
        said.append(
            f"{line}: {told.no_thickness} of {told.n} temper numbers stand as read: no temper_thickness_mm is known of "
            "their item. Thin glass is then more strained than its number says."
        )
    return said


def _strained(plant: Plant, told: Temper, one: TemperBeyond) -> str:
    """One temper number beyond a limit, in words."""
    where = f"lane {one.lane or 'not noted'}{f', mould {one.mould}' if one.mould else ''}"
    number = f"temper number {one.temper:g} as read"
    number += f", {one.real:.1f} real ({one.thickness_mm:g} mm thick)" if one.real is not None else ""
    over = [f"{told.limit:g} as read"] if told.limit is not None and one.temper > told.limit else []
    over += (
        [f"{told.real_limit:g} real"] if told.real_limit and one.real is not None and one.real > told.real_limit else []
    )
    return (
        f"{where}: {number} at {_clock(plant, one.at)}, beyond {' and '.join(over)}: strained ware can break without "
        "warning; have lehr and ware looked at."
    )


def visual_sentences(plant: Plant, line: str, told: Visual) -> list[str]:
    """Samples that were not accepted, critical ones first, and what the samples of some days say together."""
    said = []
    for one in told.samples:
        if one.accepted is False:
            rule = (
                "no critical defect is accepted" if one.severity == "critical" else f"AQL {one.aql:g} accepts {one.ac}"
            )
            said.append(
                f"{line} {one.item}, {_clock(plant, one.at)}: {one.found} {one.severity} in {one.n} looked at "
                f"({', '.join(one.defects)}); {rule}. What becomes of the ware is for the authorised person to say."
            )
    small = {(one.severity, one.n, one.aql) for one in told.samples if one.ac is None}
    said += [
        f"{line}: samples of {n} are too small to judge {severity} defects by AQL {aql:g}."
        for severity, n, aql in sorted(small)
    ]
    for run in told.running:
        aql = f"; AQL {run.aql:g} %" if run.aql is not None else "; none is accepted"
        then = f"; inspection by ISO 2859-1: {run.inspection}" if run.inspection else ""
        said.append(
            f"{line}, {run.severity}, last {told.days} days: {_faulty(run)} in {whole(run.n)} looked at "
            f"({100 * run.share:.3f} %, 95 %: {100 * run.low:.3f} to {100 * run.high:.3f} %){aql}{then}."
        )
    return said or [f"{line}: nobody's sample came for this day."]


def _faulty(run: RunningQuality) -> str:
    """How many faulty containers the counts by defect allow: one container can have several defects."""
    return f"{run.found}" if run.fewest in (0, run.found) else f"{run.fewest} to {run.found}"


def missed_sentences(plant: Plant, checks: tuple[DueChecks, ...]) -> list[str]:
    """Checks that were due and not done."""
    said = []
    for one in checks:
        if one.missed:
            gaps = "; ".join(f"{_clock(plant, start)} to {_clock(plant, end)}" for start, end in one.gaps[:4])
            every = f"{one.every_min:g} min" if one.every_min < 120 else f"{one.every_min / 60:g} h"
            said.append(f"{one.of}: {one.kind}, due each {every}, {one.made} made of {one.due} due; none {gaps}.")
    return said


def all_due(told: FurnaceLaboratory) -> tuple[DueChecks, ...]:
    """What was due at a furnace and on its lines."""
    return (*told.due, *(one for line in told.lines for one in line.due))


def laboratory_sentences(plant: Plant, told: LaboratoryDay) -> list[str]:
    """What of a laboratory day asks for somebody: beyond limits, changes, samples not accepted; the missed checks in
    one sentence a kind.
    """
    said: list[str] = []
    for furnace in told.furnaces:
        none = [] if furnace.density.readings else [f"{furnace.furnace}: no density reading came for this day."]
        said += none + density_warnings(plant, furnace.furnace, furnace.density)[:1]
        for line in furnace.lines:
            said += line_warnings(plant, line)
    return said


def line_warnings(plant: Plant, line: LineLaboratory) -> list[str]:
    """What of one line asks for somebody."""
    said = []
    for one in line.capacity:
        refused = one.measuring is not None and any(not verdict.accepted for verdict in one.measuring.verdicts)
        if one.outside or one.alarms or refused:
            said += capacity_sentences(plant, line.line, one)
    if line.temper.beyond:
        said += temper_sentences(plant, line.line, line.temper)
    return said + [text for text in visual_sentences(plant, line.line, line.visual) if "authorised" in text]
