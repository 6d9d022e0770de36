"""The ledger: the only package that imports duckdb."""

from pipelines.ledger.delivery import Delivery, FileEntry, commit, plan_versions
from pipelines.ledger.store import Ledger, Reader

__all__ = ["Delivery", "FileEntry", "Ledger", "Reader", "commit", "plan_versions"]
