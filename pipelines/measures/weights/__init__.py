"""Weights: in rounds, by mould and gob position, against limits and against their own past."""

from pipelines.measures.weights.study import PAST, GobFound, ItemStudy, MouldFound, Study, study

__all__ = ["PAST", "GobFound", "ItemStudy", "MouldFound", "Study", "study"]
