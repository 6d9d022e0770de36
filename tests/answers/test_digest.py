"""The mark of a day's answers: the same for the same figures, whatever the order in which parts were added."""

from __future__ import annotations

from pipelines.answers.day import digest


def test_last_bits_do_not_count_and_figures_do() -> None:
    row = {
        "lines": [
            {"gobs_cut": 213572.35749999693, "rate": 0.9458768135146941, "lost": 50.055907967, "items": ("B330",)}
        ]
    }
    other = {
        "lines": [{"gobs_cut": 213572.35749999678, "rate": 0.9458768135146948, "lost": 50.055907803, "items": ["B330"]}]
    }
    assert digest(row) == digest(other)
    assert digest({"n": 2}) != digest({"n": 3})
    assert digest({"rate": 0.0012345}) != digest({"rate": 0.0012346})
    assert digest({"kg": 10.001}) != digest({"kg": 10.002})
    assert digest({"kg": -0.0}) == digest({"kg": 0.0})
