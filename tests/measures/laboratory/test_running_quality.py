"""A container with two defects is one faulty container: the share's interval reaches over what the counts allow."""

from __future__ import annotations

from datetime import UTC, datetime

import polars as pl
import pytest

from pipelines.measures.laboratory.checks import running_quality, samples_of
from pipelines.plant.works import Plant

AT = datetime(2026, 3, 10, 6, tzinfo=UTC)


def samples(*rows: tuple[str, int]) -> pl.DataFrame:
    these_rows = [(AT, "J370", defect, 200, found) for defect, found in rows]
    return pl.DataFrame(these_rows, ["sampled_at", "item", "defect", "sample_units", "found"], orient="row")


def test_two_defects_on_one_container_are_not_two_containers_for_certain(plant: Plant) -> None:
    """CHN and CHS are major: 5 and 3 found of 200 are 5 to 8 containers; ends by `scipy.stats.beta` (Clopper and
    Pearson).
    """
    from scipy.stats import beta

    running = {r.severity: r for r in running_quality(samples_of(plant, samples(("CHN", 5), ("CHS", 3))))}["major"]
    assert (running.fewest, running.found, running.n) == (5, 8, 200)
    assert running.low == pytest.approx(beta.ppf(0.025, 5, 196)) and running.high == pytest.approx(
        beta.ppf(0.975, 9, 192)
    )


def test_one_defect_alone_leaves_nothing_open(plant: Plant) -> None:
    """Newcombe, Statistics in Medicine 17 (1998) 857, table I: none of 20, Clopper and Pearson 0 to 0.1684."""
    runnings = {r.severity: r for r in running_quality(samples_of(plant, samples(("CHN", 5))))}
    assert (runnings["major"].fewest, runnings["major"].found) == (5, 5)
    none = running_quality(samples_of(plant, samples(("CHN", 0)).with_columns(sample_units=pl.lit(20))))[0]
    assert (none.low, round(none.high, 4)) == (0.0, 0.1684)


def test_more_defects_than_containers_are_no_more_than_all(plant: Plant) -> None:
    running = {r.severity: r for r in running_quality(samples_of(plant, samples(("CHN", 200), ("CHS", 150))))}["major"]
    assert (running.fewest, running.found, running.share, running.high) == (200, 200, 1.0, 1.0)
