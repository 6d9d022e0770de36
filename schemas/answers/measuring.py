"""Measuring containers: what the rules of the directive say of a batch."""

from __future__ import annotations

from schemas.answers.shape import Moment, Result
from schemas.texts import Text


class MeasuringVerdict(Result):
    """One rule for measuring containers on one sample, capacities at 20 °C."""

    method: Text
    """mean and spread (35 containers), or mean and range (40 containers in 8 groups of 5)"""
    mean_ml: float
    """mean capacity of the sample [ml]"""
    spread_ml: float
    """its standard deviation, or the mean range of its groups [ml]"""
    low: float
    """mean_ml less k times spread_ml; must be least or more [ml]"""
    high: float
    """mean_ml plus k times spread_ml; must be most or less [ml]"""
    least: float
    """indicated capacity less the greatest permitted error [ml]"""
    most: float
    """indicated capacity plus the greatest permitted error [ml]"""
    spread_most: float
    """what spread_ml may be at most [ml]"""
    accepted: bool
    """whether a batch of such ware would be accepted: no bound is broken"""
    margin_ml: float
    """to the nearest bound, negative where one is broken [ml]"""
    broken: tuple[Text, ...] = ()
    """which bounds are broken, in words"""
    n: int = 0
    """containers judged [containers]"""
    sample_from: Moment | None = None
    """when the first of them was taken; null where nobody noted it [cold-end clock]"""
    sample_to: Moment | None = None
    """when the last of them was taken; null where nobody noted it [cold-end clock]"""
    one_hour: bool = False
    """whether they are of one hour's production, as the directive has it; else the works' own checks of a longer
    time"""


class Measuring(Result):
    """A measuring container's batch by the rules of Directive 75/107/EEC, from the newest checks of its item in the
    day and the seven days before it, of one hour where one holds enough; no verdict where there are too few."""

    nominal_ml: float
    """nominal capacity by works.toml; 0 where it says none [ml]"""
    error_ml: float | None
    """greatest permitted error above and below it; null outside 50 ml to 5 l and without a nominal capacity [ml]"""
    n: int
    """newest checks that were looked at, no more than 35 [containers]"""
    sample_from: Moment | None = None
    """when the first of the sample of the first verdict, else of the newest checks, was taken; null without a check
    [cold-end clock]"""
    sample_to: Moment | None = None
    """when the last of these was taken; null without a check [cold-end clock]"""
    verdicts: tuple[MeasuringVerdict, ...] = ()
    """one a rule for which there are enough containers"""
    meaning: Text = ""
    """what the verdicts say and do not say, or why there is none"""
