"""Published data that may be read beside the project and may not be copied into it."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

FOLDER = Path(__file__).parents[3] / "shared" / "published"


def beside(name: str) -> Path | None:
    """A file of the published data beside the project; None where it is not there, which fails the test where `CI` is
    set.

    Without it a test asks the same of made data, so that it never passes by doing nothing.
    """
    path = FOLDER / name
    if path.exists():
        return path
    if os.environ.get("CI"):
        pytest.fail(f"CI is set and {name} does not lie in {FOLDER}: put the published data there")
    return None
