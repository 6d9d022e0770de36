"""What all tests of one run share: a thing is made once, by whichever worker asks for it first, and read or copied by
the others.
"""

from __future__ import annotations

import hashlib
import os
import pickle
import shutil
from collections.abc import Callable
from dataclasses import fields
from pathlib import Path
from typing import TypeVar

import pytest
from filelock import FileLock

from sample_feeds.simulator import Simulated, simulate
from sample_feeds.simulator.plan import Plan

T = TypeVar("T")


class Shared:
    """A folder that every worker of one run sees. Nothing in it is older than the run, so nothing in it is out of
    date.
    """

    def __init__(self, folder: Path):
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)

    def made(self, name: str, make: Callable[[Path], T]) -> tuple[Path, T]:
        """The path `name` as `make(path)` left it, and what `make` gave back; `make` runs once a run. Read it or copy
        it, never change it.
        """
        path, done = self.folder / name, self.folder / f"{name}.made"
        with FileLock(self.folder / f"{name}.lock"):
            if not done.exists():
                shutil.rmtree(path, ignore_errors=True)
                data = pickle.dumps(make(path), protocol=5)
                done.with_suffix(".part").write_bytes(data)
                done.with_suffix(".part").rename(done)
        back: T = pickle.loads(done.read_bytes())
        return path, back

    def simulated(self, plan: Plan, by: Callable[[Plan], Simulated] = simulate) -> Simulated:
        """What `by(plan)` gives; the same plan is simulated once a run. What comes back is the caller's own to
        change.
        """
        settled = [(field.name, getattr(plan, field.name)) for field in fields(plan) if field.name != "plant"]
        answer = pickle.dumps((by.__module__, by.__qualname__, plan.plant.model_dump_json(), settled), protocol=5)
        return self.made(f"simulated-{hashlib.sha256(answer).hexdigest()[:24]}", lambda _: by(plan))[1]


def folder_of_run(factory: pytest.TempPathFactory) -> Path:
    """One folder for all workers: beside their own, or where COLDLEDGER_SHARED says (runs of pytest side by side, as in
    .ci/run).
    """
    own, text = factory.getbasetemp(), os.environ.get("COLDLEDGER_SHARED")
    return Path(text) if text else (own.parent if "PYTEST_XDIST_WORKER" in os.environ else own) / "shared"
