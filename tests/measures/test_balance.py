"""The network of a furnace: what it gives back on readings with known truth, and whom it names."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import minimize

from pipelines.measures.balance import balanced, usual_of
from pipelines.measures.day_yield import in_whole
from pipelines.measures.network import FurnaceReading, reading_of
from pipelines.measures.since import since_when
from pipelines.measures.usual import Expected, expected_part, expected_share
from pipelines.measures.yields import melted_kg
from pipelines.plant import Plant
from tests.benchmarks.yield_readings import day_of, read, works_state

DAY = date(2026, 5, 1)


@pytest.fixture(scope="module")
def works(plant: Plant):  # type: ignore[no-untyped-def]
    """F1 with sixty days behind it, on a seed of its own, and the truth of one day more."""
    rng = np.random.default_rng(20_260_504)
    state = works_state(rng, plant, "F1")
    past = [read(rng, plant, day_of(rng, plant, "F1", state)) for _ in range(60)]
    return rng, past, day_of(rng, plant, "F1", state), state


def test_the_network_is_solved_as_a_general_optimiser_solves_it(plant: Plant, works) -> None:  # type: ignore[no-untyped-def]
    """The same weighted squares with the bilinear glass balance as it is, minimised by SciPy's SLSQP from the readings."""
    rng, past, truth, _ = works
    reading = read(rng, plant, truth)
    told = balanced(plant, reading, usual_of(plant, reading, past))
    network, nodes = told.network, told.network.nodes
    y, root = np.array([n.reading for n in nodes]), np.linalg.cholesky(network.covariance)

    def opened(steps: np.ndarray) -> np.ndarray:
        x = y + root @ steps
        rows = [network.open(x, number, with_losses=True) for number in range(len(network.balances))]
        return np.array(rows) / 100

    losses = network.losses
    found = minimize(
        lambda v: v @ v, np.zeros(len(y)), jac=lambda v: 2 * v, method="SLSQP",
        constraints=[{"type": "eq", "fun": opened}, {"type": "ineq", "fun": lambda v: (y + root @ v)[losses] / 100}], options={"maxiter": 2000, "ftol": 1e-10},
    )  # fmt: skip
    assert found.success
    assert told.first.values == pytest.approx(y + root @ found.x, rel=2e-5, abs=1.0)


def test_containers_close_to_the_last_one(plant: Plant, works) -> None:  # type: ignore[no-untyped-def]
    rng, past, truth, _ = works
    for _ in range(12):
        reading = read(rng, plant, truth)
        told = balanced(plant, reading, usual_of(plant, reading, past))
        values = in_whole(told)
        for number, one in enumerate(told.network.balances):
            if not one.parts:
                assert abs(told.network.open(values, number, with_losses=True)) < (1e-6 if one.unit == "kg" else 1e-9)
        assert all(values[n] >= 0 for n in told.network.losses if told.network.nodes[n].unit == "containers")


def test_a_meter_far_off_is_named_first_by_how_much_and_since_when(plant: Plant, works) -> None:  # type: ignore[no-untyped-def]
    """K1-mouth counts 2 % short for the last nine days: found on each, dated to the day, the shortfall inside its interval."""
    rng, past, _, state = works
    days = [(DAY - timedelta(days=len(past) - n), one) for n, one in enumerate(past)]
    lie = -0.02 / (plant.uncertainty.station_counts / 100)
    nine = [read(rng, plant, day_of(rng, plant, "F1", state), "K1-mouth inspected", lie) for _ in range(9)]
    days += [(DAY + timedelta(days=n), one) for n, one in enumerate(nine)]
    usual = usual_of(plant, nine[-1], [one for _, one in days[:-9]])
    told = balanced(plant, nine[-1], usual)
    assert told.network.nodes[told.suspects[0].meter].name == "K1-mouth inspected"
    assert told.suspects[0].z < -4
    since = since_when(plant, "K1-mouth inspected", days, usual)
    assert since is not None and since.first == DAY and since.low <= DAY <= since.high and since.days == 9
    assert since.off_low < -2.0 < since.off_high and since.off_high < -1.5


def test_which_of_two_lanes_lies_is_told_by_its_usual_part_of_the_ware(plant: Plant, works) -> None:  # type: ignore[no-untyped-def]
    rng, past, truth, _ = works
    for lane in ("K1-side-a", "K1-side-b"):
        reading = read(rng, plant, truth, f"{lane} inspected", 6.0)
        told = balanced(plant, reading, usual_of(plant, reading, past))
        assert told.network.nodes[told.ranked[0][0]].name == f"{lane} inspected"


def test_lanes_that_nothing_tells_apart_are_named_as_rivals(plant: Plant, works) -> None:  # type: ignore[no-untyped-def]
    """On a first day no past tells what part of the ware a lane takes."""
    rng, _, truth, _ = works
    reading = read(rng, plant, truth, "K1-side-a inspected", 12.0)
    told = balanced(plant, reading, usual_of(plant, reading, []))
    names = {told.network.nodes[n].name for n in (told.suspects[0].meter, *told.suspects[0].rivals)}
    assert {"K1-side-a inspected", "K1-side-b inspected"} <= names


def test_more_than_usual_lost_unseen_is_a_line_of_its_own_and_no_meter_is_blamed(plant: Plant, works) -> None:  # type: ignore[no-untyped-def]
    """3 % of K2's ware breaks behind the lehr: the loss is named, and stands where it happened."""
    rng, past, truth, _ = works
    lines = []
    for one in truth.lines:
        if one.line == "K2":
            stations = tuple((s, order, seen * 0.97, away) for s, order, seen, away in one.stations)
            one = replace(one, stations=stations, good=one.good - 0.03 * one.stations[0][2])
        lines.append(one)
    reading = read(rng, plant, replace(truth, lines=tuple(lines)))
    told = balanced(plant, reading, usual_of(plant, reading, past))
    named = [told.network.nodes[one.meter] for one in told.suspects]
    assert named and not any(node.is_meter for node in named)
    assert told.value("K2, lehr") == pytest.approx(0.03 * truth.lines[1].stations[0][2], rel=0.2)


def test_a_reading_comes_back_from_its_json(plant: Plant, works) -> None:  # type: ignore[no-untyped-def]
    _, past, _, _ = works
    back = reading_of(json.loads(json.dumps(past[0].kept())))
    assert isinstance(back, FurnaceReading) and back == past[0]


def test_what_is_usual_is_a_guess_first_and_the_past_later() -> None:
    """No day: the guess. Sixteen days at 1 % with meters of 1.5 %: their mean's 0.375 % is weighed with the guess's 0.4 %, by hand
    (0.01 / 0.00375^2 + 0.004 / 0.004^2) / (1 / 0.00375^2 + 1 / 0.004^2)."""
    assert expected_share([], [], 0.004).share == 0.004
    rng = np.random.default_rng(5)
    noise = rng.normal(0, 0.015, 16)
    days = list(0.01 + (noise - noise.mean()) / noise.std(ddof=1) * 0.015)
    told = expected_share(days, [0.015] * 16, 0.004)
    weights = 1 / 0.00375**2, 1 / 0.004**2
    assert told.share == pytest.approx((0.01 * weights[0] + 0.004 * weights[1]) / sum(weights), rel=1e-3)
    assert told.days == 16
    steady = expected_share([0.02 + 1e-5 * n for n in range(16)], [0.015] * 16, 0.004)
    assert steady.share < 0.006  # days that agree so well share one lasting error of the meter: the guess stands


def test_a_day_far_from_the_others_does_not_move_what_is_usual() -> None:
    days = [0.003, 0.004, 0.005, 0.0045, 0.0035, 0.0042, 0.0038, 0.0041, 0.0039]
    usual = expected_share(days, [0.001] * 9, 0.004)
    lied = expected_share([*days, 0.2], [0.001] * 10, 0.004)
    assert lied.share == pytest.approx(usual.share, abs=1e-4) and lied.days == 9


def test_a_lane_needs_four_days_before_its_part_is_known() -> None:
    assert expected_part([0.5, 0.5, 0.5], 0.3) is None
    told = expected_part([0.5, 0.502, 0.498, 0.501], 0.3)
    assert (
        told == Expected(pytest.approx(0.50025), pytest.approx(told.sd if told else 0), 4)
        and told is not None
        and 0 < told.sd < 0.004
    )


def published(name: str, literal: dict) -> dict:
    path = Path(__file__).parents[3] / "shared" / "published" / name
    return json.loads(path.read_text())["expected"] if path.exists() else literal


def test_fusion_loss_of_a_soda_lime_batch_from_molar_masses() -> None:
    """Batch calculation (published 6.04: an encyclopedia's batch, closed by gas masses): glass per 100 kg of batch is what the
    contract's formula gives with the loss that the molar masses give. And 6.05: CO2 of soda and limestone (IUPAC molar masses)."""
    told = published("6.04_batch_wikipedia.json", {"batch_per_100g_glass": 125.76856, "fusion_loss_%": 20.48887})
    assert melted_kg(told["batch_per_100g_glass"], 0.0, told["fusion_loss_%"], 0.0) == pytest.approx(100.0, abs=1e-4)
    loi = published("6.05_loi.json", {"Na2CO3_CO2": 0.415228, "CaCO3_CO2": 0.439712, "dolomite_CO2": 0.477324})
    na, c, o, ca, mg = 22.98976928, 12.011, 15.999, 40.078, 24.305  # g/mol, IUPAC abridged values
    co2 = c + 2 * o
    fractions = co2 / (2 * na + c + 3 * o), co2 / (ca + c + 3 * o), 2 * co2 / (ca + mg + 2 * (c + 3 * o))
    assert fractions == pytest.approx((loi["Na2CO3_CO2"], loi["CaCO3_CO2"], loi["dolomite_CO2"]), abs=3e-5)
    sand, soda, limestone, dolomite = 60.0, 20.0, 12.0, 8.0  # a batch of 100 kg; its loss is the carbonates' CO2
    loss_pct = soda * fractions[0] + limestone * fractions[1] + dolomite * fractions[2]
    assert melted_kg(sand + soda + limestone + dolomite, 0.0, loss_pct, 0.0) == pytest.approx(100 - loss_pct)


def test_the_yield_is_nearer_the_truth_than_the_quotient_and_honest_days_accuse_nobody(plant: Plant) -> None:
    """Sixty furnace-days of ten works with 91 days behind each, on seeds of their own; the benchmark has the figures, this a floor under them."""
    errors, raw, inside, accused, named = [], [], 0, 0, {"melt": 0, "inspected": 0}
    for seed in range(10):
        rng = np.random.default_rng([4_711, seed])
        state = works_state(rng, plant, "F2")
        past = [read(rng, plant, day_of(rng, plant, "F2", state)) for _ in range(91)]
        usual = usual_of(plant, past[-1], past)
        for _ in range(6):
            truth = day_of(rng, plant, "F2", state)
            reading = read(rng, plant, truth)
            told = balanced(plant, reading, usual)
            value = told.pack_to_melt()
            assert value is not None and reading.melted is not None
            errors.append(abs(value.value - truth.pack_to_melt))
            packed = sum((one.packed or 0.0) * one.packed_g for one in reading.lines) / 1000
            raw.append(abs(packed / reading.melted - truth.pack_to_melt))
            inside += value.low <= truth.pack_to_melt <= value.high
            accused += any(told.network.nodes[one.meter].is_meter for one in told.suspects)
            for kind, liar in (("melt", "F2 melt log"), ("inspected", "K4-mouth inspected")):
                lied = balanced(plant, read(rng, plant, truth, liar), usual)
                named[kind] += lied.network.nodes[lied.ranked[0][0]].name == liar
    assert np.mean(errors) < 0.0022 < 0.006 < np.mean(raw)
    assert inside >= 52 and accused <= 7
    assert min(named.values()) >= 48
