"""Weights: in rounds, by mould and gob position, against limits and against their own past."""

from pipelines.measures.weights.by_item import ItemWeights, item_weights_of
from pipelines.measures.weights.study import PAST, GobFound, MouldFound, Study, study

__all__ = ["PAST", "GobFound", "ItemWeights", "MouldFound", "Study", "item_weights_of", "study"]
