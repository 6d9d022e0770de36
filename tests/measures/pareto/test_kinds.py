"""Calls that are no fault of the ware: counted under their own name, in no share, rate, expectation or place. By
hand.
"""

from __future__ import annotations

import polars as pl
import pytest

from pipelines.measures.laboratory.checks import samples_of
from pipelines.measures.pareto.hour_figures import pulse
from pipelines.measures.pareto.kinds_of_call import apart_words, faults, no_faults, rejected_for_none
from pipelines.measures.pareto.ranking import pareto
from pipelines.measures.signals.counts import line_counts
from pipelines.measures.yields.line_flows import item_masses, packed_in
from pipelines.measures.yields.losses import machine_losses, summed
from pipelines.plant.works import Plant, read_plant
from tests.conftest import WORKS
from tests.measures.pareto.test_pareto import CALLS, HAND, ONE, SPAN, WARE
from tests.measures.yields.test_yields import FORMED, day
from tests.measures.yields.test_yields import SPAN as DAY

KINDS = {"MRJ": "mould_rejection", "SMP": "sample", "SET": "setting", "DIV": "diverted"}
ADDED = "".join(
    f'\n[[defect]]\ncode = "{code}"\nname = "{kind}"\nseverity = "minor"\nzone = "whole"\norigin = "handling"\nkind '
    f'= "{kind}"\n'
    for code, kind in KINDS.items()
)
EXPECTED = {
    "kind": pl.String,
    "key": pl.String,
    "expected": pl.Float64,
    "variance": pl.Float64,
    "doubt": pl.Float64,
    "hours": pl.Float64,
}
APART = [("K1-side-a", "11", "MRJ", 40), ("K1-foot", None, "DIV", 9), ("K1-foot", None, "SMP", 3)]
# station K1-side-a rejects mould 11 by its number: 40 more of its 60 containers; the foot diverts 9 and gives 3 as
# samples
THROWN = [(s, m, seen, away + {"K1-side-a": 40 if m else 0, "K1-foot": 12}.get(s, 0)) for s, m, seen, away in HAND]


@pytest.fixture(scope="module")
def kinds() -> Plant:
    return read_plant(WORKS + ADDED)


def frames(calls: list[tuple], ware: list[tuple]) -> tuple[pl.DataFrame, pl.DataFrame]:
    return pl.DataFrame(calls, CALLS, orient="row"), pl.DataFrame(ware, WARE, orient="row")


@pytest.mark.parametrize("by", ["defect", "mould", "station", "zone", "severity"])
def test_a_pareto_of_faults_is_what_it_would_be_without_them(kinds: Plant, by: str) -> None:
    plain = pareto(kinds, "K1", SPAN, by, *frames(ONE, HAND))
    answer = pareto(kinds, "K1", SPAN, by, *frames([*ONE, *APART], THROWN))
    assert answer.rows == plain.rows and (answer.calls, answer.ware) == (12, 200)
    assert (answer.rejected, answer.rejected_apart, answer.rejected_for_faults) == (64, 52, 12)
    assert sum(apart.calls for apart in answer.apart) == 52 and plain.apart == ()


def test_what_is_no_fault_stands_apart_under_its_own_name(kinds: Plant) -> None:
    fields = pareto(kinds, "K1", SPAN, "defect", *frames([*ONE, *APART], THROWN)).told()
    assert [(each["key"], each["kind"], each["calls"]) for each in fields["apart"]] == [
        ("MRJ", "mould_rejection", 40),
        ("DIV", "diverted", 9),
        ("SMP", "sample", 3),
    ]
    assert fields["apart"][0]["of_ware"] == pytest.approx(40 / 200) and {row["kind"] for row in fields["rows"]} == {
        "fault"
    }
    by_mould = pareto(kinds, "K1", SPAN, "mould", *frames([*ONE, *APART], THROWN))
    assert [(apart.key, apart.calls) for apart in by_mould.apart] == [("11", 40), ("unread", 9), ("unread", 3)]
    assert apart_words(by_mould.apart) == "40 rejected by mould number, 9 diverted, 3 samples"


def test_no_more_is_rejected_for_no_fault_than_was_rejected(kinds: Plant) -> None:
    """A station that tells 40 by mould number and rejected 25 in all: 25."""
    calls, ware = frames([("K1-side-a", "11", "MRJ", 40)], [("K1-side-a", "11", 60, 25), ("K1-foot", None, 60, 5)])
    assert rejected_for_none(kinds, calls, ware) == 25


def test_a_code_that_the_plant_does_not_know_counts_as_a_fault(kinds: Plant) -> None:
    calls, _ = frames([("K1-foot", None, "OLD", 1), ("K1-foot", None, "DIV", 2)], HAND)
    assert faults(kinds, calls)["defect"].to_list() == ["OLD"] and no_faults(kinds, calls)["defect"].to_list() == [
        "DIV"
    ]


def test_the_hour_in_a_few_figures_knows_faults_only(kinds: Plant) -> None:
    expected = pl.DataFrame([("defect", "SCF", 10.0, 1.0, 1.0, 1.0)], EXPECTED, orient="row")
    plain = pulse(kinds, "K1", 3600, *frames(ONE, HAND), expected)
    this_pulse = pulse(kinds, "K1", 3600, *frames([*ONE, *APART], THROWN), expected)
    assert (plain.apart, this_pulse.apart) == (0, 52)
    assert (this_pulse.share, this_pulse.calls, this_pulse.q, this_pulse.times) == (
        plain.share,
        plain.calls,
        plain.q,
        plain.times,
    )


def test_signals_have_no_stream_of_them(kinds: Plant) -> None:
    window = {"window_start": SPAN[0], "window_s": 60}
    ware = pl.DataFrame([{**window, "station": "K1-side-a", "mould": "11", "inspected": 60, "rejected": 9}])
    calls = pl.DataFrame(
        [{**window, "station": "K1-side-a", "mould": "11", "defect": code, "calls": 5} for code in ("SCF", *KINDS)]
    )
    spans = pl.DataFrame(
        schema={
            "section": pl.Int64,
            "gob": pl.String,
            "number": pl.String,
            "fitted_at": pl.Datetime("us", "UTC"),
            "ended_at": pl.Datetime("us", "UTC"),
        }
    )
    jobs = pl.DataFrame(schema={"started_at": pl.Datetime("us", "UTC"), "item": pl.String})
    counts = line_counts(kinds, "K1", SPAN, calls, ware, spans, jobs, 90.0)
    assert not set(KINDS) & set(counts.defects) and counts.calls.tolist() == [5] and counts.ware.sum() == 60


def test_a_persons_sample_with_diverted_ware_in_it_found_nothing(kinds: Plant) -> None:
    checks = pl.DataFrame(
        [(SPAN[0], "J370", "DIV", 80, 7), (SPAN[0], "J370", "SCF", 80, 1)],
        {
            "sampled_at": pl.Datetime("us", "UTC"),
            "item": pl.String,
            "defect": pl.String,
            "sample_units": pl.Int64,
            "found": pl.Int64,
        },
        orient="row",
    )
    assert {each.sample.severity: each.sample.found for each in samples_of(kinds, checks)} == {
        "critical": 0,
        "major": 0,
        "minor": 1,
    }


def test_losses_name_them_and_faults_share_the_rest(kinds: Plant) -> None:
    """K2-side rejects 2 000: 600 by mould number, 100 diverted; 1 300 are left for 1 500 and 1 000 calls of two faults:
    780 and 520.
    """
    line_day = day([("J370", 1, 100_000.0, 500.0)])
    extra = pl.DataFrame({"part": [1, 1], "station": ["K2-side"] * 2, "defect": ["MRJ", "DIV"], "calls": [600, 100]})
    line_day = type(line_day)(**{**vars(line_day), "calls": pl.concat([line_day.calls, extra])})
    packed = packed_in(line_day.pallets, line_day.passed, DAY)
    machine = machine_losses(kinds, line_day, [packed], {}, {}, item_masses(kinds, line_day.weights, ["J370"]), 182.0)
    assert FORMED.seconds == DAY.seconds
    found = {(lost.kind, lost.cause): lost.units for lost in machine.lost if lost.where == "K2-side"}
    assert found == {
        ("rejected by mould number", "MRJ"): pytest.approx(600),
        ("diverted", "DIV"): pytest.approx(100),
        ("station", "CHS"): pytest.approx(780),
        ("station", "STN"): pytest.approx(520),
    }
    assert summed([], lambda cause: cause.kind) == {}
