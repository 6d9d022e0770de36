"""A few sites beside their model in each run of the tests; the long one is `python -m tests.fuzz.site`. And what it has
found, as cases.
"""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from tests.fuzz.model import Model, Row, good_file
from tests.fuzz.site import SiteMachine, look

AT = datetime(2026, 1, 5, 10, 1, tzinfo=UTC)
GOOD = Row(AT, "K1", "K1-side-a", "1", "8", "2")


def test_a_site_says_what_its_model_says() -> None:
    look(20_261_129, examples=2, steps=8)


@pytest.fixture
def site() -> SiteMachine:
    machine = SiteMachine()
    machine.begin([GOOD, Row(**{**vars(GOOD), "line": "K9", "mould": "2"})])
    return machine


def test_the_model_is_compared_with_the_site(site: SiteMachine) -> None:
    """A row that the model has otherwise, one that it lacks, a refused row, a file that lies nowhere: each is seen."""
    site.the_site_is_as_the_model_says()
    key = (AT, "K1", "K1-side-a", "1")
    for wrong in ({key: (60, 8, 3)}, {}, {**site.model.force, (AT, "K1", "K1-side-a", "7"): (60, 1, 0)}):
        right, site.model.force = site.model.force, wrong
        with pytest.raises(AssertionError):
            site.the_site_is_as_the_model_says()
        site.model.force = right
    site.model.ever.add("0" * 64)
    with pytest.raises(AssertionError, match="neither in archive"):
        site.the_site_is_as_the_model_says()
    site.teardown()


def test_of_two_rows_with_one_key_the_later_holds_and_a_repeated_file_changes_nothing() -> None:
    model, other = Model(), Row(**{**vars(GOOD), "rejected": "5"})
    first, second = good_file("station_counts.1.csv", (GOOD,)), good_file("station_counts.2.csv", (other,))
    for file in (first, second, first):
        model.take(file, datetime(2026, 4, 1, tzinfo=UTC))
    assert model.force == {(AT, "K1", "K1-side-a", "1"): (60, 8, 5)} and len(model.log) == 2
