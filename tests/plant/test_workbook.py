"""A workbook instead of TOML: there and back, and whatever is done to one on the way."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipelines.jobs.plant_file import make_workbook, plant_in
from pipelines.plant.works import read_plant
from pipelines.settings import Settings
from pipelines.site.folder import template
from tests.conftest import WORKS
from tests.plant.test_toml import MORE

CODES = "".join(
    f'\n[[mapping]]\nfiles = ["reject_counts.{station}.*"]\nfeed = "reject_counts"\n'
    f'values = {{ defect = {{ "17" = "{code}", "007" = "BSW" }} }}\n'
    for station, code in (("K1-foot", "SPK"), ("K1-mouth", "OVP"))
)


@pytest.mark.parametrize("text", [WORKS, template(), WORKS + MORE, WORKS + CODES], ids=["demo", "new", "more", "codes"])
def test_a_plant_goes_into_a_workbook_and_comes_back_as_it_was(text: str, tmp_path: Path) -> None:
    plant = read_plant(text)
    make_workbook(tmp_path / "plant.xlsx", plant, Settings())
    again = plant_in(tmp_path / "plant.xlsx", Settings())
    assert again.plant == plant and not again.notes
    assert read_plant(again.text) == plant
