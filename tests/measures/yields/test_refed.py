"""New ware out of counts in which some went through twice. Truth by a small world that counts every container."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from pipelines.measures.yields.refed import more_than_came, of_new_ware

ORDERS = {"side": 1, "mouth": 2, "foot": 3}
KINDS = {"part": pl.Int64, "station": pl.String, "inspected": pl.Float64, "rejected": pl.Float64, "refed": pl.Int64}


def passed_twice(seed: int, enters: int) -> tuple[dict[str, list[int]], dict[str, int], int]:
    """10 000 containers over three stations; half of what any of them rejects is put on again before station number
    `enters`, once.

    By station inspected, rejected and re-fed; the new ware each saw; the containers that came out good in the end.
    """
    rng = np.random.default_rng(seed)
    counts, new, again, good = {name: [0, 0, 0] for name in ORDERS}, dict.fromkeys(ORDERS, 0), 0, 0

    def run(first: int, containers: int, twice: bool) -> int:
        nonlocal again
        for number, name in enumerate(list(ORDERS)[first:], start=first):
            away = int(rng.binomial(containers, 0.02 * (number + 1)))
            seen_before = containers if twice else 0
            for place, units in enumerate((containers, away, seen_before)):
                counts[name][place] += units
            if not twice:
                new[name] += containers
                again += int(rng.binomial(away, 0.5)) if number >= enters else 0
            containers -= away
        return containers

    good = run(0, 10_000, twice=False)
    good += run(enters, again, twice=True)
    return counts, new, good


@pytest.mark.parametrize("seed", [811, 812, 813])
@pytest.mark.parametrize("enters", [0, 1, 2])
def test_new_ware_less_what_left_for_good_is_what_came_out(seed: int, enters: int) -> None:
    counts, new, good = passed_twice(seed, enters)
    ware = pl.DataFrame([(1, s, n - r, away, r) for s, (n, away, r) in counts.items()], KINDS, orient="row")
    frame, notes = of_new_ware(ware, ORDERS)
    rows = {row["station"]: row for row in frame.iter_rows(named=True)}
    assert {name: row["inspected"] for name, row in rows.items()} == new
    assert 10_000 - sum(row["rejected"] for row in rows.values()) == pytest.approx(good)
    left = 10_000.0
    for name in ORDERS:  # every balance on the way closes, not only the whole
        assert rows[name]["inspected"] == pytest.approx(left)
        left -= rows[name]["rejected"]
    assert any("went through it again" in note for note in notes)


def test_a_station_behind_that_does_not_tell_gets_what_passed_the_one_before() -> None:
    """1 000 new and 100 again at the side, 110 rejected of 1 100: a tenth of the 100 stays there, 90 go on, so 990 - 90
    are new at the foot.
    """
    ware = pl.DataFrame([(1, "side", 1_000, 110, 100), (1, "foot", 990, 0, None)], KINDS, orient="row")
    frame, notes = of_new_ware(ware, {"side": 1, "foot": 2})
    assert frame["inspected"].to_list() == [1_000, pytest.approx(900)]
    assert frame["rejected"].to_list() == [pytest.approx(100), 0]
    assert any("foot" in note and "guess" in note for note in notes)


def test_a_little_more_put_on_than_rejected_came_from_the_day_before() -> None:
    ware = pl.DataFrame([(1, "side", 1_000, 20, 24)], KINDS, orient="row")
    frame, notes = of_new_ware(ware, {"side": 1})
    assert frame["rejected"].to_list() == [0.0] and frame["inspected"].to_list() == [1_000]
    assert any("4 more containers" in note and "day before" in note for note in notes)


def test_more_put_on_than_the_line_rejected_is_doubted_by_name_and_not_subtracted() -> None:
    """1 500 counted, 500 of them said to be again, 60 rejected on the whole line: at most 75 are, so 1 425 are new. Two
    parts share alike.
    """
    rows = [(1, "side", 600, 20, 300), (2, "side", 400, 0, 200), (1, "foot", 900, 40, None), (2, "foot", 470, 0, None)]
    frame, notes = of_new_ware(pl.DataFrame(rows, KINDS, orient="row"), {"side": 1, "foot": 2})
    side = frame.filter(pl.col("station") == "side")
    assert side["inspected"].to_list() == [pytest.approx(855), pytest.approx(570)]
    assert side["refed"].to_list() == [pytest.approx(45), pytest.approx(30)]
    assert "side: says that 500 containers" in notes[0] and "line rejected 60" in notes[0] and "At most 75" in notes[0]
    assert not any("more containers were put on again" in note and "440" in note for note in notes)


def test_lanes_share_what_can_have_been_put_on_again() -> None:
    """Two lanes tell 100 and 300 where 160 were rejected: 200 can be, half of each."""
    rows = [(1, "a", 1_000, 80, 100), (1, "b", 1_000, 80, 300)]
    frame, notes = of_new_ware(pl.DataFrame(rows, KINDS, orient="row"), {"a": 1, "b": 1})
    assert frame["inspected"].to_list() == [pytest.approx(1_050), pytest.approx(1_150)]
    assert [note.split(":")[0] for note in notes[:2]] == ["a", "b"]


def test_a_works_without_the_column_stays_as_it_is() -> None:
    ware = pl.DataFrame([(1, "side", 1_000, 20, None), (1, "foot", 980, 2, None)], KINDS, orient="row")
    frame, notes = of_new_ware(ware, {"side": 1, "foot": 2})
    assert notes == [] and frame.select("inspected", "rejected").equals(ware.select("inspected", "rejected"))


def test_more_than_came_by_is_guessed_at_and_not_where_it_is_told() -> None:
    """0.3 % of two totals of 10 000: four standard uncertainties of their difference are 170."""
    far, near = [("side", 10_000, 100), ("foot", 10_200, 0)], [("side", 10_000, 100), ("foot", 10_050, 0)]
    (note,) = more_than_came(far, 0.3, refed=False)
    assert note.startswith("foot: 300 containers more") and "guess" in note
    assert more_than_came(near, 0.3, refed=False) == [] and more_than_came(far, 0.3, refed=True) == []
