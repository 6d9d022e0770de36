"""coldledger: a glassworks' cold-end ledger. The Python way in: `from pipelines import open_site`.

**What it weighs.** An installation has 135 packages and 1,022 MB (November 2026, Python 3.11, Linux). What would go
with each, in MB of files and packages that nothing else needs: polars 180 (2), pyarrow 175 (1), prefect 147 (63),
scipy 142 (1), vl-convert with altair 102 (3), numpy 71 (1), duckdb 71 (1), great-tables 48 (10, 33 of them Babel's),
pandera 5 (4), python-stdnum 4 (1), python-calamine 2 (1); argon2-cffi, filelock, prometheus-client, python-multipart,
tzdata and xlsxwriter under 2 each. fastapi, uvicorn, jinja2, typer, rich, pydantic and apprise come with Prefect
whatever we ask for. So no extra would make it light: every works' intake, pages and intervals need all but stdnum.
What only some need is an extra (`mqtt`, `dask`, `postgresql` 15 (2), `odbc` 3 (1)), and commands import what they need
when they answer: `--help` loads none of the above.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pipelines.inquiry import open_site

__version__ = "0.2.0"
__all__ = ["__version__", "open_site"]


def __getattr__(name: str) -> Any:
    if name == "open_site":  # loaded when it is asked for: commands begin faster without it
        from pipelines.inquiry import open_site

        return open_site
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
