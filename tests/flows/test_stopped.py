"""A command that is stopped: one sentence and no process left, whichever signal it was and whoever else heard it."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.conftest import HEAD, Place

ROWS = "".join(
    f"2026-03-02T{h:02d}:{m:02d}:00+01:00,K1,K1-side-a,{k},60,12,1\n" for h in (8, 9) for m in range(60) for k in (1, 2)
)
CODE = (
    "import signal, sys; signal.signal(signal.SIGINT, signal.default_int_handler)\n"
    "import pipelines.flows.steps as steps, time\n"
    "def slow(*_): print('begun', flush=True); time.sleep(300)\n"
    "steps.take_in = steps.days_to_close = steps.rebuild_days = slow\n"
    "from pipelines.cli import main; main()"
)


def processes_of(root: Path) -> list[str]:
    """Command lines of the processes that know of a site, this one left out."""
    found = []
    for path in Path("/proc").iterdir():
        if path.name.isdigit() and int(path.name) != os.getpid():
            try:
                if str(root).encode() in (path / "environ").read_bytes() + (path / "cmdline").read_bytes():
                    found.append((path / "cmdline").read_bytes().replace(b"\0", b" ").decode())
            except OSError:
                continue
    return found


@pytest.mark.parametrize(
    ("command", "number", "everybody"),
    [
        ("intake", signal.SIGTERM, False),
        ("close", signal.SIGINT, True),  # Ctrl-C: the terminal sends it to all that the command has begun
        ("rebuild", signal.SIGKILL, True),
    ],
)
@pytest.mark.skipif(sys.platform != "linux", reason="asks /proc who is left")
def test_one_sentence_and_nobody_left(command: str, number: int, everybody: bool, place: Place) -> None:
    place.put("station_counts.a.csv", HEAD + ROWS)
    place.take()
    more = ["--from", "2026-03-02", "--to", "2026-03-02"] if command == "rebuild" else []
    run = subprocess.Popen(
        [sys.executable, "-c", CODE, command, "--site", str(place.site.root), *more],
        text=True,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
        env={
            **{k: v for k, v in os.environ.items() if not k.startswith("PREFECT_")},
            "COLDLEDGER_NOW": "2026-03-04T12:00:00Z",
        },
    )
    assert run.stdout is not None and run.stdout.readline() == "begun\n"
    (os.killpg if everybody else os.kill)(run.pid, number)
    _, err = run.communicate(timeout=120)
    if number == signal.SIGKILL:
        assert run.returncode == -signal.SIGKILL and err == ""
    else:
        assert run.returncode == 130
        assert err == "Stopped. Nothing received was lost, what is done is kept: the same command goes on from there.\n"
    until = time.monotonic() + 60
    while (left := processes_of(place.site.root)) and time.monotonic() < until:
        time.sleep(0.1)
    assert left == []
