"""Pure functions on Polars frames. No ledger, no files, no pages."""
