"""The power cut, and the disk full or gone, at the calls that change a site: after each the same job, done again,
leaves the site as if nothing had happened.

Some calls are tried in every run of the tests, all of them with COLDLEDGER_FAULTS=all.
"""

from __future__ import annotations

import errno
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.shared import Shared

HERE = Path(__file__).parent
ROOT = HERE.parent.parent
EVERY = os.environ.get("COLDLEDGER_FAULTS") == "all"
TRIED = 4


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    compiler = shutil.which("gcc") or shutil.which("cc")
    if compiler is None or sys.platform != "linux":
        pytest.skip("needs Linux and a C compiler")
    path = tmp_path_factory.mktemp("cut") / "cut.so"
    subprocess.run([compiler, "-shared", "-fPIC", "-O1", "-o", str(path), str(HERE / "cut.c"), "-ldl"], check=True)
    return path


ERRORS = (0, errno.ENOSPC, errno.EROFS, errno.EIO)


def errors_of(job: str) -> tuple[int, ...]:
    return ERRORS if EVERY or job == "intake" else (0, errno.ENOSPC)


@pytest.fixture(scope="module")
def cut_off(library: Path, shared: Shared) -> Callable[[str, int], dict[str, object]]:
    """What became of a job that was cut off by an error. One process tries all errors of a job, on one site made for
    it.
    """

    def tried(job: str, folder: Path) -> dict[str, dict[str, object]]:
        folder.mkdir()
        errors, step = ",".join(map(str, errors_of(job))), 1 if EVERY else -TRIED
        command = [sys.executable, "-m", "tests.faults.cutter", job, str(folder), str(library), errors, str(step)]
        env = {**os.environ, "LD_PRELOAD": str(library), "POLARS_MAX_THREADS": "1"}
        done = subprocess.run(command, cwd=ROOT, env=env, capture_output=True, text=True, timeout=12_000)
        assert done.returncode == 0, done.stderr[-3000:]
        answer: dict[str, dict[str, object]] = json.loads(done.stdout)
        return answer

    return lambda job, error: shared.made(f"cut-{job}", lambda folder: tried(job, folder))[1][str(error)]


@pytest.mark.parametrize("job", ["intake", "retry", "roll", "compact", "from_archive", "backup"])
@pytest.mark.parametrize("error", ERRORS, ids=["power cut", "disk full", "read-only", "share gone"])
def test_cut_off_anywhere_and_done_again_it_is_as_if_nothing_had_happened(
    job: str, error: int, cut_off: Callable[[str, int], dict[str, object]]
) -> None:
    if error not in errors_of(job):
        pytest.skip("with COLDLEDGER_FAULTS=all")
    row = cut_off(job, error)
    assert row["faults"] == [] and int(str(row["cut"])) >= 3, json.dumps(row, indent=1)[:4000]
