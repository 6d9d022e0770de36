"""What is not chance: found in every stream at once, placed at the hot end, dated, kept under one identity."""

from pipelines.measures.signals.counts import Column, LineCounts, line_counts
from pipelines.measures.signals.furnace import follow_lines
from pipelines.measures.signals.track import Found, Tracker

__all__ = ["Column", "Found", "LineCounts", "Tracker", "follow_lines", "line_counts"]
