"""Every command that answers, over a whole and an empty time: tables fit 60 columns, and nothing is said in words."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable

import pytest
from rich.cells import cell_len

from pipelines import cli
from tests.conftest import SAMPLES, Place
from tests.help.test_topics import commands
from tests.test_cli import run

HOUR = "--from 2026-03-10T10:00 --to 2026-03-10T11:00"
DAY = "--day 2026-03-10"
NO_HOUR = "--from 2026-03-20T10:00 --to 2026-03-20T11:00"
NO_DAY = "--day 2026-03-20"
# command -> what is asked of a time of which something came, and what of one of which nothing did; exit status
ASKED: dict[str, tuple[tuple[str, int], tuple[str, int]]] = {
    "help": (("", 0), ("", 0)),
    "schedule": (("", 0), ("--hours 1", 0)),
    "runs": (("", 0), ("", 0)),
    "check": (("", 0), ("--rows", 0)),
    "weights": ((f"--line K1 {HOUR}", 0), (f"--line K1 {NO_HOUR}", 0)),
    "lab": ((DAY, 0), (NO_DAY, 0)),
    "trace": (
        ("--line K1 --defect BSW --made-from 2026-03-10T08:00 --made-to 2026-03-10T10:00", 0),
        ("--line K1 --defect BSW --made-from 2026-03-20T08:00 --made-to 2026-03-20T10:00", 0),
    ),
    "trust": ((f"--line K1 {HOUR}", 0), (f"--line K1 {NO_HOUR}", 0)),
    "pallet": (("{pallet}", 0), ("NOPE", 2)),
    "mould": (("{mould} --line K1", 0), ("999 --line K1", 0)),
    "pareto": ((f"--line K1 {HOUR}", 0), (f"--line K1 {NO_HOUR}", 0)),
    "yield": ((DAY, 0), (NO_DAY, 0)),
    "day": ((DAY, 0), (NO_DAY, 0)),
    "feeds": (("", 1), ("--of refused", 1)),
    "feeds replaced": (("pallets", 0), ("returns", 0)),
    "feeds doubts": ((HOUR, 0), (NO_HOUR, 0)),
    "feeds try": (("{file}", 1), ("{file}", 1)),
    "sources": (("", 0), ("", 0)),
    "sources try": (("palletiser", 2), ("NOPE", 2)),
    "signals": ((HOUR, 0), (NO_HOUR, 0)),
    "holds": (("", 0), ("--all", 0)),
    "holds show": (("{hold}", 0), ("H-99", 2)),
    "holds plan": (("{hold} --severity major", 0), ("H-99 --severity major", 2)),
    "works check": (("", 0), ("nothing.toml", 2)),
    "people": (("", 0), ("", 0)),
    "people audit": (("", 0), ("", 0)),
    "notices": (("", 0), ("", 0)),
}
NOTHING = r"[Nn]othing (came|was found|was cut)|no (weighing|count) came|no density reading came|holds ware formed from"
BOX = re.compile(r"[│┃┏┡└├┌]")


@pytest.fixture(scope="module")
def site(day_taken: Place, tmp_path_factory: pytest.TempPathFactory) -> Place:
    """The day taken in, once more: a trace writes its report there."""
    place = day_taken.copied(tmp_path_factory.mktemp("terminal") / "site")
    why = ("--by", "A. Nowak", "--why", "tried", "--evidence", "C-1")
    done = run("holds", "place", "--pallet", pallet_of(place), *why, site=place.site.root)
    assert done.returncode == 0, done.stderr
    return place


Answer = tuple[int, str, str]


@pytest.fixture
def asked(site: Place, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Callable[[str], Answer]:
    monkeypatch.setenv("COLDLEDGER_SITE", str(site.site.root))
    monkeypatch.setenv("COLDLEDGER_NOW", "2026-04-01T00:00:00Z")
    monkeypatch.setenv("COLUMNS", "60")

    def ask(words: str) -> Answer:
        monkeypatch.setattr(sys, "argv", ["coldledger", *words.format(**named(site)).split()])
        monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
        with pytest.raises(SystemExit) as end:
            cli.main()
        found = capsys.readouterr()
        return int(end.value.code or 0), re.sub(r"\x1b\[[0-9;]*m", "", found.out), found.err

    return ask


def named(site: Place) -> dict[str, str]:
    """What there is to ask of that site."""
    mould = site.facts("mould_log").filter(line="K1", part="mould").row(0, named=True)["number"]
    with site.opened.ledger.reading() as reader:
        hold = reader.ask("hold_events_all").row(0, named=True)["hold"]
    file = SAMPLES / "foreign" / "seite_K3_20260303.txt"
    return {"pallet": pallet_of(site), "mould": mould, "hold": hold, "file": str(file)}


def pallet_of(site: Place) -> str:
    return str(site.facts("pallets").row(0, named=True)["pallet"])


def test_every_command_that_answers_is_asked() -> None:
    answering = {name for name, command in commands() if any("--format" in param.opts for param in command.params)}
    assert answering == set(ASKED)


@pytest.mark.parametrize("name", ASKED)
@pytest.mark.parametrize("which", [0, 1], ids=["something", "nothing"])
def test_tables_fit_a_narrow_terminal_and_nothing_is_said_in_words(
    name: str, which: int, asked: Callable[[str], tuple[int, str, str]]
) -> None:
    words, status = ASKED[name][which]
    code, out, err = asked(f"{name} {words}")
    assert code == status, out + err
    lines = out.splitlines()
    assert not [line for line in lines if BOX.search(line) and cell_len(line) > 60]
    assert re.search(r"[a-z]{3}", out if status < 2 else err), "nothing was said"
    heads = [n for n, line in enumerate(lines) if line.startswith("┡")]
    assert not [lines[n] for n in heads if lines[n + 1].startswith("└")], "a table without a row"
    if status == 2:
        assert not out and len(err.splitlines()) == 1
    if which == 1 and "2026-03-20" in words:
        assert re.search(NOTHING, out)
