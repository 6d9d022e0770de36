"""coldledger: a glassworks' cold-end ledger. The Python way in: `from pipelines import open_site`."""

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
