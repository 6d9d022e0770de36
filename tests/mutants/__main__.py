"""Change one formula at a time in a copy of the tree and run the tests that ought to notice.

    python -m tests.mutants [--only signals] [--jobs 1]

A mutant is noticed when its tests fail with it; before that the same tests must pass without it. Prints a line a
mutant, those that nobody noticed again at the end, and the share noticed. The exit status is 1 where under 90 % are
noticed.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from tests.mutants.catalogue import ROOT, Mutant, changed, mutants

WANTED = 0.9
TREES = ("pipelines", "schemas", "sql", "sample_feeds", "tests")
MOST_S = 1800


def copied(into: Path) -> Path:
    """The tree, as far as tests need it."""
    for name in TREES:
        shutil.copytree(ROOT / name, into / name, ignore=shutil.ignore_patterns("__pycache__", "*.pyc"))
    for path in ROOT.glob("*.*"):
        if path.is_file():
            shutil.copy(path, into / path.name)
    return into


def passes(tree: Path, tests: tuple[str, ...]) -> bool:
    """Whether these tests pass in a tree. What takes too long counts as failed: the change made something run on."""
    asked = [sys.executable, "-B", "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *tests]
    environment = {**os.environ, "PYTHONPATH": str(tree)}
    environment.pop("CI", None)  # the copy has no published data beside it
    try:
        finished = subprocess.run(asked, cwd=tree, env=environment, capture_output=True, timeout=MOST_S, check=False)
    except subprocess.TimeoutExpired:
        return False
    if finished.returncode not in (0, 1, 2):
        raise RuntimeError(finished.stdout.decode(errors="replace")[-2000:])
    return finished.returncode == 0


def noticed(mutant: Mutant) -> bool:
    """Whether the mutant's tests fail in a copy of the tree that has it."""
    with tempfile.TemporaryDirectory() as folder:
        tree = copied(Path(folder))
        (tree / mutant.file).write_text(changed(mutant), encoding="utf-8")
        return not passes(tree, mutant.tests)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--only", default="", help="mutants whose name begins so")
    parser.add_argument("--jobs", type=int, default=1)
    asked = parser.parse_args()
    chosen = [this_mutant for this_mutant in mutants() if this_mutant.name.startswith(asked.only)]
    with tempfile.TemporaryDirectory() as folder:
        tree = copied(Path(folder))
        for tests in dict.fromkeys(this_mutant.tests for this_mutant in chosen):
            if not passes(tree, tests):
                print(f"these tests fail without any mutant: {' '.join(tests)}")
                return 2
    missed = []
    with ThreadPoolExecutor(asked.jobs) as pool:
        for mutant, seen in zip(chosen, pool.map(noticed, chosen), strict=True):
            print(f"{mutant.name}  {'noticed' if seen else 'NOT NOTICED'}  {mutant.file}: {mutant.why}", flush=True)
            missed += [] if seen else [mutant]
    for mutant in missed:
        print(f"nobody noticed {mutant.name}: {mutant.old!r} -> {mutant.new!r} ({mutant.why})")
    share = 1 - len(missed) / max(1, len(chosen))
    print(f"{len(chosen) - len(missed)} of {len(chosen)} noticed, {100 * share:.0f} %")
    return 0 if share >= WANTED else 1


if __name__ == "__main__":
    raise SystemExit(main())
