"""A figure that cannot be is explained and not printed; what is expected is never written 0."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pipelines import numbers
from pipelines.measures.pareto.hour_figures import Pulse
from pipelines.measures.statistics.shares import more_than_whole, ratio, share
from pipelines.numbers import expected
from pipelines.plant.tables import Pages
from pipelines.reports.frame.sheet import number_format, written


@pytest.mark.parametrize(
    ("part", "whole", "expected"),
    [(3, 12, 0.25), (12, 12, 1.0), (13, 12, None), (0, 0, None), (1, 0, None), (1, None, None)],
)
def test_a_share_over_the_whole_is_none(part: int, whole: int | None, expected: float | None) -> None:
    assert share(part, whole) == expected


def test_it_is_said_why_there_is_none() -> None:
    assert more_than_whole(12, 12) is None and more_than_whole(0, 0) is None
    assert (more_than_whole(1_300, 1_200) or "").startswith("1,300 rejected and only 1,200 containers counted")


def test_a_pulse_with_more_rejects_than_ware_has_no_share() -> None:
    beat = Pulse(ware=100, rejected=7, calls=8, critical=0, expected=None, low=None, high=None, q=None)
    assert beat.share == ratio(7, 100) and replace(beat, ware=5).share is None


@pytest.mark.parametrize(
    ("value", "text"),
    [(None, "–"), (0.0, "< 0.1"), (0.049, "< 0.1"), (0.05, "0.1"), (0.26, "0.3"), (1234.5, "1,234.5")],
)
def test_what_is_expected_is_never_nothing(value: float | None, text: str) -> None:
    """The pages' own rule: below 0.05 expected is written "< 0.1", everywhere. Common practice, no source."""
    numbers.use(Pages(thousands=","))
    try:
        assert expected(value) == text == written(value, "expected")
    finally:
        numbers.use(Pages())
    assert number_format("expected").startswith('[<0.05]"< 0.1"')


def test_it_is_written_in_the_works_own_way() -> None:
    numbers.use(Pages(decimal=","))
    try:
        assert expected(0.01) == "< 0,1"
    finally:
        numbers.use(Pages())
