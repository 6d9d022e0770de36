"""`coldledger serve` with one of its processes killed (SIGKILL) at a counted step, and in the end all of it: begun
again, the site says what an undisturbed one says.

`python -m tests.serve.test_killed_at_steps --times 20 --seed 1` draws more moments.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import signal
import struct
import tempfile
from contextlib import suppress
from datetime import date, datetime
from pathlib import Path

import pytest

from pipelines.jobs.check import check_site
from pipelines.jobs.days import close_day
from pipelines.jobs.due import RETRIES
from pipelines.settings import Settings
from tests.conftest import Place, one_furnace
from tests.serve.test_all_at_once import FILES, nothing_held, said
from tests.serve.test_for_real import ROOT, Served

LONGEST_S = 300 + RETRIES[0].total_seconds()  # a flow that was killed is tried again so much later
PARTS = ("flow", "clerk", "pages", "supervisor")
# Steps of an undisturbed part: with fewer, not everything is counted. The supervisor of a works without a broker reads
# the site, binds its port and begins two processes.
FEWEST = {"flow": 100, "clerk": 20, "pages": 50, "supervisor": 8}
DAY, CLOCK = (
    date(2026, 3, 10),
    "2026-03-11T11:00:00+00:00",
)  # when a day whose last feeds never came is closed all the same


def settled(served: Served, root: Path) -> bool:
    """Whether all files are taken in and the day is closed."""
    left = [path for path in (root / "inbox").iterdir() if path.name[0] != "."]
    runs = served.runs()
    return not left and ("close", "done") in runs and not [flow for flow, state in runs if state == "running"]


def begun(place: Place, steps: Path) -> Served:
    """The site served, its processes counting."""
    path = f"{ROOT / 'tests' / 'faults' / 'at_step'}{os.pathsep}{ROOT}"
    texts = {"PYTHONPATH": path, "COLDLEDGER_TEST_STEPS": str(steps), "COLDLEDGER_TEST_SITE": str(place.site.root)}
    return Served(place.site.root, CLOCK, **texts)


def new_place(folder: Path) -> tuple[Place, Path]:
    """A works of one line with eight hours of counts in its inbox, and the folder of the counts of steps."""
    settings = Settings(fixed_now=datetime.fromisoformat(CLOCK), lock_wait_s=60)
    place = Place(folder / "site", one_furnace(lines=("K1",)), settings)
    for number, text in enumerate(FILES):
        place.put(f"station_counts.{number}.csv", text)
    (folder / "steps").mkdir()
    return place, folder / "steps"


def served_to_the_end(place: Place, steps: Path) -> None:
    """Serve until everything is done, reading pages meanwhile; end it. Begun again where the supervisor was killed."""
    served = begun(place, steps)
    try:
        served.until(lambda: served.get("/now")[0] != 0 or served.process.poll() is not None, 120, "pages")
        if served.process.poll() is None:
            served.until(
                lambda: settled(served, place.site.root) or served.process.poll() is not None,
                LONGEST_S,
                "the day closed",
            )
        if served.process.poll() is None:
            served.until(lambda: served.get("/now")[0] in (200, 503), 30, "pages")
            assert served.stop() == 0
            return
    finally:
        with suppress(ProcessLookupError):
            served.process.kill()
    assert served.process.wait() == -signal.SIGKILL, served.log.read_text()[-3000:]
    served_to_the_end(place, steps)


def counted(steps: Path) -> dict[str, int]:
    """The most steps that a process of each part had."""
    most: dict[str, int] = {}
    for path in steps.glob("*.*"):
        part = path.name.split(".")[0]
        most[part] = max(most.get(part, 0), struct.unpack("q", path.read_bytes())[0])
    return most


def killed(folder: Path, part: str, step: int) -> tuple[Place, bool]:
    """A site of which one part was killed before a step, then served to the end; whether it came to that step."""
    place, steps = new_place(folder)
    (steps / "plan").write_text(f"{part} {step}")
    served_to_the_end(place, steps)
    return place, (steps / "killed").exists()


def same(place: Place, wanted: dict[str, object]) -> None:
    """What a site must be after a kill: rows and answers of an undisturbed one, nothing held, nothing damaged, no run
    left open.
    """
    nothing_held(place)
    assert [finding.what for finding in check_site(place.opened, rows=True).findings] == []
    close_day(place.opened, DAY)
    assert said(place) == wanted
    assert len(list(place.site.archive.rglob("*.csv"))) == len(FILES)
    assert not list(place.site.root.rglob("*.part"))


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, object], dict[str, int]]:
    """What the site says when nothing is killed, and how many steps each part had."""
    place, steps = new_place(tmp_path_factory.mktemp("undisturbed"))
    served_to_the_end(place, steps)
    close_day(place.opened, DAY)
    return said(place), counted(steps)


@pytest.mark.parametrize("part", PARTS)
def test_a_part_killed_at_a_step(
    part: str, undisturbed: tuple[dict[str, object], dict[str, int]], tmp_path: Path
) -> None:
    if part in ("clerk", "pages") and os.environ.get("COLDLEDGER_FAULTS") != "all":
        pytest.skip("with COLDLEDGER_FAULTS=all")
    wanted, steps = undisturbed
    assert steps[part] >= FEWEST[part], steps
    place, came = killed(tmp_path, part, random.Random(part).randint(2, steps[part] * 3 // 4))
    assert came, "the step was never reached"
    same(place, wanted)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--times", type=int, default=20)
    asked.add_argument("--seed", type=int, default=1)
    options = asked.parse_args()
    chance, folder = random.Random(options.seed), Path(tempfile.mkdtemp(prefix="killed-"))
    (folder / "plain").mkdir()
    place, steps = new_place(folder / "plain")
    served_to_the_end(place, steps)
    close_day(place.opened, DAY)
    wanted, most = said(place), counted(steps)
    print(f"steps of an undisturbed site: {most}", flush=True)
    for number in range(options.times):
        part = PARTS[number % len(PARTS)]
        step = chance.randint(1, most[part])
        (folder / str(number)).mkdir()
        place, came = killed(folder / str(number), part, step)
        same(place, wanted)
        print(f"{number + 1}: {part} before step {step}{'' if came else ' (not reached)'}: the same", flush=True)
    shutil.rmtree(folder)


if __name__ == "__main__":
    main()
