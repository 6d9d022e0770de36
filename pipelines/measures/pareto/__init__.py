"""What was thrown away, where: ranked, by cavity, by hour.

**Cells** (`signals/cells.py`, `measures/pareto/explained_calls.py`, `cavities.py`): what each mould should bring of
each defect is kept in `expected_cells` by blocks of four hours, moulds of which less than 0.02 calls an hour are
expected pooled by defect; a window gets its part of a block as its hours expect. The map of cavities judges every cell
against its past and what signals explain, all at once under one false-discovery rate; a signal's factor is that of its
place in the window itself, so that no cavity inside it is named for it. `python -m tests.benchmarks.cavities` prints
how often that holds.

**What a call says, and what is new ware** (`measures/pareto/kinds_of_call.py`, `measures/yields/refed.py`). Only faults
(`[[defect]] kind`) are defects: calls of another kind are split off where calls meet a measure (`kinds.faults`), stand
apart in Paretos (`apart`), are losses of their own name in the yield, and leave everything else; `sees` does not bind
them. Queries give `inspected` without what `refed` says went through before (`sql/core/new_ware.sql`); what passed a
station stays inspected less rejected of all ware. In the balance a station's rejects are those not put on again, so
that each step closes for new ware alone. A container called for a fault and for none counts as none.
"""
