"""What the meters of a furnace read, which of them can be off, and whether the balances close."""

from __future__ import annotations

from datetime import date

from schemas.answers.shape import Result
from schemas.answers.shared_fields import FurnaceId, High95, Low95, Probability


class SuspectMeter(Result):
    """A meter that lies more probably than not, or a loss beyond its usual, by the days judged together."""

    meter: str
    """name of the meter or loss"""
    reading: float
    """what it read on the day, in `unit`; of a loss what is expected of it [containers, kg or g]"""
    reconciled: float
    """what it becomes, in `unit` [containers, kg or g]"""
    z: float
    """its adjustment over that adjustment's standard deviation, every meter believed; 0 where that cannot be told
    [-]"""
    unit: str = ""
    """of reading and reconciled: containers, kg or g"""
    furnace: FurnaceId = ""
    rivals: tuple[str, ...] = ()
    """what could be off instead of it, meters or losses"""
    since: date | None = None
    """first day of the run of days on which it was off so; null where something else is off too and dated instead"""
    since_low: date | None = None
    """earliest such day of the 95 % interval; null where since is"""
    since_high: date | None = None
    """latest such day of the 95 % interval; null where since is"""
    days: int = 0
    """length of that run up to the day; 0 where since is null [days]"""
    off_pct: float | None = None
    """by how much over that run, of the day alone where since is null: 100 (reading - truth) / truth, so 100 for a
    meter that reads double and -50 for one that reads half; of a loss, of what passes; null where no truth above
    nothing is left [%]"""
    off_low: Low95 | None = None
    """of off_pct; null where that leaves no truth above nothing [%]"""
    off_high: High95 | None = None
    """of off_pct; null: no limit [%]"""
    probability: Probability | None = None
    """that it is off; null where nobody worked it out"""


class CouldBe(Result):
    """One explanation of what the meters of a furnace read, and what the yields are then."""

    furnace: FurnaceId
    causes: tuple[str, ...]
    """meters and losses that are off; none: every meter is honest"""
    kinds: tuple[str, ...]
    """of each cause the kind of meter, or `loss` for more lost than usual"""
    probability: Probability
    """of this explanation among all that remain"""
    pack_to_melt: float | None
    """packed over melted mass, over cut mass where `of` says so; null where nothing can be divided [0..1 of melted
    or cut mass]"""
    low: Low95 | None
    """of pack_to_melt; null where it is [0..1 of melted or cut mass]"""
    high: High95 | None
    """of pack_to_melt; null where it is [0..1 of melted or cut mass]"""
    of: str = "melted"
    """what packed is divided by: `melted`, or `cut` without a melt log"""
    lines: dict[str, tuple[float | None, float | None, float | None]] = {}
    """by line packed over cut mass, with the lower and upper end of its 95 % interval; each null where it cannot be
    told [0..1 of cut mass]"""
    since: date | None = None
    """first day on which the last cause was off; null where every meter is honest"""
    since_low: date | None = None
    """earliest such day of the 95 % interval; null where since is"""
    since_high: date | None = None
    """latest such day of the 95 % interval; null where since is"""
    days: int = 0
    """from since to the day; 0 where since is null [days]"""
    off_pct: float | None = None
    """by how much the last cause is off, as in SuspectMeter; null where since is, and where no truth above nothing
    is left [%]"""
    off_low: Low95 | None = None
    """of off_pct; null where since is, and where no truth above nothing is left [%]"""
    off_high: High95 | None = None
    """of off_pct; null where since is, and where there is no limit [%]"""
    off_pcts: tuple[float | None, ...] = ()
    """by how much each cause is off on the day itself; null where no truth above nothing is left [%]"""


class MeterReading(Result):
    """One meter: what it read, and what it becomes."""

    furnace: FurnaceId
    of: str
    """the furnace or line that it belongs to"""
    meter: str
    """its name"""
    unit: str
    """of what it reads: containers, kg or g"""
    reading: float | None
    """what it read, in `unit`; null for a meter that said nothing or too little and is worked out from the others
    [containers, kg or g]"""
    uncertainty: float | None
    """standard uncertainty of the reading, in `unit`; null where reading is [containers, kg or g]"""
    reconciled: float
    """what it becomes, in `unit` [containers, kg or g]"""
    low: Low95 | None
    """of reconciled; null where the others do not tell it (two silent lanes side by side) [containers, kg or g]"""
    high: High95 | None
    """of reconciled; null where the others do not tell it [containers, kg or g]"""
    z: float | None
    """its adjustment over that adjustment's standard deviation, every meter believed; null where that cannot be
    told [-]"""


class BalanceRow(Result):
    """One balance: what goes in comes out, or is lost unseen."""

    furnace: FurnaceId
    of: str
    """the furnace or line that it belongs to"""
    balance: str
    """what is balanced, in words"""
    unit: str
    """of its figures: containers or kg"""
    into: float
    """what goes in, reconciled, in `unit` [containers or kg]"""
    out: float
    """what comes out, reconciled, in `unit` [containers or kg]"""
    before: float
    """by what the readings do not close, in `unit` [containers or kg]"""
    unaccounted: float
    """what of it is lost unseen after reconciliation, in `unit` [containers or kg]"""
    after: float
    """what is left open then, in `unit` [containers or kg]"""
