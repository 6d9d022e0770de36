"""`python -m tests.intake.killed PLAIN OTHER SEED`: takes the inbox of PLAIN in undisturbed and that of OTHER in
processes that are killed.

Kills are counted and not timed, so that they fall alike on every computer: Python tells of each step by which a process
touches the world (PEP 578: a file opened, renamed, removed, a module imported), and a process is killed before the step
of a number drawn by SEED. tests/faults has the steps inside the database. Prints how many steps the whole intake has
and how each process on OTHER ended.
"""

from __future__ import annotations

import json
import os
import random
import signal
import sys
from collections.abc import Callable
from pathlib import Path

from pipelines.intake import take_in
from pipelines.plant.works import read_plant
from pipelines.settings import Settings, Site
from tests.conftest import NOW

KILLS = 4


def killed_before(
    number: int, prepare: Callable[[], Callable[[], object]], counts: Callable[[str], bool] = lambda name: True
) -> tuple[int, int]:
    """A process of its own, killed before its step `number` (0: not at all); how it ended, its steps when it was whole.
    prepare: what gives the work, not counted itself; counts: which steps are, by what Python calls them.
    """
    hear, tell = os.pipe()
    pid = os.fork()
    if pid == 0:
        os.close(hear)
        _work(number, prepare, counts, tell)
    os.close(tell)
    with os.fdopen(hear) as pipe:
        text = pipe.read()
    return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]), int(text or 0)


def _work(number: int, prepare: Callable[[], Callable[[], object]], counts: Callable[[str], bool], tell: int) -> None:
    code, steps = 1, 0

    def step(name: str, _: tuple[object, ...]) -> None:
        nonlocal steps
        if counts(name):
            steps += 1
            if steps == number:
                os.kill(os.getpid(), signal.SIGKILL)

    try:
        work = prepare()
        sys.addaudithook(step)
        work()
        code = 0
        os.write(tell, str(steps).encode())
    finally:
        os._exit(code)


def intake(root: Path, number: int) -> tuple[int, int]:
    """An intake, killed before its step `number` (0: not at all)."""

    def prepare() -> Callable[[], object]:
        site = Site(root)
        plant = read_plant(site.works_toml.read_text())
        return lambda: take_in(site, plant, Settings(fixed_now=NOW, rows_at_once=4000))

    return killed_before(number, prepare)


def main() -> None:
    plain, other, chance = Path(sys.argv[1]), Path(sys.argv[2]), random.Random(int(sys.argv[3]))
    code, steps = intake(plain, 0)
    assert code == 0 and steps > 100, (code, steps)
    ended = [intake(other, chance.randint(1, int(0.6 * steps)))[0] for _ in range(KILLS)]
    print(json.dumps({"steps": steps, "ended": [*ended, intake(other, 0)[0]]}))


if __name__ == "__main__":
    main()
