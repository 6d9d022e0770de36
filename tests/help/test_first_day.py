"""The first day as it is told: its files are written, its commands run, its outputs compared with what is answered."""

from __future__ import annotations

import re
import shlex
import shutil
import sys
from pathlib import Path

import pytest

from pipelines import cli
from pipelines.help import text_of, topic_of

BLOCK = re.compile(r"(?:^|\n)([^\n]*)\n\n```(text|toml)\n(.*?)```", re.S)
WIDTH = 118


def steps() -> list[tuple[str, str, str]]:
    """(kind, what, text): a file with its text, or a command with its output."""
    found: list[tuple[str, str, str]] = []
    for before, _, text in BLOCK.findall(text_of(topic_of("first-day"))):
        if text.startswith("$ "):
            for part in re.split(r"^\$ ", text, flags=re.M)[1:]:
                command, _, output = part.partition("\n")
                found.append(("command", command, output))
        else:
            (name,) = re.findall(r"`([^`]+)`:$", before)
            found.append(("file", name, text))
    return found


def answered(command: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> tuple[int, str]:
    """Status and output of a command, typed in the current folder."""
    words = shlex.split(command)
    if words[0] == "cp":
        shutil.copy(words[1], words[2])
        return 0, ""
    assert words[0] == "coldledger", command
    monkeypatch.setattr(sys, "argv", words)
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
    with pytest.raises(SystemExit) as end:
        cli.main()
    return int(end.value.code or 0), re.sub(r"\x1b\[[0-9;]*m", "", capsys.readouterr().out)


def test_the_first_day_is_as_it_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", str(WIDTH))
    monkeypatch.setenv("COLDLEDGER_NOW", "2026-03-02T07:10:00Z")
    monkeypatch.delenv("COLDLEDGER_SITE", raising=False)
    ends = []
    for kind, what, text in steps():
        if kind == "file":
            path = Path(what)
            path.write_text((path.read_text() if path.exists() else "") + text)
            continue
        code, output = answered(what, capsys, monkeypatch)
        ends.append((what.split(" --site")[0], code))
        assert output.replace(str(tmp_path), "/home/you").split() == text.split(), f"$ {what}\n{output}"
    assert ends == [
        ("coldledger init my-works", 0),
        ("coldledger works check", 0),
        ("coldledger feeds try wall_20260302.txt", 1),
        ("coldledger feeds try wall_20260302.txt", 1),
        ("coldledger works check", 0),
        ("coldledger feeds try wall_20260302.txt", 0),
        ("cp wall_20260302.txt my-works/inbox/", 0),
        ("coldledger intake", 0),
        ("coldledger pareto", 0),
        ("coldledger pareto", 0),
    ]


def test_the_mistake_that_it_names_is_told_so(tmp_path: Path) -> None:
    from pipelines.errors import PlantError
    from pipelines.plant.works import read_plant
    from pipelines.site.folder import template

    said = " ".join(text_of(topic_of("first-day")).split())
    with pytest.raises(PlantError) as caught:
        read_plant(template().replace('furnace = "F1"', 'furnace = "F2"'))
    assert f"`{caught.value.mistakes[0]}`" in said
