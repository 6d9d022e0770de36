"""The power cut, and the disk full or gone, at the calls that change a site: after each the same job, done again, leaves the site as if nothing had happened.

Some calls are tried in every run of the tests, all of them with COLDLEDGER_FAULTS=all.
"""

from __future__ import annotations

import errno
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

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


def cutter(job: str, folder: Path, library: Path, error: int, step: int) -> dict[str, object]:
    command = [sys.executable, "-m", "tests.faults.cutter", job, str(folder), str(library), str(error), str(step)]
    env = {**os.environ, "LD_PRELOAD": str(library), "POLARS_MAX_THREADS": "1"}
    done = subprocess.run(command, cwd=ROOT, env=env, capture_output=True, text=True, timeout=3000)
    assert done.returncode == 0, done.stderr[-3000:]
    told: dict[str, object] = json.loads(done.stdout)
    return told


@pytest.mark.parametrize("job", ["intake", "retry", "roll", "compact", "from_archive", "backup"])
@pytest.mark.parametrize(
    "error", [0, errno.ENOSPC, errno.EROFS, errno.EIO], ids=["power cut", "disk full", "read-only", "share gone"]
)
def test_cut_off_anywhere_and_done_again_it_is_as_if_nothing_had_happened(
    job: str, error: int, library: Path, tmp_path: Path
) -> None:
    if error in (errno.EROFS, errno.EIO) and job != "intake" and not EVERY:
        pytest.skip("with COLDLEDGER_FAULTS=all")
    (tmp_path / "calls").mkdir()
    told = cutter(job, tmp_path / "calls", library, error, 1 if EVERY else -TRIED)
    assert told["faults"] == [] and int(str(told["cut"])) >= 3, json.dumps(told, indent=1)[:4000]
