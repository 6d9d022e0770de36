"""What is held and how it is sampled.

**Holds** are decisions, added to and never changed (`hold_events`, `measures/holds/decisions.py`); the archive keeps a
copy, because no feed file brings them.

**ISO 2859-1** (`measures/holds/sampling.py`): the master tables are their diagonals and arrows; normal and tightened
numbers as in MIL-STD-105E, reduced ones as in the edition of 1999.
"""
