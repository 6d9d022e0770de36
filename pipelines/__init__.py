"""coldledger: a glassworks' cold-end ledger."""

__version__ = "0.2.0"
