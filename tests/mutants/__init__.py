"""Formulas changed one at a time, to see whether the tests notice. Run by hand: `python -m tests.mutants`."""
