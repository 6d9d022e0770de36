"""What weights answer with: moulds, gob positions, what to do at the feeder, where the spread comes from."""

from __future__ import annotations

from pydantic import Field

from schemas.answers.shape import Moment, Result
from schemas.answers.shared_fields import (
    GobPosition,
    High95,
    High95Moment,
    ItemCode,
    ItemName,
    LineId,
    Low95,
    Low95Moment,
    MouldNumber,
    Notes,
    SeenAt,
    WindowFrom,
    WindowTo,
)
from schemas.texts import Text


class MouldSignal(Result):
    """A rule that called a mould in the window."""

    rule: str
    """beyond the limits, two of three near a limit, slow drift or spread"""
    first: Moment
    """the first weighing at which it called in the window [cold-end clock]"""
    last: Moment
    """the last weighing at which it called in the window [cold-end clock]"""
    times: int
    """weighings at which it called [weighings]"""
    value_g: float
    """mean of the mould's samples of one time that lay farthest from its usual mean, among those called [g]"""
    still: bool
    """whether it also called at the mould's last weighing in the window"""
    with_gob: bool
    """only because its whole gob position moved: against its gob position's mean nothing is called"""


class MouldWeights(Result):
    """One mould's weighings in the window, with its capability against the item's limits."""

    mould: MouldNumber
    cavities: tuple[str, ...]
    """where it sat, as section and gob position (3A); empty where no mould log tells"""
    n: int
    """single weighings [weighings]"""
    mean_g: float
    """mean of them [g]"""
    mean_low: Low95 | None = None
    """of mean_g; null with one weighing [g]"""
    mean_high: High95 | None = None
    """of mean_g; null with one weighing [g]"""
    sd_g: float | None
    """standard deviation of all of them; null with one weighing [g]"""
    least_g: float
    """the lightest [g]"""
    greatest_g: float
    """the heaviest [g]"""
    outside: int
    """of n, those beyond the item's weight limits; 0 without limits [weighings]"""
    cp: float | None
    """capability by the spread within: (weight_max_g - weight_min_g) / 6 within_g; null without both limits and
    without within_g [-]"""
    cp_low: Low95 | None = None
    """of cp; null where cp is [-]"""
    cp_high: High95 | None = None
    """of cp; null where cp is [-]"""
    cpk: float | None
    """the same from the mean to the nearer limit: the lesser of (weight_max_g - mean_g) and (mean_g - weight_min_g)
    / 3 within_g; null without a limit and without within_g [-]"""
    cpk_low: Low95 | None
    """of cpk; null where cpk is [-]"""
    cpk_high: High95 | None = None
    """of cpk; null where cpk is [-]"""
    pp: float | None = None
    """performance: as cp, by the overall spread sd_g; null without both limits and without within_g [-]"""
    pp_low: Low95 | None = None
    """of pp; null where pp is [-]"""
    pp_high: High95 | None = None
    """of pp; null where pp is [-]"""
    ppk: float | None = None
    """performance: as cpk, by the overall spread sd_g; null without a limit and without within_g [-]"""
    ppk_low: Low95 | None = None
    """of ppk; null where ppk is [-]"""
    ppk_high: High95 | None = None
    """of ppk; null where ppk is [-]"""
    within_g: float | None = None
    """the mould's own spread within: standard deviation of single containers; null with under two degrees of
    freedom [g]"""
    within_by: str = ""
    """what within_g comes from: samples of one time, or moving ranges"""
    within_freedom: float = 0.0
    """degrees of freedom behind within_g [degrees of freedom]"""
    left_out_g: tuple[float, ...] = ()
    """slips far off the mould's other weighings, left out of within_g and of nothing else [g]"""
    signals: tuple[MouldSignal, ...] = ()
    """rules that called it, each once"""


class WeightParts(Result):
    """Variance of single weighings by where it arises; all null where the weighings cannot tell."""

    between_moulds_g2: float | None = None
    """variance of the moulds' means; null where too few moulds were weighed [g2]"""
    between_moulds_low: Low95 | None = None
    """of between_moulds_g2; null where the weighings do not bound it [g2]"""
    between_moulds_high: High95 | None = None
    """of between_moulds_g2; null where the weighings do not bound it [g2]"""
    between_gobs_g2: float | None = None
    """variance of the gob positions' means; null where a weighing has no gob position, or there is one only [g2]"""
    between_gobs_low: Low95 | None = None
    """of between_gobs_g2; null where the weighings do not bound it [g2]"""
    between_gobs_high: High95 | None = None
    """of between_gobs_g2; null where the weighings do not bound it [g2]"""
    between_times_g2: float | None = None
    """variance of the means from one round of weighing to the next; null where too few rounds were weighed [g2]"""
    between_times_low: Low95 | None = None
    """of between_times_g2; null where the weighings do not bound it [g2]"""
    between_times_high: High95 | None = None
    """of between_times_g2; null where the weighings do not bound it [g2]"""
    within_g2: float | None = None
    """variance of containers of one mould at one time; null where the weighings cannot tell [g2]"""
    within_low: Low95 | None = None
    """of within_g2; null where the weighings do not bound it [g2]"""
    within_high: High95 | None = None
    """of within_g2; null where the weighings do not bound it [g2]"""


class GobWeights(Result):
    """One gob position at one weighing point: whether it drifts, since when, and what would bring it back. What
    tells of a drift is null while there is none."""

    point: str
    """where its moulds' containers were weighed: cold or hot"""
    gob: GobPosition
    n: int
    """single weighings of its moulds in the window [weighings]"""
    mean_g: float
    """mean of them; with none of them, what was usual for its moulds [g]"""
    drifting: bool = False
    """called in the window and at its last weighing: its moving average is beyond the limit"""
    called_at: Moment | None = None
    """first weighing of the window at which it was called; null where it never was [cold-end clock]"""
    since: Moment | None = None
    """since when it drifts, by the weighings; null while it does not [cold-end clock]"""
    since_low: Low95Moment | None = None
    """of since; null where since is [cold-end clock]"""
    since_high: High95Moment | None = None
    """of since; null where since is [cold-end clock]"""
    offset_g: float | None = None
    """how far it lies from what was usual for its moulds, by the last weighing; null while it does not drift [g]"""
    offset_low: Low95 | None = None
    """of offset_g; null where offset_g is [g]"""
    offset_high: High95 | None = None
    """of offset_g; null where offset_g is [g]"""
    at_feeder_g: float | None = None
    """the same of the gobs that are cut now: for cold weighings the drift carried on through the lehr time; null
    while it does not drift [g]"""
    correction_g: float | None = None
    """grams a gob that bring it back, the same for all points and items (see feeder); null while it does not drift,
    and where they disagree [g a gob]"""
    correction_low: Low95 | None = None
    """of correction_g; null where correction_g is [g a gob]"""
    correction_high: High95 | None = None
    """of correction_g; null where correction_g is [g a gob]"""
    g_per_day: float | None = None
    """how fast it goes on drifting, over all courses that it can have had (a step goes on by nothing); null while
    it does not drift [g a day]"""
    to_nominal_g: float | None = None
    """grams a gob that would bring its mean to the item's nominal weight; null without one, where the points
    disagree, and at the second point while it drifts [g a gob]"""
    seen_at: SeenAt | None = None
    """null while it does not drift"""
    seen_low: Low95Moment | None = None
    """of seen_at; null where seen_at is [cold-end clock]"""
    seen_high: High95Moment | None = None
    """of seen_at; null where seen_at is [cold-end clock]"""


class FeederWeighed(Result):
    """What one item's weighings at one point say of a gob position."""

    item: ItemCode | None
    """null where neither job log nor mould log tells"""
    point: str
    """where they were weighed: cold or hot"""
    drift_percent: float
    """drift of the gobs that are cut now [% of the item's weight]"""
    low: Low95
    """of drift_percent [% of the item's weight]"""
    high: High95
    """of drift_percent [% of the item's weight]"""
    drifting: bool
    """whether the gob position is called there"""


class FeederCorrection(Result):
    """The one correction for a gob position, from hot and cold weighings of all items that it feeds."""

    gob: GobPosition
    correction_g: float | None
    """grams a gob of this item that bring it back; null where what was weighed disagrees [g a gob]"""
    correction_low: Low95 | None
    """of correction_g; null where correction_g is [g a gob]"""
    correction_high: High95 | None
    """of correction_g; null where correction_g is [g a gob]"""
    agree: bool
    """whether what was weighed may be one drift: chance is at least 0.01"""
    chance: float
    """probability of such differences between what was weighed, were it one drift; 1 for a single weighing point
    and item [0..1]"""
    weighed: tuple[FeederWeighed, ...]
    """what each item's weighings at each point say"""
    to_nominal_g: float | None = None
    """grams a gob that would bring its mean to the item's nominal weight, by the scale of the first point; null
    without one, and where what was weighed disagrees [g a gob]"""
    seen_at: SeenAt | None = None
    """null where it drifts at no point of this item"""
    seen_low: Low95Moment | None = None
    """of seen_at; null where seen_at is [cold-end clock]"""
    seen_high: High95Moment | None = None
    """of seen_at; null where seen_at is [cold-end clock]"""


class HotColdWeights(Result):
    """Hot against cold weighings of the same moulds. The lehr changes no weight: a difference is a scale, or other
    ware."""

    moulds: int
    """weighed at both points [moulds]"""
    difference_g: float
    """mean over these moulds of the hot mean less the cold mean [g]"""
    low: Low95 | None
    """of difference_g; null with one mould [g]"""
    high: High95 | None
    """of difference_g; null with one mould [g]"""


class Weights(Result):
    """Weighings of one item on one line in a window: by mould, by gob position, against limits, and what they mean
    in glass."""

    line: LineId
    from_: WindowFrom = Field(alias="from")
    to: WindowTo
    item: ItemCode | None
    """that was weighed; null where neither job log nor mould log tells, and where nothing was weighed and no item
    was asked for"""
    name: ItemName = ""
    """empty where it does not stand there"""
    point: str = "cold"
    """the weighing point that these figures are of: cold, or hot where no cold weighing came"""
    n: int
    """single weighings in the window [weighings]"""
    mean_g: float | None = None
    """mean of them; null without any [g]"""
    mean_low: Low95 | None = None
    """of mean_g, as the mean of the moulds that ran then; null where the weighings tell no spread [g]"""
    mean_high: High95 | None = None
    """of mean_g; null where mean_low is [g]"""
    sd_g: float | None = None
    """standard deviation of all of them; null with under two [g]"""
    nominal_g: float | None = None
    """the item's nominal weight by works.toml; null without one [g]"""
    weight_min_g: float | None = None
    """the item's least weight by works.toml; null without one [g]"""
    weight_max_g: float | None = None
    """the item's greatest weight by works.toml; null without one [g]"""
    outside: int = 0
    """of n, those beyond these limits; 0 without limits [weighings]"""
    ppk: float | None = None
    """Ppk of the worst mould; null without limits, and where no mould has enough weighings [-]"""
    ppk_low: Low95 | None = None
    """of ppk; null where ppk is [-]"""
    moulds: tuple[MouldWeights, ...] = ()
    """each mould that was weighed at this point"""
    gobs: tuple[GobWeights, ...] = ()
    """each gob position at each weighing point"""
    feeder: tuple[FeederCorrection, ...] = ()
    """one correction for each gob position that drifts anywhere on the line"""
    components: WeightParts = WeightParts()
    """where the spread of the weighings arises"""
    drift_g_per_day: float | None = None
    """slope of the weight over the rounds, each mould against its own mean; null under three rounds [g a day]"""
    drift_low: Low95 | None = None
    """of drift_g_per_day; null where drift_g_per_day is [g a day]"""
    drift_high: High95 | None = None
    """of drift_g_per_day; null where drift_g_per_day is [g a day]"""
    packed_units: int | None = None
    """containers of the item on the pallets whose last container was packed in the window; null without such a
    pallet [containers]"""
    giveaway_kg: float | None = None
    """glass above nominal: (mean_g - nominal_g) x packed_units, negative where the ware is lighter; null without
    one of them [kg]"""
    giveaway_low: Low95 | None = None
    """of giveaway_kg, the scale's uncertainty included; null where giveaway_kg is, and with too few weighings [kg]"""
    giveaway_high: High95 | None = None
    """of giveaway_kg; null where giveaway_low is [kg]"""
    lowest_mean_g: float | None = None
    """the lowest mean that keeps the limits: three standard deviations sd_g above weight_min_g, or where that is
    more the mean at which the capacity keeps its greatest value; null where works.toml gives no limit [g]"""
    lowest_by: str = ""
    """which limit sets it: weight_min_g or capacity_max_ml; empty without one"""
    saving_kg: float | None = None
    """glass above lowest_mean_g: (mean_g - lowest_mean_g) x packed_units; null without one of them [kg]"""
    saving_low: Low95 | None = None
    """of saving_kg, the scale's uncertainty included; null where saving_kg is, and with too few weighings [kg]"""
    saving_high: High95 | None = None
    """of saving_kg; null where saving_low is [kg]"""
    hot_cold: HotColdWeights | None = None
    """hot against cold; null where no mould was weighed at both points"""
    judged_from: Moment | None = None
    """the first weighing of the 48 hours before the window that tell what is usual; null where there was no such
    past, and the window judges itself [cold-end clock]"""
    lent_freedom: float = 0.0
    """what the other moulds lend a mould's spread for the limits of its chart, never for its indices [degrees of
    freedom]"""
    following: float = 0.0
    """correlation of a mould's weighings that follow one another, 0 where none is beyond chance [0..1]"""
    rules: Text = ""
    """when a mould is called, and how often that happens by chance, in words"""
    notes: Notes = ()
    others: tuple[Weights, ...] = ()
    """the same of further items of the line, by weighings, most first"""
