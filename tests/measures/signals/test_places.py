"""Places compared jointly: against the same models worked out cell by cell with SciPy, and against simulated truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import logsumexp

from pipelines.measures.signals.counts import CountColumn
from pipelines.measures.signals.false_part import false_parts, thinned
from pipelines.measures.signals.place_cells import Beside, PlaceCells
from pipelines.measures.signals.scope import PRIORS, ScopePlace, place
from tests.measures.signals import by_hand

COLUMNS = (CountColumn("11", 1, "A"), CountColumn("12", 1, "B"), CountColumn("13", 2, "A"), CountColumn("14", 2, "B"))
# Prior probabilities by a defect's origin: common practice, no source.
TOLD = {
    "mould": (0.62, 0.10, 0.05, 0.06, 0.02, 0.15),
    "timing": (0.18, 0.50, 0.06, 0.09, 0.02, 0.15),
    "gob": (0.10, 0.10, 0.40, 0.19, 0.06, 0.15),
    "glass": (0.05, 0.05, 0.10, 0.20, 0.45, 0.15),
    "lehr": (0.10, 0.10, 0.05, 0.55, 0.05, 0.15),
    "handling": (0.12, 0.10, 0.06, 0.40, 0.04, 0.28),
}


def line_cells(first: list[float], second: float, usual: tuple[float, float] = (8.0, 5.0)) -> PlaceCells:
    """A reading station (calls of four moulds and unread ware) and one behind it that reads nothing."""
    ware = np.array([[240.0, 240.0, 250.0, 230.0, 40.0], [0, 0, 0, 0, 1000.0]])
    base = np.array([[0.22, 0.26, 0.28, 0.2, 0.04], [0, 0, 0, 0, 1.0]]) * np.array(usual)[:, None]
    expected = base + np.array([[0.1, 0, 0, 0, 0], [0, 0, 0, 0, 0.2]])
    seen = np.array([first, [0, 0, 0, 0, second]])
    able = np.array([True, True])
    return PlaceCells(
        seen, expected, ware, np.array([True, False]), able, 0.2, 0.1, COLUMNS, ("wall", "base"), (), base, (1, 2)
    )


MINE = line_cells([7, 8, 9, 8, 1], 9)
OTHER = line_cells([5, 6, 3, 4, 0], 7, usual=(6.0, 6.0))


@pytest.fixture(scope="module")
def likely() -> list[dict[tuple[str, ...], float]]:
    """Log likelihoods of the places of both lines."""
    return [likely_by_hand(MINE), likely_by_hand(OTHER)]


def likely_by_hand(cells: PlaceCells) -> dict[tuple[str, ...], float]:
    """Log likelihood of each place inside a line."""
    ware = {("line", "L"): (0, 1, 2, 3)}
    ware |= {("mould", c.mould): (n,) for n, c in enumerate(COLUMNS)}
    ware |= {("section", "1"): (0, 1), ("section", "2"): (2, 3), ("gob", "A"): (0, 2), ("gob", "B"): (1, 3)}
    values: dict[tuple[str, ...], float] = {
        key: by_hand.marginal(by_hand.of_ware(cells, columns)) for key, columns in ware.items()
    }
    for n, name in enumerate(("wall", "base")):
        values["station", name] = by_hand.marginal(by_hand.of_station(cells, n))
    values["station", "wall", "less"] = by_hand.marginal(by_hand.of_blinded(cells, 0))
    return values


def prior_of(key: tuple[str, ...], prior: dict[str, float]) -> float:
    """Places share their scope's prior; of a station's a fifth is for stations that find less."""
    if key[0] == "station":
        return prior["station"] * (0.2 if len(key) == 3 else 0.8 / 2)
    return prior[key[0]] / {"line": 1, "mould": 4, "section": 2, "gob": 2}[key[0]]


def key_of(scope_place: ScopePlace) -> tuple[str, ...]:
    if scope_place.scope == "line":
        return ("line", "L")
    return (scope_place.scope, scope_place.members[0], *(["less"] if scope_place.blinded else []))


@pytest.mark.parametrize("origin", list(TOLD))
def test_places_of_two_lines_are_as_worked_out_cell_by_cell(
    origin: str, likely: list[dict[tuple[str, ...], float]]
) -> None:
    prior = dict(zip(("mould", "section", "gob", "line", "furnace", "station"), TOLD[origin], strict=True))
    mine, other = ({key: v + np.log(prior_of(key, prior)) for key, v in line.items()} for line in likely)
    own = logsumexp(list(other.values())) - np.log(1 - prior["furnace"])  # priors of the places inside add up to one
    alone = np.logaddexp(np.log(1 - 0.003) + by_hand.wandered(OTHER), np.log(0.003) + own)
    logs = {key: value + alone for key, value in mine.items()}
    each = [by_hand.alike(by_hand.of_ware(cells, (0, 1, 2, 3))) for cells in (MINE, OTHER)]  # of the furnace's fault
    logs["furnace", "L"] = np.log(prior["furnace"]) + logsumexp(each[0] + each[1]) - np.log(26)
    total = logsumexp(list(logs.values()))
    values = {key_of(p): p.probability for p in place(replace(MINE, beside=(Beside("M", OTHER),)), "L", origin).places}
    assert values == pytest.approx({key: np.exp(value - total) for key, value in logs.items()}, rel=1e-6)
    assert sum(TOLD[origin]) == pytest.approx(1.0) and prior == PRIORS[origin]


def test_what_a_place_explains_at_a_station_is_the_growth_of_its_true_part() -> None:
    """1 + E[(1 - false share)(factor - 1)] over points and factors, by hand."""
    logs = by_hand.of_ware(MINE, (0, 1, 2, 3))
    weight = np.exp(logs - logsumexp(logs))
    false = np.array([f for _, f in by_hand.splits(MINE)])
    growth = [1 + float((weight * np.outer(1 - false[:, s], by_hand.FACTORS - 1)).sum()) for s in (0, 1)]
    line = next(p for p in place(MINE, "L", "glass").places if p.scope == "line")
    assert line.growth == pytest.approx(growth, rel=1e-6)
    assert line.factor == pytest.approx(float(weight.sum(axis=0) @ by_hand.FACTORS), rel=1e-6)
    station = next(p for p in place(MINE, "L", "glass").places if p.members == ("wall",) and not p.blinded)
    assert station.growth == pytest.approx((station.factor, 1.0))


def test_lanes_thin_by_their_ware_and_a_lane_that_cannot_call_it_lets_all_pass() -> None:
    """By hand: lanes with 3/4 and 1/4 of the ware, the second blind, find 0.6; a station behind finds half of the
    rest.
    """
    detection = np.array([[0.8, 0.0, 0.5, 0.9]])
    values = thinned(detection, np.array([300.0, 100.0, 400.0, 400.0]), np.array([1, 1, 2, 3]))
    assert values[0] == pytest.approx([1.0, 1.0, 1 - 0.75 * 0.8, (1 - 0.75 * 0.8) * 0.5])


def test_the_first_point_of_the_false_parts_by_hand() -> None:
    """Halton's first point is 1/2, 1/3, 1/5: detections by the sixth root (beta 6, 1), half of the most that rates
    allow.
    """
    parts = false_parts(np.array([0.002, 0.0015]), np.array([500.0, 500.0]), np.array([1, 2]), np.array([True, True]))
    d = [((1 / 3 - 0.07) / 0.93) ** (1 / 6), ((1 / 5 - 0.07) / 0.93) ** (1 / 6)]
    level = 0.5 * min(0.002 / d[0], 0.0015 / (d[1] * (1 - d[0])))
    assert parts.detection[0] == pytest.approx(d)
    assert parts.false[0] == pytest.approx([1 - d[0] * level / 0.002, 1 - d[1] * (1 - d[0]) * level / 0.0015])
    assert (parts.false >= 0).all() and (parts.false <= 1).all()


def test_challenges_sharpen_a_stations_detection() -> None:
    """Beta(6, 1) and 40 caught of 80: the posterior's mean is 46 / 87 (conjugate prior, by hand)."""
    able, none = np.array([True]), np.zeros((1, 2))
    rate, ware, order = np.array([0.001]), np.array([1000.0]), np.array([1])
    values = false_parts(rate, ware, order, able, np.array([[40.0, 40.0]])).detection
    assert float(values.mean()) == pytest.approx(46 / 87, abs=0.01)
    assert float(false_parts(rate, ware, order, able, none).detection.std()) > 2 * float(values.std())


def works_line(rng: np.random.Generator, raised: float, found: float = 0.89) -> PlaceCells:
    """Five hours of a line whose first station reads moulds: of each seen true level 1, raised by a factor; false calls
    at both.
    """
    ware = np.array([[750.0] * 4 + [0.0], [0.0] * 4 + [3000.0]])
    true, false = 15.0, (7.5, 14.0)
    usual = (true * found + false[0], true * (1 - found) * 0.9 + false[1])
    base = np.array([[usual[0] / 4] * 4 + [0.0], [0.0] * 4 + [usual[1]]])
    first = rng.poisson((true * found * raised + false[0]) / 4, 4)
    second = rng.poisson(true * raised * (1 - found) * 0.9 + false[1])
    seen = np.array([[*first, 0], [0, 0, 0, 0, second]], float)
    return PlaceCells(
        seen,
        base,
        ware,
        np.array([True, False]),
        np.array([True, True]),
        0.05,
        0.03,
        COLUMNS,
        ("wall", "base"),
        (),
        base,
        (1, 2),
    )


def test_a_furnaces_fault_that_the_second_station_hardly_shows_is_no_stations_fault() -> None:
    """x8 on both lines; the first station catches 89 %, so the one behind it rises far less, as ware would give."""
    found = []
    for seed in range(20):
        rng = np.random.default_rng(seed)
        cells = replace(works_line(rng, 8.0), beside=(Beside("M", works_line(rng, 8.0)),))
        found.append(place(cells, "L", "glass"))
    assert all(each.best.scope == "furnace" for each in found)
    assert min(each.scopes["furnace"] for each in found) > 0.95


def test_a_line_of_its_own_leaves_the_furnace_out() -> None:
    found = []
    for seed in range(20):
        rng = np.random.default_rng(seed)
        cells = replace(works_line(rng, 8.0), beside=(Beside("M", works_line(rng, 1.0)),))
        found.append(place(cells, "L", "lehr").scopes["furnace"])
    assert np.mean(found) < 0.05


def test_one_able_station_without_a_pattern_stays_undecided() -> None:
    """Line and station then explain the same counts; the answer says so and names neither for certain."""
    cells = works_line(np.random.default_rng(3), 8.0)
    alone = replace(cells, able=np.array([True, False]))
    placing = place(alone, "L", "gob")
    assert placing.undecided and 0.3 < placing.scopes["line"] < 0.7 and 0.3 < placing.scopes["station"] < 0.7
    assert not place(
        replace(cells, beside=(Beside("M", works_line(np.random.default_rng(4), 8.0)),)), "L", "glass"
    ).undecided


def test_a_station_that_stops_seeing_is_named_and_not_the_one_behind_it() -> None:
    """The wall station finds 89 % before and nothing now; the base station finds nine tenths of what it lets pass."""
    right = 0
    for seed in range(20):
        rng = np.random.default_rng(seed)
        cells = works_line(rng, 1.0)
        seen = cells.seen * 4
        seen[0, :4] = rng.poisson(7.5, 4)
        seen[1, 4] = rng.poisson(4 * (15 * 0.9 + 14))
        long = replace(cells, seen=seen, expected=cells.expected * 4, base=cells.usual * 4, ware=cells.ware * 4)
        best = place(long, "L", "mould").best
        right += best.blinded and best.members == ("wall",) and best.station == 1 and best.scope == "station"
    assert right >= 19


def behind(rng: np.random.Generator, mould: float, read: float = 0.6) -> PlaceCells:
    """A station that reads nothing catches most; the one behind it reads some moulds of the few calls that are left."""
    ware = np.array([[0.0] * 4 + [6000.0], [1500.0 * read] * 4 + [6000.0 * (1 - read)]])
    true, habit = 60.0, np.array([mould, 1.0, 1.0, 1.0]) / 4
    base = np.array(
        [[0.0] * 4 + [true * 0.9 + 6], [(true * 0.09 + 6) / 4 * read] * 4 + [(true * 0.09 + 6) * (1 - read)]]
    )
    calls = rng.poisson((true * habit * 0.09 + 1.5) * read)
    unread = rng.poisson((true * habit.sum() * 0.09 + 6) * (1 - read))
    seen = np.array([[0, 0, 0, 0, rng.poisson(true * habit.sum() * 0.9 + 6)], [*calls, unread]], float)
    return PlaceCells(
        seen,
        base,
        ware,
        np.array([False, True]),
        np.array([True, True]),
        0.05,
        0.03,
        COLUMNS,
        ("base", "wall"),
        (),
        base,
        (1, 2),
    )


def test_a_mould_is_named_though_few_of_its_calls_carry_its_number() -> None:
    """Most calls come from a station that reads none: what the one behind reads still tells the mould."""
    placings = [place(behind(np.random.default_rng(seed), 12.0), "L", "mould") for seed in range(20)]
    assert sum(placing.best.members == ("11",) and placing.inside for placing in placings) >= 18


def test_no_mould_is_named_where_hardly_any_number_is_read() -> None:
    """One call in a hundred is read: the answer is the line, and says that it could not look inside."""
    placings = [place(behind(np.random.default_rng(seed), 12.0, read=0.05), "L", "mould") for seed in range(20)]
    vague = [placing for placing in placings if placing.best.scope == "line" and not placing.inside]
    assert len(vague) >= 15 and all(
        placing.best.members == ("11",) for placing in placings if placing.best.scope == "mould"
    )
