"""The ledger: the only package that imports duckdb. pipelines.ledger.delivery takes files in."""

from pipelines.ledger.store import Ledger, Reader

__all__ = ["Ledger", "Reader"]
