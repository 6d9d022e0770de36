"""What weights answer with: moulds, gob positions, what to do at the feeder, where the spread comes from."""

from __future__ import annotations

from pydantic import Field

from schemas.answers.shape import Moment, Result


class MouldSignal(Result):
    """A rule that called a mould in the window. still: also at its last weighing. with_gob: only because its whole gob
    position moved.
    """

    rule: str
    first: Moment
    last: Moment
    times: int
    value_g: float
    still: bool
    with_gob: bool


class MouldWeights(Result):
    """One mould's cold weighings of the window [g]. cp, cpk by this mould's own spread within, pp, ppk by its own
    overall one; low and high bound 95 % intervals; null without limits, or where too few weighings tell a spread.
    within_g: the
    spread within, within_by: of what (samples of one time or moving ranges), within_freedom: degrees of freedom behind
    it. left_out_g: slips far off the mould's other weighings, not in its spread within. outside: single weighings
    beyond the item's limits.
    """

    mould: str
    cavities: tuple[str, ...]
    n: int
    mean_g: float
    mean_low: float | None = None
    mean_high: float | None = None
    sd_g: float | None
    least_g: float
    greatest_g: float
    outside: int
    cp: float | None
    cp_low: float | None = None
    cp_high: float | None = None
    cpk: float | None
    cpk_low: float | None
    cpk_high: float | None = None
    pp: float | None = None
    pp_low: float | None = None
    pp_high: float | None = None
    ppk: float | None = None
    ppk_low: float | None = None
    ppk_high: float | None = None
    within_g: float | None = None
    within_by: str = ""
    within_freedom: float = 0.0
    left_out_g: tuple[float, ...] = ()
    signals: tuple[MouldSignal, ...] = ()


class WeightParts(Result):
    """Variance of single weighings by where it arises [g2], with 95 % intervals; null where the weighings cannot
    tell.
    """

    between_moulds_g2: float | None = None
    between_moulds_low: float | None = None
    between_moulds_high: float | None = None
    between_gobs_g2: float | None = None
    between_gobs_low: float | None = None
    between_gobs_high: float | None = None
    between_times_g2: float | None = None
    between_times_low: float | None = None
    between_times_high: float | None = None
    within_g2: float | None = None
    within_low: float | None = None
    within_high: float | None = None


class GobWeights(Result):
    """One gob position at one weighing point. offset: from what was usual for its moulds, by the last weighing;
    at_feeder: the same for the gobs that are cut at the end of the window, if the drift went on through the lehr time;
    correction: grams a gob to bring it back. All [g] with 95 % intervals, null while it stands still. to_nominal: grams
    a gob that would bring its mean to the item's nominal weight. seen_at: when a correction made at the end of the
    window comes to the cold end.
    """

    point: str
    gob: str
    n: int
    mean_g: float
    drifting: bool = False
    called_at: Moment | None = None
    since: Moment | None = None
    since_low: Moment | None = None
    since_high: Moment | None = None
    offset_g: float | None = None
    offset_low: float | None = None
    offset_high: float | None = None
    at_feeder_g: float | None = None
    correction_g: float | None = None
    correction_low: float | None = None
    correction_high: float | None = None
    g_per_day: float | None = None
    to_nominal_g: float | None = None
    seen_at: Moment | None = None
    seen_low: Moment | None = None
    seen_high: Moment | None = None


class FeederWeighed(Result):
    """What one item's weighings at one point say of a gob position: drift as the gobs are cut now [% of the weight]
    with a 95 % interval; drifting: called there.
    """

    item: str | None
    point: str
    drift_percent: float
    low: float
    high: float
    drifting: bool


class FeederCorrection(Result):
    """The one correction for a gob position [g a gob of this item], from hot and cold weighings of all items it feeds.
    agree:
    whether what was weighed may be one drift; chance: of such differences by chance. Where they disagree there is no
    correction. seen_at: when a correction at the end of the window comes to the cold end."""

    gob: str
    correction_g: float | None
    correction_low: float | None
    correction_high: float | None
    agree: bool
    chance: float
    weighed: tuple[FeederWeighed, ...]
    to_nominal_g: float | None = None
    seen_at: Moment | None = None
    seen_low: Moment | None = None
    seen_high: Moment | None = None


class HotColdWeights(Result):
    """Mean weight hot less cold over the moulds weighed at both points [g], with a 95 % interval."""

    moulds: int
    difference_g: float
    low: float | None
    high: float | None


class Weights(Result):
    """Cold weighings of one item on one line in a window (hot ones, and said, where no cold ones came). giveaway: above
    nominal, saving: above the lowest mean that keeps the limits, over the containers packed in the window.
    lent_freedom: degrees of freedom that the other moulds lend a mould's spread for the limits of its chart (never for
    its indices). following: correlation of a mould's weighings that follow one another, 0 where none is beyond chance.
    others: the same of further items of the line.
    """

    line: str
    from_: Moment = Field(alias="from")
    to: Moment
    item: str | None
    name: str = ""
    point: str = "cold"
    n: int
    mean_g: float | None = None
    mean_low: float | None = None
    mean_high: float | None = None
    sd_g: float | None = None
    nominal_g: float | None = None
    weight_min_g: float | None = None
    weight_max_g: float | None = None
    outside: int = 0
    ppk: float | None = None
    ppk_low: float | None = None
    moulds: tuple[MouldWeights, ...] = ()
    gobs: tuple[GobWeights, ...] = ()
    feeder: tuple[FeederCorrection, ...] = ()
    components: WeightParts = WeightParts()
    drift_g_per_day: float | None = None
    drift_low: float | None = None
    drift_high: float | None = None
    packed_units: int | None = None
    giveaway_kg: float | None = None
    giveaway_low: float | None = None
    giveaway_high: float | None = None
    lowest_mean_g: float | None = None
    lowest_by: str = ""
    saving_kg: float | None = None
    saving_low: float | None = None
    saving_high: float | None = None
    hot_cold: HotColdWeights | None = None
    judged_from: Moment | None = None
    lent_freedom: float = 0.0
    following: float = 0.0
    rules: str = ""
    notes: tuple[str, ...] = ()
    others: tuple[Weights, ...] = ()
