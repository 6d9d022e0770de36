"""A fault of a section, a gob, a mould is drawn at its cavities; one of a line, furnace or station as the whole."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from pipelines.answers.moulds import MachineNow
from pipelines.clock import Span
from pipelines.measures.lehr.lehr_time import LehrTime
from pipelines.measures.pareto.cavities import CavityState
from pipelines.measures.pareto.cavities_in_time import CavitiesInTime
from pipelines.reports.machine_strips import cavity_strips, whole_strip
from tests.reports.test_signal_words import AT, signal

PLACES = [(section, gob) for section in (1, 2, 3) for gob in "AB"]
HALF = timedelta(minutes=30)
LEHR = LehrTime(90.0, 2.0, "a test")


def machine(expected: float | None = 4.0, **of_signal: object) -> MachineNow:
    """Four half hours of five calls in every cavity, and a signal of the last two."""
    here = signal(onset=AT + 2 * HALF, **of_signal)
    series = CavitiesInTime(AT, 1800, {place: np.full(4, 5.0) for place in PLACES}, 0)
    states = [CavityState(s, g, ("1",), 20, 0, 900.0, expected, 0.0, None, (), "usual") for s, g in PLACES]
    window = Span(AT, AT + 4 * HALF)
    shares = (1.0, 0.0, 0.0)
    return MachineNow("K1", window, None, states, [here], "past", 120, *shares, [], LEHR, pl.DataFrame(), series)


def lit(shown: MachineNow) -> list[str]:
    return [f"{s}{g}" for (s, g), strip in cavity_strips(shown).items() if 'class="beyond"' in strip]


@pytest.mark.parametrize(
    ("scope", "cavities"),
    [
        ("section", ("2A", "2B")),
        ("section", ("3A", "3B")),
        ("gob", ("1A", "2A", "3A")),
        ("gob", ("1B", "2B", "3B")),
        ("mould", ("2B",)),
        ("mould", ("1A",)),
    ],
)
def test_what_lies_inside_the_machine_is_drawn_at_its_cavities(scope: str, cavities: tuple[str, ...]) -> None:
    shown = machine(scope=scope, members=("x",), cavities=cavities)
    assert lit(shown) == [name for name in ("1A", "1B", "2A", "2B", "3A", "3B") if name in cavities]
    assert whole_strip(shown) == ""


@pytest.mark.parametrize("scope", ["line", "furnace", "station"])
def test_what_is_wider_is_drawn_as_the_whole_and_no_cavity_is_named(scope: str) -> None:
    shown = machine(scope=scope, members=("K1",))
    assert lit(shown) == [] and whole_strip(shown).count('class="beyond"') == 2
    assert "30 to 30 calls a half hour, 6.0 expected" in whole_strip(shown)


def test_without_a_past_nothing_is_expected_and_all_that_came_since_is_lit() -> None:
    shown = machine(expected=None, scope="section", members=("1",), cavities=("1A", "1B"))
    strip = cavity_strips(shown)[1, "A"]
    assert 'class="expected"' not in strip and "5 to 5 calls a half hour" in strip and lit(shown) == ["1A", "1B"]


def test_without_counts_nothing_is_drawn() -> None:
    shown = machine(scope="section", members=("1",), cavities=("1A",))
    without = MachineNow(**{**vars(shown), "lately": None})
    assert cavity_strips(without) == {} and whole_strip(without) == ""
