"""Pure functions on Polars frames. No ledger, no files, no pages.

**Time.** The ledger keeps UTC. A yield's day is the production day at the first station; each step is looked at in the
window in which the same ware passed it.

**Formulas** carry their source in the docstring of `measures/` and again beside the test.
"""
