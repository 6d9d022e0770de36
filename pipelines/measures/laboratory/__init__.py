"""Capacity, density, annealing, samples and the discipline of checks.

**The laboratory** (`measures/laboratory/`): `water`, `measuring`, `inferred` (random effects of the moulds' volumes,
the two scales' difference), `density` (one change-point after another), `checks`. `temper_checks` takes one column more
than the contract, an optional `lane`: without it no answer per lane is possible; files without it read as before.

**Sentences** about weights and the laboratory stand once, in `measures/laboratory/tell.py`, for terminal and pages.
"""
