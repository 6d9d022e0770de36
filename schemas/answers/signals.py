"""A signal: an excess that chance does not explain, or a critical call."""

from __future__ import annotations

from schemas.answers.shape import SURE, Moment, Result


class Signal(Result):
    """An excess that chance does not explain (kind "excess"), or critical calls shown whatever chance says ("critical
    call").

    onset and ended by the clock of the station that calls it; formed by the forming clock, through the lehr time; low
    and high bound 95 % intervals. rate_before = expected / ware, rate_after = calls / ware, since the onset; ware =
    containers of the scope. q: false-discovery-adjusted probability of the excess. probability: of this scope among the
    scopes.
    passed: over
    almost as soon as it was raised, and its place a guess: kept, and told to nobody. undecided: another scope is nearly
    as likely as the one named. blinded: the station named finds less than before, and the calls rise behind it.
    """

    id: str
    kind: str
    line: str
    furnace: str
    defect: str
    name: str
    severity: str
    scope: str
    members: tuple[str, ...]
    moulds: tuple[str, ...] = ()
    cavities: tuple[str, ...] = ()
    raised: Moment
    onset: Moment
    onset_low: Moment
    onset_high: Moment
    formed: Moment
    formed_low: Moment
    formed_high: Moment
    lehr: str = ""
    ended: Moment | None = None
    why_ended: str = ""
    passed: bool = False
    calls: int
    expected: float | None
    ware: float
    rate_before: float | None
    rate_after: float | None
    lost_per_hour: float
    q: float | None
    probability: float | None
    scopes: dict[str, float] = {}
    undecided: bool = False
    blinded: bool = False
    placed_inside: bool = True
    borrowed: bool = False
    new_mould: bool = False
    look_first: str = ""
    happened: tuple[str, ...] = ()
    closes: str = ""
    series_from: Moment | None = None
    series_step_min: float = 0.0
    series_calls: tuple[float, ...] = ()
    series_expected: tuple[float, ...] = ()
    acknowledged_by: str | None = None
    acknowledged_at: Moment | None = None
    note: str = ""

    @property
    def is_guess(self) -> bool:
        return self.probability is not None and self.probability < SURE

    @property
    def doubt(self) -> str:
        """What is to be said of a place that is not sure; nothing where it is."""
        return "undecided" if self.undecided else "a guess" if self.is_guess else ""
