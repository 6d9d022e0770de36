"""The list of mutants fits the code: each text to be changed stands there once, is changed, and its tests exist."""

from __future__ import annotations

import ast

import pytest

from tests.mutants.catalogue import ROOT, Mutant, changed, mutants

EVERY = mutants()


def test_there_are_enough_of_them() -> None:
    assert len(EVERY) >= 60
    assert len({(mutant.file, mutant.old, mutant.new) for mutant in EVERY}) == len(EVERY)


@pytest.mark.parametrize("mutant", EVERY, ids=[mutant.name for mutant in EVERY])
def test_a_mutant_fits_the_code(mutant: Mutant) -> None:
    text = changed(mutant)
    if mutant.file.endswith(".py"):
        ast.parse(text)
    assert mutant.file.startswith(("pipelines/measures/", "sql/", "pipelines/answers/"))
    assert mutant.why and mutant.tests and all((ROOT / test.split("::")[0]).exists() for test in mutant.tests)
