"""The day report."""
