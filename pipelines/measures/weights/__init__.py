"""Weights: in rounds, by mould and gob position, against limits and against their own past.

**Weights** (`measures/weights/`): `rounds` lays weighings on a matrix of rounds x moulds; `reference` says what was
usual (48 hours of the same item before the window, else the window itself); `charts` judges moulds, raw and against
their gob position; `drift` follows gob positions by an EWMA and turns an alarm into a size, an onset and a correction
(steps, ramps that go on, ramps that ended, weighed by their marginal likelihoods). Limits follow from the run lengths
in `run_rules`, so that a budget of false signals a line and week is shared out (`FALSE_PER_WEEK`). Deviations are
winsorised, or one bad mould would look like its gob. `components` is REML on crossed effects with the largest absorbed.
`spreads` has each mould's own spread for Cp and Cpk and what the moulds lend one another for limits (a scaled inverse
chi-square, its width by marginal likelihood); `feeder` joins what was weighed of a gob position.
"""

from pipelines.measures.weights.study import PAST, GobFound, ItemStudy, MouldFound, Study, study

__all__ = ["PAST", "GobFound", "ItemStudy", "MouldFound", "Study", "study"]
