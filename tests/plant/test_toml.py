"""A plant written as works.toml is the plant that is read from it."""

from __future__ import annotations

import tomllib

import pytest

from pipelines.plant.toml import toml_value, works_toml
from pipelines.plant.works import Plant, read_plant
from pipelines.site.folder import template
from tests.conftest import SAMPLES, WORKS

MANY = "".join(f'"{n}" = "CHF", ' for n in range(300)).rstrip(", ")
MORE = f"""
[[contact]]
name = "foreman"
for = ["critical"]
phone = "412"

[[mapping]]
files = "x_*.txt"
feed = "reject_counts"
columns = {{ "Clock \\"a\\"" = "window_start" }}
wide = [{{ columns = "Form *", name = "mould", value = "rejected" }}]
values = {{ defect = {{ {MANY} }} }}

[[clock]]
station = "K1-foot"
minutes = 60
from = 2026-10-25T03:00:00+01:00

[listener]
broker = "b"

[[topic]]
topic = "a/{{line}}/#"
name = "station_counts"

[cost]
glass_per_t = 120

[keep]
minutes_days = 400
"""


@pytest.mark.parametrize("text", [WORKS, template(), WORKS + MORE], ids=["demo", "template", "more"])
def test_what_is_written_is_read_again_as_it_was(text: str) -> None:
    plant = read_plant(text)
    written = works_toml(plant)
    assert read_plant(written) == plant
    assert works_toml(read_plant(written)) == written


def test_every_table_and_key_of_the_plant_file_stands_there_given_or_as_a_comment() -> None:
    text = works_toml(read_plant(WORKS))
    for name, key in Plant.model_fields.items():
        assert f"[{key.alias or name}]" in text, name
    assert "# counter_modulus = " in text and "# [[contact]]" in text and "# phone = " in text


def test_a_value_that_is_left_out_is_not_the_plant() -> None:
    plant = read_plant(WORKS)
    assert read_plant(works_toml(plant).replace("temper_max = 4.0", "")) != plant


def test_a_comment_says_what_a_key_means_once() -> None:
    text = works_toml(read_plant(WORKS))
    assert text.count("# how bad it is; critical defects") == 1 and text.count("severity =") == len(
        read_plant(WORKS).defect
    )


@pytest.mark.parametrize("word", ['a "b" \\ c', "tab\t", "\x7f", "ä ✓", "new\nline", "'"])
def test_a_text_of_any_letters_is_read_again(word: str) -> None:
    assert tomllib.loads(f"a = {toml_value(word)}\nb = {toml_value({word: (1, True)})}") == {
        "a": word,
        "b": {word: [1, True]},
    }


def test_the_mappings_of_the_foreign_exports_are_read_again() -> None:
    text = WORKS + (SAMPLES / "foreign" / "mappings.toml").read_text(encoding="utf-8")
    plant = read_plant(text)
    assert len(plant.mapping) == 5 and read_plant(works_toml(plant)) == plant
