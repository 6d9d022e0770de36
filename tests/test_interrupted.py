"""Ctrl-C in every command: one sentence, status 130, no traceback, nothing half-written. A command is stopped where it
first touches the site, and where it first writes.
"""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from tests.conftest import HEAD, Place
from tests.help.test_topics import commands
from tests.test_answers_on_a_terminal import ASKED
from tests.test_cli import run

STOPPED = "Stopped. Nothing received was lost, what is done is kept: the same command goes on from there."
HELD = "--by N --why w --evidence e"
WRITING = {
    "demo": "{out}/demo --days 1",
    "init": "{out}/new --workbook --of {site}",
    "intake": "",
    "feeds retry": "",
    "close": "",
    "rebuild": "--from 2026-03-02 --to 2026-03-02",
    "signals acknowledge": "S --by N",
    "holds place": f"--pallet P1 {HELD}",
    "holds confirm": f"H {HELD}",
    "holds dismiss": f"H {HELD}",
    "holds extend": f"H --pallet P1 {HELD}",
    "holds release": f"H {HELD}",
    "holds scrap": f"H {HELD}",
    "holds restore": "",
    "people add": "N --role quality --password-stdin",
    "people end": "N",
    "notices test": "",
    "backup": "--to {out}/copy",
    "restore": "--from {copy} --to {out}/again",
    "compact": "",
    "rollup": "--before 2026-03-01",
    "export": "--to {out}/exported",
    "serve": "--port 4299",
    "listen": "",
    "sources read": "",
    "deployments": "",
}
NAMES = {"pallet": "P1", "mould": "11", "hold": "H", "file": "works.toml"}
UNTOUCHED = {  # what ends before it touches the site, or before it writes there, in so small a works
    ("help", "touch"),
    ("holds restore", "write"),
    ("notices test", "write"),
    ("listen", "write"),
    ("sources read", "write"),
    ("deployments", "write"),
}
# The hook sends the interrupt once, from inside the command: at the first file of the site, or the first written there.
CODE = """
import os, signal, sys
place, when, marker, *words = sys.argv[1:]
sys.argv = ["coldledger", *words]
tripped = []
def hook(event, args):
    if event not in ("open", "os.mkdir") or tripped:
        return
    path = os.fspath(args[0]) if isinstance(args[0], (str, bytes, os.PathLike)) else ""
    path = path.decode() if isinstance(path, bytes) else path
    writes = event == "os.mkdir" or bool((args[2] or 0) & (os.O_WRONLY | os.O_RDWR | os.O_CREAT))
    if path.startswith(place) and (writes or when == "touch"):
        tripped.append(path)
        os.close(os.open(marker, os.O_CREAT | os.O_WRONLY))
        os.kill(os.getpid(), signal.SIGINT)
from pipelines.cli import main
sys.addaudithook(hook)
main()
"""


def test_an_interrupt_while_commands_are_loaded_is_the_same_sentence() -> None:
    code = (
        "import os, signal, sys\n"
        "def hook(event, args):\n"
        "    if event == 'import' and args[0] == 'pipelines.commands.trace':\n"
        "        os.kill(os.getpid(), signal.SIGINT)\n"
        "from pipelines.start import main\n"
        "sys.addaudithook(hook)\n"
        "main()"
    )
    done = subprocess.run([sys.executable, "-c", code, "runs"], capture_output=True, text=True, timeout=60)
    assert (done.returncode, done.stdout, done.stderr) == (130, "", f"{STOPPED}\n")


def words_of(name: str) -> str:
    return WRITING[name] if name in WRITING else ASKED[name][0][0]


EVERY = [name for name, _ in commands() if name != "works"]


def test_every_command_is_stopped() -> None:
    assert set(EVERY) == set(WRITING) | set(ASKED) and not set(WRITING) & set(ASKED)


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Place:
    """A site with a few rows, one of them refused, and a copy of it."""
    place = Place(tmp_path_factory.mktemp("interrupted") / "place" / "site")
    place.put("station_counts.K1.csv", HEAD + "2026-03-02T09:00:00+01:00,K1,K1-side-a,11,60,10,1\n")
    place.put("station_counts.K2.csv", HEAD + "2026-03-02T09:00:00+01:00,K1,K1-side-a,11,60,1O,1\n")
    pallet = "P1,K1,J370,2026-03-02T09:00:00Z,2026-03-02T10:00:00Z,1944,held\n"
    place.put("pallets.a.csv", "pallet,line,item,packed_from,packed_to,units,state\n" + pallet)
    place.take()
    done = run("backup", "--to", str(place.site.root.parent.parent / "copy"), site=place.site.root)
    assert done.returncode == 0, done.stderr
    return place


CASES = [*((name, "touch") for name in EVERY), *((name, "write") for name in WRITING)]


@pytest.mark.parametrize(("name", "when"), CASES)
def test_an_interrupt_is_a_sentence_and_nothing_half_written(
    name: str, when: str, small: Place, tmp_path: Path
) -> None:
    site = small.copied(tmp_path / "place" / "site").site.root
    before = (site / "works.toml").read_bytes()
    more = {"out": tmp_path / "place", "site": site, "copy": small.site.root.parent.parent / "copy", **NAMES}
    words = [*name.split(), *shlex.split(words_of(name).format(**more))]
    marker = tmp_path / "tripped"
    env = {k: v for k, v in os.environ.items() if not k.startswith(("PREFECT_", "COLDLEDGER_"))}
    env |= {"COLDLEDGER_SITE": str(site), "COLDLEDGER_NOW": "2026-04-01T00:00:00Z"}
    done = subprocess.run(
        [sys.executable, "-c", CODE, str(tmp_path / "place"), when, str(marker), *words],
        capture_output=True,
        text=True,
        input="a long enough word\n",
        env=env,
        timeout=120,
    )
    assert "Traceback" not in done.stderr and "Exception ignored" not in done.stderr, done.stderr
    if marker.exists():
        assert done.returncode == 130, (done.returncode, done.stdout, done.stderr)
        assert done.stderr.splitlines()[-1] == STOPPED
    else:
        assert (name, when) in UNTOUCHED, done.stderr
    assert (site / "works.toml").read_bytes() == before
    assert not list((tmp_path / "place").rglob("*.part"))
    assert not (tmp_path / "place" / "new" / "plant.xlsx").exists()
