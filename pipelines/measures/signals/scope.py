"""Where an excess comes from: one mould, a section, a gob position, the line, the furnace's lines, or one station."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipelines.measures.signals.counts import cavities_of, groups_of
from pipelines.measures.signals.likelihood import FACTORS, Likelihoods, Raised, mean_exp
from pipelines.measures.signals.place_cells import PlaceCells
from pipelines.words import template

SCOPES = ("mould", "section", "gob", "line", "furnace", "station")
COINCIDENCE = 0.003  # probability that another line has the same defect at the same time from a cause of its own
ALIKE_SD = 0.25  # of the log factor between the lines of a furnace that have one fault
BLINDED = 0.2  # of the faults of a station: it finds less than before, and the stations behind it more
EVEN_ODDS = 2.0  # a scope less than so many times likelier than the next is not decided
READ_SHARE = 0.2  # below this share of calls with a mould number a place inside the line must stand out to be named
LEAST_READ = 3  # with fewer calls with a mould number no place inside the line is judged
STANDS_OUT = 0.5  # of its scope's probability, the part that such a place must have

# Prior probability of each scope by the defect's origin in works.toml: a guess of this tool, common practice without a
# source.
PRIORS = {
    "mould": {"mould": 0.62, "section": 0.10, "gob": 0.05, "line": 0.06, "furnace": 0.02, "station": 0.15},
    "timing": {"mould": 0.18, "section": 0.50, "gob": 0.06, "line": 0.09, "furnace": 0.02, "station": 0.15},
    "gob": {"mould": 0.10, "section": 0.10, "gob": 0.40, "line": 0.19, "furnace": 0.06, "station": 0.15},
    "glass": {"mould": 0.05, "section": 0.05, "gob": 0.10, "line": 0.20, "furnace": 0.45, "station": 0.15},
    "lehr": {"mould": 0.10, "section": 0.10, "gob": 0.05, "line": 0.55, "furnace": 0.05, "station": 0.15},
    "handling": {"mould": 0.12, "section": 0.10, "gob": 0.06, "line": 0.40, "furnace": 0.04, "station": 0.28},
}
LOOK_FIRST = {
    "mould": template("mould equipment: the mould, blank and neck ring of this cavity"),
    "section": template("section timing and the section's own mechanisms"),
    "gob": template("gob delivery: shears, feeder tube and needle, scoop, trough and deflector of this gob position"),
    "line": template("what all ware of the line shares: forehearth, feeder, conveyor, lehr, handling"),
    "furnace": template("glass: furnace, batch and cullet, and what feeds all its lines"),
    "station": template(
        "the station itself: its settings, cleanliness and last challenge, before anybody at the hot end acts"
    ),
}
LOOK_BLINDED = template(
    "the station that finds less than before: challenge it now; what it lets pass shows at the stations behind it"
)


@dataclass(frozen=True)
class ScopePlace:
    """One possible place. columns: the columns in it; station: where the calls rise, if the scope is a station.

    factor: by how much true calls grew in the place; growth: how many times its usual calls each station has there.
    blinded: the member finds less than before, so that `station` behind it finds more; factor then says how much
    remains.
    """

    scope: str
    members: tuple[str, ...]
    columns: tuple[int, ...]
    station: int | None
    probability: float
    factor: float
    growth: tuple[float, ...] = ()
    blinded: bool = False


@dataclass(frozen=True)
class Placing:
    """The likeliest place, the probability of each scope, all places. inside: False where no mould number tells a place
    inside the line, so that only line, furnace and station were compared."""

    best: ScopePlace
    scopes: dict[str, float]
    places: tuple[ScopePlace, ...]
    inside: bool

    @property
    def undecided(self) -> bool:
        """Whether another scope is nearly as likely as the likeliest."""
        values = sorted(self.scopes.values(), reverse=True)
        return len(values) > 1 and values[0] < EVEN_ODDS * values[1]


@dataclass(frozen=True)
class _Trial:
    scope: str
    members: tuple[str, ...]
    columns: tuple[int, ...]
    station: int | None = None
    blinded: int | None = None


class _Line:
    """One line's places inside itself, each with its prior and its likelihood."""

    def __init__(self, cells: PlaceCells, line: str, origin: str, inside: bool):
        self.inside = inside
        self.trials = _trials(cells, line, self.inside)
        self.likely = Likelihoods(cells)
        of_ware = [n for n, trial in enumerate(self.trials) if trial.station is None]
        ware = dict(zip(of_ware, self.likely.of([self.trials[n].columns for n in of_ware]), strict=True))
        self.raised = [ware[n] if n in ware else self._of_station(t) for n, t in enumerate(self.trials)]
        self.prior = _log_prior(self.trials, origin, self.inside)
        self.logs = np.array([raised.log for raised in self.raised])

    def _of_station(self, trial: _Trial) -> Raised:
        if trial.blinded is not None:
            return self.likely.of_blinded(trial.blinded)
        assert trial.station is not None
        return self.likely.of_station(trial.station)

    @property
    def whole(self) -> Raised:
        return next(r for trial, r in zip(self.trials, self.raised, strict=True) if trial.scope == "line")

    def alone(self) -> float:
        """Log likelihood with no fault shared with another line: nothing raised, or by a rare chance a fault of its
        own.
        """
        own = float(np.logaddexp.reduce(self.prior - np.logaddexp.reduce(self.prior) + self.logs))
        return float(np.logaddexp(np.log1p(-COINCIDENCE) + self.likely.wandered(), np.log(COINCIDENCE) + own))


def place(cells: PlaceCells, line: str, origin: str) -> Placing:
    """The probability of each place by comparing models that differ only in where the rate is raised.

    Counts are negative binomial. A place of the ware multiplies the true part of each station's calls there, not the
    false part, and each station sees what those before it let pass; the split is integrated over (`false_part`). A
    station's own fault adds calls in proportion to its ware, whatever the mould, or makes it find less, so that the
    stations behind find more. The factor is summed out under a flat log prior; places share their scope's prior
    equally. Over the lines of a furnace
    the likelihoods are multiplied: a place on this line leaves the others as they were (but for a rare coincidence), a
    fault of the furnace raises all by factors that are alike.
    References: [1] Kass and Raftery, Journal of the American Statistical Association 90 (1995) 773, Bayes factors: eq.
    1-3.
    """
    others = [_Line(b.cells, b.line, origin, _readable(b.cells)) for b in cells.beside if b.cells.able.any()]
    placing = _compared(_Line(cells, line, origin, _some_read(cells)), others, cells, line, origin)
    mine = [p for p in placing.places if p.scope == placing.best.scope]
    vague = placing.best.probability < STANDS_OUT * sum(p.probability for p in mine)
    if placing.inside and vague and not _readable(cells) and placing.best.scope in ("mould", "section", "gob"):
        return _compared(_Line(cells, line, origin, False), others, cells, line, origin)
    return placing


def _compared(own: _Line, others: Sequence[_Line], cells: PlaceCells, line: str, origin: str) -> Placing:
    """Every place of this line, and the furnace, by prior and joint likelihood."""
    alone = sum(other.alone() for other in others)
    logs, raised, trials = list(own.prior + own.logs + alone), list(own.raised), list(own.trials)
    found = [this_raised.told() for this_raised in raised]
    if others:
        beside = sum((_alike(other.whole.by_factor) for other in others), np.zeros(len(FACTORS)))
        joint = mean_exp(_alike(own.whole.by_factor) + beside)
        trials.append(_Trial("furnace", (line, *(b.line for b in cells.beside)), own.trials[0].columns))
        logs.append(np.log(PRIORS[origin]["furnace"]) + joint)
        found.append(own.whole.told(_over(beside)))
    weights = _weights(np.array(logs))
    places = [
        ScopePlace(t.scope, t.members, t.columns, t.station, float(w), *how, blinded=t.blinded is not None)
        for t, w, how in zip(trials, weights, found, strict=True)
    ]
    scopes = {
        scope: sum(p.probability for p in places if p.scope == scope)
        for scope in SCOPES
        if any(p.scope == scope for p in places)
    }
    top = max(scopes, key=lambda scope: scopes[scope])
    best = max((p for p in places if p.scope == top), key=lambda p: (_called(p, cells), p.probability))
    return Placing(best, scopes, tuple(sorted(places, key=lambda p: -p.probability)), own.inside)


def _called(where: ScopePlace, cells: PlaceCells) -> bool:
    """Whether any call came from a place: one without any is never named, however little speaks against it."""
    stations = slice(None) if where.station is None else [where.station]
    inside = where.scope in ("mould", "section", "gob")
    return bool(cells.seen[stations][:, list(where.columns) if inside else slice(None)].sum() > 0)


def _kernel() -> np.ndarray:
    """[factors, factors] log weights: how likely a line has the second factor where the furnace's fault has the
    first.
    """
    apart = np.log(FACTORS)[:, None] - np.log(FACTORS)[None, :]
    values = -0.5 * (apart / ALIKE_SD) ** 2
    normed: np.ndarray = values - np.logaddexp.reduce(values, axis=1, keepdims=True)
    return normed


def _alike(by_factor: np.ndarray) -> np.ndarray:
    """A line's log likelihood [factors] for each factor of the furnace's fault, from [points, factors] by its own."""
    values: np.ndarray = np.logaddexp.reduce(_kernel() + mean_exp(by_factor.T)[None, :], axis=1)
    return values


def _over(beside: np.ndarray) -> np.ndarray:
    """The other lines' evidence for each factor of this line."""
    values: np.ndarray = np.logaddexp.reduce(_kernel().T + beside[None, :], axis=1)
    return values


def _log_prior(trials: Sequence[_Trial], origin: str, inside: bool) -> np.ndarray:
    """Each place's share of its scope's prior. Without mould numbers "line" stands for every place on it."""
    values = dict(PRIORS[origin])
    if not inside:
        values["line"] = sum(values[scope] for scope in ("mould", "section", "gob", "line"))
    blinded = any(t.blinded is not None for t in trials)
    kinds = [(t.scope, t.blinded is not None) for t in trials]
    shares = []
    for kind in kinds:
        part = (BLINDED if kind[1] else 1 - BLINDED) if kind[0] == "station" and blinded else 1.0
        shares.append(values[kind[0]] * part / kinds.count(kind))
    return np.log(np.array(shares))


def _weights(logs: np.ndarray) -> np.ndarray:
    values: np.ndarray = np.exp(logs - logs.max())
    return values / values.sum()


def _some_read(cells: PlaceCells) -> bool:
    return len(cells.columns) > 1 and float(cells.seen[cells.reads, :-1].sum()) >= LEAST_READ


def _readable(cells: PlaceCells) -> bool:
    read = float(cells.seen[cells.reads, :-1].sum())
    return len(cells.columns) > 1 and read >= READ_SHARE * max(float(cells.seen.sum()), 1.0)


def _trials(cells: PlaceCells, line: str, inside: bool) -> list[_Trial]:
    every = tuple(range(len(cells.columns)))
    found = [_Trial("line", (line,), every)]
    if inside:
        found += _inside(cells, every)
    for n in np.flatnonzero(cells.able):
        found.append(_Trial("station", (cells.stations[n],), every, int(n)))
        behind = np.flatnonzero(cells.able & (cells.order > cells.order[n]))
        if len(behind):
            shows = int(behind[np.argmin(cells.order[behind])])
            found.append(_Trial("station", (cells.stations[n],), every, shows, blinded=int(n)))
    return found


def _inside(cells: PlaceCells, every: tuple[int, ...]) -> list[_Trial]:
    """Moulds, cavities whose mould was changed, sections and gob positions with ware in the window."""
    present = [n for n in every if cells.ware[:, n].sum() > 0]
    found = [_Trial("mould", (cells.columns[n].mould,), (n,)) for n in present]
    found += [_Trial("mould", tuple(cells.columns[n].mould for n in v), tuple(v)) for v in _changed(cells, present)]
    sections, gobs = groups_of([cells.columns[n] for n in every])
    found += [
        _Trial("section", (str(k),), tuple(v)) for k, v in sections.items() if _some(cells, v) and len(sections) > 1
    ]
    found += [_Trial("gob", (k,), tuple(v)) for k, v in gobs.items() if _some(cells, v) and len(gobs) > 1]
    return found


def _changed(cells: PlaceCells, present: Sequence[int]) -> list[list[int]]:
    """Cavities in which more than one mould ran in the window: what stays through a change is the cavity's
    equipment.
    """
    cavities = cavities_of(cells.columns)
    here = [[n for n in numbers if n in present] for numbers in cavities.values()]
    return [numbers for numbers in here if len(numbers) > 1]


def _some(cells: PlaceCells, columns: Sequence[int]) -> bool:
    return bool(cells.ware[:, list(columns)].sum() > 0)
