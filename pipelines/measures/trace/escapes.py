"""From what is in hand to cavities and pallets: what one line's exposure says, and several complaints taken
together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipelines.measures.trace.exposure import Exposure, Stay, counted, smallest_cover

COVERED = 0.95
Place = tuple[str, int, str, str]  # line, section, gob position, mould number


@dataclass(frozen=True)
class Placed:
    """A share of the answer on one line: probability of every stay, and of every pallet, before lines are weighed
    against each other.

    stays, pallets: weights in expected escapes (in containers where no defect was named).
    """

    stays: np.ndarray
    pallets: np.ndarray


def placed(exposure: Exposure, total: np.ndarray, defect: str | None, pallet: str | None) -> Placed:
    """How the escapes of a line lie over stays and pallets.

    total: [stays] escapes of each stay on pallets and elsewhere. With a pallet in hand only what lies on it counts.
    """
    matrix = exposure.escaped if defect is not None else exposure.ware
    if pallet is not None:
        mine = np.array([name == pallet for name in exposure.pallets["pallet"]], bool)
        return Placed(matrix[:, mine].sum(axis=1), matrix.sum(axis=0) * mine)
    return Placed(total, matrix.sum(axis=0))


def shares(weights: Sequence[np.ndarray]) -> list[np.ndarray]:
    """Weights of several lines as probabilities that add up to one; equal ones where all are zero."""
    total = float(sum(w.sum() for w in weights))
    if total > 0:
        return [w / total for w in weights]
    many = sum(len(w) for w in weights)
    return [np.full(len(w), 1 / many) for w in weights] if many else list(weights)


@dataclass(frozen=True)
class CarriedEscapes:
    """What a line's pallets carry from the stays in question: means, whole-number intervals, and the line's sum with
    its variance.
    """

    mean: np.ndarray
    low: np.ndarray
    high: np.ndarray
    total: float
    variance: float


def carried(exposure: Exposure) -> CarriedEscapes:
    """Expected defective containers on each pallet. The rates of moulds are taken as unrelated, the share missed as
    common to all.

    The variance of the sum takes a mould's rate as wrong everywhere alike, which is on the safe side. Of no pallet more
    are told than containers of these moulds lie on it.
    """
    mean, variance = exposure.escaped.sum(axis=0), pallet_variance(exposure)
    counts = counted(mean, variance)
    most = exposure.ware.sum(axis=0) if exposure.missed_known else np.full(len(mean), np.inf)
    alike = (np.sqrt(exposure.variance).sum(axis=1) ** 2).sum()
    common = float((mean * np.sqrt(np.maximum(exposure.common, 0))).sum()) ** 2
    low, high = (np.minimum([getattr(c, name) for c in counts], np.ceil(most)) for name in ("low", "high"))
    mean = np.minimum(mean, most)
    return CarriedEscapes(mean, low, high, float(mean.sum()), float(alike + common))


def pallet_variance(exposure: Exposure) -> np.ndarray:
    """Variance of the expected escapes on each pallet: of the rates of its moulds, and of the share missed."""
    mean = exposure.escaped.sum(axis=0)
    values: np.ndarray = exposure.variance.sum(axis=0) * (1 + exposure.common) + exposure.common * mean**2
    return values


def hold_numbers(window: np.ndarray, beyond: np.ndarray, units: np.ndarray, share: float = COVERED) -> list[int]:
    """The pallets (by number) of the shortest list: `share` of what is expected of the window, and `share` of what is
    expected beyond it.
    """
    chosen = set(smallest_cover(window, units, share))
    return sorted(chosen | set(smallest_cover(beyond, units, share)))


@dataclass(frozen=True)
class EscapesTogether:
    """Several complaints of one defect: probability of every place, and that one place made them all."""

    probability: dict[Place, float]
    one_source: float

    @property
    def common(self) -> bool:
        """Whether any one place can have made all of them."""
        return self.one_source > 0


def together(each: Sequence[dict[Place, float]], prior: dict[Place, float]) -> EscapesTogether:
    """Places (line, section, gob, mould) that made several containers, from what each complaint says by itself.

    each: probabilities by complaint. prior: the places' probabilities by the works' own counts alone, over the time of
    all complaints. Those counts are in every complaint's answer, and count once: what a complaint brings of its own is
    each / prior. With one place behind all of them P(place) is in proportion to prior x product of (each / prior); with
    a place of its own behind each the answers stand as they are. Both are given even odds beforehand; one_source is the
    probability of the first.

    References: [1] Kass and Raftery, Journal of the American Statistical Association 90 (1995) 773: Bayes factors.
    """
    places = list(prior)
    shared = {
        p: prior[p] * float(np.prod([values.get(p, 0.0) / prior[p] for values in each])) for p in places if prior[p] > 0
    }
    factor = sum(shared.values())
    mixed = {p: sum(values.get(p, 0.0) for values in each) / len(each) for p in places}
    if factor <= 0:
        return EscapesTogether(mixed, 0.0)
    value = factor / (1 + factor)
    return EscapesTogether({p: value * shared.get(p, 0.0) / factor + (1 - value) * mixed[p] for p in places}, value)


STANDS_OUT = 3.0  # times an even share, from which a place is named though it is not the likelier half


def about_places(probabilities: Sequence[float]) -> tuple[float, bool]:
    """Over how many places an answer is spread, and whether the first of them stands out: likelier than not, or
    STANDS_OUT times an even share.

    The number is exp(entropy): of n equally likely places it is n.
    References: [1] Hill, Ecology 54 (1973) 427: diversity number of order 1.
    """
    values = np.array([p for p in probabilities if p > 0], float)
    if not len(values):
        return 0.0, False
    values = values / values.sum()
    number = float(np.exp(-(values * np.log(values)).sum()))
    first = float(values.max())
    return number, first > 0.5 or (len(values) > 1 and first >= STANDS_OUT / len(values))


def doubled(stays: Sequence[Stay]) -> list[tuple[Stay, Stay]]:
    """Stays of one mould number in two cavities of one line at one time: the log names two moulds alike, or is
    wrong.
    """
    found = []
    for number, stay in enumerate(stays):
        for other in stays[number + 1 :]:
            alike_named = (stay.line, stay.mould) == (other.line, other.mould)
            apart = (stay.section, stay.gob) != (other.section, other.gob)
            if alike_named and apart and max(stay.span.start, other.span.start) < min(stay.span.end, other.span.end):
                found.append((stay, other))
    return found
