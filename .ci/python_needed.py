"""What pip builds coldledger with: hatchling, after a word to a Python that is too old. pip would otherwise first name
a package that has no version for that Python.
"""

import sys

NEEDED = (3, 11)

if sys.version_info < NEEDED:
    raise SystemExit(
        "coldledger needs Python {}.{} or later, and this is Python {}.{}: make .venv anew with a newer one".format(
            *NEEDED, *sys.version_info[:2]
        )
    )

from hatchling.build import (  # noqa: E402
    build_editable,
    build_sdist,
    build_wheel,
    get_requires_for_build_editable,
    get_requires_for_build_sdist,
    get_requires_for_build_wheel,
)

__all__ = [
    "build_editable",
    "build_sdist",
    "build_wheel",
    "get_requires_for_build_editable",
    "get_requires_for_build_sdist",
    "get_requires_for_build_wheel",
]
