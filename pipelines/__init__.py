"""coldledger: a glassworks' cold-end ledger."""

__version__ = "0.1.0"
