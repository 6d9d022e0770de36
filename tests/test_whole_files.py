"""Files that are there whole or not at all."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipelines.whole_files import beside, written_whole


def test_it_takes_its_name_when_it_is_whole(tmp_path: Path) -> None:
    target = tmp_path / "day.html"
    target.write_text("before")
    with written_whole(target, durable=True) as part:
        part.write_text("after")
        assert target.read_text() == "before" and part.name.startswith(".")
    assert target.read_text() == "after" and [path.name for path in tmp_path.iterdir()] == ["day.html"]


def test_an_error_leaves_what_was_there_and_nothing_beside_it(tmp_path: Path) -> None:
    target = tmp_path / "day.html"
    target.write_text("before")
    with pytest.raises(OSError, match="no space"), written_whole(target) as part:
        part.write_text("half")
        raise OSError(28, "no space")
    assert target.read_text() == "before" and [path.name for path in tmp_path.iterdir()] == ["day.html"]


def test_what_is_private_is_private_from_its_first_byte(tmp_path: Path) -> None:
    target = tmp_path / "server.json"
    with written_whole(target, private=True) as part:
        assert part.stat().st_mode & 0o077 == 0
        part.write_text("secret")
        assert part.stat().st_mode & 0o077 == 0
    assert target.stat().st_mode & 0o077 == 0


@pytest.mark.parametrize("name", ["a" * 255, "\u00fc" * 127, "b" * 249 + ".csv"])
def test_the_longest_name_has_a_part_beside_it_too(tmp_path: Path, name: str) -> None:
    target = tmp_path / name
    with written_whole(target) as part:
        part.write_text("whole")
    assert target.read_text() == "whole" and beside(target) != beside(target.with_name("c" * 255))
