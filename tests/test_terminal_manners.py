"""What every command does on a terminal: help in two ways, examples that can be typed, an order, narrow lines."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from typing import Any

import pytest
import typer

from pipelines import __version__, cli
from pipelines.commands.order import EXAMPLES, ORDER, brief
from tests.help.test_topics import commands

EVERY = commands()
ROOT: Any = typer.main.get_command(cli.app)


def typed(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, *args: str) -> tuple[int, str, str]:
    """What a command says and ends with, in this process."""
    monkeypatch.setattr(sys, "argv", ["coldledger", *args])
    with pytest.raises(SystemExit) as end:
        cli.main()
    found = capsys.readouterr()
    return int(end.value.code or 0), found.out, found.err


@pytest.mark.quick
@pytest.mark.parametrize("name", ["", *(name for name, _ in EVERY)])
def test_h_is_help_and_help_fits_a_narrow_terminal(
    name: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "60")
    short = typed(capsys, monkeypatch, *name.split(), "-h")
    assert short == typed(capsys, monkeypatch, *name.split(), "--help")
    code, out, err = short
    assert (code, err) == (0, "") and out.startswith(f"Usage: coldledger {name}".rstrip())
    assert not [line for line in out.splitlines() if len(line) > 60]


@pytest.mark.parametrize("name", [name for name, _ in EVERY])
def test_every_command_has_examples_that_can_be_typed(name: str) -> None:
    assert EXAMPLES.get(name), f"pipelines/commands/order.py has no example of {name}"
    for words in EXAMPLES[name]:
        context = ROOT.make_context("coldledger", shlex.split(f"{name} {words}"))
        command = ROOT
        while hasattr(command, "commands") and (args := [*context._protected_args, *context.args]):
            command = command.commands[args[0]]
            context = command.make_context(args[0], args[1:], parent=context)
        assert context.command_path.startswith(f"coldledger {name}") and not context.args


def test_an_example_that_cannot_be_typed_is_found() -> None:
    with pytest.raises(Exception, match="No such option"):
        ROOT.commands["pareto"].make_context("pareto", ["--lines", "K1"])


@pytest.mark.parametrize("name", [name for name, _ in EVERY])
def test_examples_stand_in_the_help_as_a_shell_reads_them(
    name: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    out = typed(capsys, monkeypatch, *name.split(), "-h")[1].replace(" \\\n", " ")
    lines = [shlex.split(line) for line in out.splitlines() if line.startswith("    coldledger ")]
    assert lines == [shlex.split(f"coldledger {name} {words}") for words in EXAMPLES[name]]


@pytest.mark.quick
def test_commands_stand_under_headings_each_once(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    named = [name for names in ORDER.values() for name in names]
    assert sorted(named) == sorted(ROOT.commands) and set(EXAMPLES) == {name for name, _ in EVERY}
    out = typed(capsys, monkeypatch, "-h")[1]
    assert re.findall(r"^  ([a-z]+)  ", out.split("The first day:")[1], re.M) == named
    assert re.findall(r"^(\w.*):$", out, re.M) == ["Options", *ORDER]
    assert "..." not in out.split("The first day:")[1] and "Others" not in out


def test_a_group_lists_its_own_commands(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    out = typed(capsys, monkeypatch, "holds", "-h")[1]
    assert re.findall(r"^  ([a-z]+)  ", out.split("Commands:")[1], re.M) == list(ROOT.commands["holds"].commands)


def test_what_a_command_does_is_told_up_to_where_it_goes_on() -> None:
    assert brief("What is held, why: place.\n\nMore.") == "What is held, why"
    assert brief("Rows of works.toml again.") == "Rows of works.toml again"


def test_the_version_is_said(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    assert typed(capsys, monkeypatch, "--version") == (0, f"coldledger {__version__}\n", "")


@pytest.mark.parametrize(("words", "offered"), [("coldledger par", "pareto"), ("coldledger holds pla", "place\nplan")])
def test_a_shell_completes_commands(words: str, offered: str) -> None:
    more = {"_COLDLEDGER_COMPLETE": "complete_bash", "COMP_WORDS": words, "COMP_CWORD": str(words.count(" "))}
    code = [sys.executable, "-c", "from pipelines.cli import main; main()"]
    done = subprocess.run(code, capture_output=True, text=True, env={**os.environ, **more}, timeout=60)
    assert done.stdout.strip() == offered, done.stderr
