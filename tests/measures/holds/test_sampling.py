"""ISO 2859-1 single sampling: rows of its tables, arrows, curves, and when to change the inspection."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.measures.holds.sampling import (
    _NUMBERS,
    AQLS,
    LETTERS,
    NORMAL,
    REDUCED,
    REDUCED_SIZES,
    SIZES,
    TIGHTENED,
    acceptance,
    code_letter,
    inspection_after,
    plan,
    quality_at,
)

LOT = dict(
    zip(
        "ABCDEFGHJKLMNPQ",
        (8, 15, 25, 50, 90, 150, 280, 500, 1200, 3200, 10_000, 35_000, 150_000, 500_000, 10**7),
        strict=True,
    )
)


@pytest.mark.parametrize(
    ("lot", "level", "letter"),
    [
        (2, "II", "A"),
        (8, "II", "A"),
        (9, "II", "B"),
        (3201, "II", "L"),
        (10_000, "II", "L"),
        (10_001, "II", "M"),
        (500_001, "III", "R"),
        (1200, "S-1", "C"),
        (1201, "I", "H"),
        (35_000, "S-4", "H"),
    ],
)
def test_code_letters(lot: int, level: str, letter: str) -> None:
    """MIL-STD-105E (1989), table I, in the public domain; ISO 2859-1 table 1 is the same."""
    assert code_letter(lot, level) == letter


# MIL-STD-105E (1989), table II-A, level II: letter, AQL, sample, Ac. The row of lots of 3 201 to 10 000 also stands in
# many handbooks.
NORMAL_ROWS = [
    ("L", 0.65, 200, 3),
    ("L", 1.0, 200, 5),
    ("L", 2.5, 200, 10),
    ("H", 1.0, 50, 1),
    ("J", 1.5, 80, 3),
    ("K", 0.65, 125, 2),
    ("G", 0.65, 20, 0),
    ("H", 0.65, 80, 1),
    ("C", 10.0, 5, 1),
    ("D", 10.0, 8, 2),
    ("A", 10.0, 5, 1),
    ("B", 10.0, 5, 1),
    ("A", 6.5, 2, 0),
    ("B", 6.5, 2, 0),
    ("C", 6.5, 8, 1),
    ("P", 0.65, 800, 10),
    ("Q", 1.0, 1250, 21),
    ("Q", 0.015, 800, 0),
    ("A", 0.065, 200, 0),
]
# The same, table II-B: tightened inspection; two arrows down stand between the plans with Ac 0 and Ac 1.
TIGHTENED_ROWS = [
    ("F", 1.0, 20, 0),
    ("G", 1.0, 80, 1),
    ("H", 1.0, 80, 1),
    ("J", 1.0, 80, 1),
    ("K", 1.0, 125, 2),
    ("L", 1.0, 200, 3),
    ("M", 1.0, 315, 5),
    ("N", 1.0, 500, 8),
    ("P", 1.0, 800, 12),
    ("Q", 1.0, 1250, 18),
    ("Q", 0.025, 3150, 1),
    ("H", 0.40, 50, 0),
    ("A", 0.10, 200, 0),
]
# ISO 2859-1:1999, table 2-C, reduced inspection. L and M at 0.65 (2 and 3) as a public page on GB/T 2828.1, which is
# the same standard, prints them; the others from memory.
REDUCED_ROWS = [
    ("L", 0.65, 80, 2),
    ("M", 0.65, 125, 3),
    ("H", 1.0, 20, 1),
    ("J", 1.0, 32, 1),
    ("K", 1.0, 50, 2),
    ("L", 1.0, 80, 3),
    ("M", 1.0, 125, 5),
    ("N", 1.0, 200, 6),
]


@pytest.mark.parametrize(
    ("kind", "letter", "aql", "n", "ac"),
    [
        (kind, *row)
        for kind, rows in ((NORMAL, NORMAL_ROWS), (TIGHTENED, TIGHTENED_ROWS), (REDUCED, REDUCED_ROWS))
        for row in rows
    ],
)
def test_rows_of_the_master_tables(kind: str, letter: str, aql: float, n: int, ac: int) -> None:
    this_plan = plan(LOT[letter], aql, "II", kind)
    assert (this_plan.letter, this_plan.ac, this_plan.re) == (letter, ac, ac + 1)
    assert this_plan.n == min(n, LOT[letter]) and this_plan.whole_lot == (n >= LOT[letter])


# MIL-STD-105E (1989), in the public domain, tables I and II-A, level II: for each letter, sample size and acceptance
# number at these AQLs.
MASTER_AQLS = (0.065, 0.1, 0.15, 0.25, 0.4, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5)
MASTER = {
    "A": "200/0 125/0 80/0 50/0 32/0 20/0 13/0 8/0 5/0 3/0 2/0",
    "B": "200/0 125/0 80/0 50/0 32/0 20/0 13/0 8/0 5/0 3/0 2/0",
    "C": "200/0 125/0 80/0 50/0 32/0 20/0 13/0 8/0 5/0 3/0 8/1",
    "D": "200/0 125/0 80/0 50/0 32/0 20/0 13/0 8/0 5/0 13/1 8/1",
    "E": "200/0 125/0 80/0 50/0 32/0 20/0 13/0 8/0 20/1 13/1 13/2",
    "F": "200/0 125/0 80/0 50/0 32/0 20/0 13/0 32/1 20/1 20/2 20/3",
    "G": "200/0 125/0 80/0 50/0 32/0 20/0 50/1 32/1 32/2 32/3 32/5",
    "H": "200/0 125/0 80/0 50/0 32/0 80/1 50/1 50/2 50/3 50/5 50/7",
    "J": "200/0 125/0 80/0 50/0 125/1 80/1 80/2 80/3 80/5 80/7 80/10",
    "K": "200/0 125/0 80/0 200/1 125/1 125/2 125/3 125/5 125/7 125/10 125/14",
    "L": "200/0 125/0 315/1 200/1 200/2 200/3 200/5 200/7 200/10 200/14 200/21",
    "M": "200/0 500/1 315/1 315/2 315/3 315/5 315/7 315/10 315/14 315/21 200/21",
    "N": "800/1 500/1 500/2 500/3 500/5 500/7 500/10 500/14 500/21 315/21 200/21",
    "P": "800/1 800/2 800/3 800/5 800/7 800/10 800/14 800/21 500/21 315/21 200/21",
    "Q": "1250/2 1250/3 1250/5 1250/7 1250/10 1250/14 1250/21 800/21 500/21 315/21 200/21",
}


@pytest.mark.parametrize("letter", list(MASTER))
def test_every_row_of_normal_inspection_level_two(letter: str) -> None:
    """All lots, AQL 0.065 to 6.5, with the largest lot of each letter."""
    for aql, row in zip(MASTER_AQLS, MASTER[letter].split(), strict=True):
        n, ac = (int(part) for part in row.split("/"))
        this_plan = plan(LOT[letter], aql)
        assert (this_plan.letter, this_plan.ac, this_plan.re, this_plan.n) == (letter, ac, ac + 1, min(n, LOT[letter]))
        assert this_plan.whole_lot == (n >= LOT[letter])


@pytest.mark.parametrize(
    ("n", "ac", "share", "accepted"),
    [
        (80, 2, 0.01, 0.953447),
        (125, 3, 0.025, 0.618906),
        (200, 5, 0.04, 0.18565),
        (50, 1, 0.1, 0.033786),
        (200, 0, 0.001, 0.818649),
    ],
)
def test_points_of_the_operating_characteristic(n: int, ac: int, share: float, accepted: float) -> None:
    """Binomial, NIST/SEMATECH e-Handbook 6.2.3.2; computed with SciPy's binomial distribution."""
    assert acceptance(n, ac, [share])[0] == pytest.approx(accepted, abs=1e-6)


def test_qualities_accepted_in_95_50_and_10_percent() -> None:
    """n 80, Ac 2: 1.0298, 3.3285 and 6.516 % (binomial, SciPy). ISO 2859-1's table for letter J, AQL 1.0, prints 1.03
    and 6.52 (from memory).
    """
    values = [100 * quality_at(80, 2, accepted) for accepted in (0.95, 0.5, 0.1)]
    assert values == pytest.approx([1.0298, 3.3285, 6.516], abs=1e-4)


# Chance of acceptance [millionths] of plans n/Ac at these shares nonconforming, and shares [percent] accepted in 95, 50
# and 10 %: binomial, by SciPy.
SHARES = (0.001, 0.0025, 0.005, 0.01, 0.015, 0.025, 0.04, 0.065, 0.1)
CURVES = {
    (80, 2): ((999922, 998888, 992288, 953447, 880808, 676691, 374788, 100937, 10684), (1.0298, 3.3285, 6.516)),
    (125, 3): ((999991, 999703, 996252, 962551, 880386, 618906, 259304, 34569, 1042), (1.1003, 2.9298, 5.2663)),
    (200, 5): ((1000000, 999987, 999436, 983977, 917608, 615970, 185650, 8981, 39), (1.3144, 2.8303, 4.5879)),
    (50, 1): ((998814, 992930, 973868, 910565, 827322, 643511, 400481, 155405, 33786), (0.7154, 3.334, 7.5581)),
    (20, 3): ((1000000, 1000000, 999997, 999957, 999798, 998627, 992587, 962609, 867047), (7.1354, 18.055, 30.4187)),
    (200, 0): ((818649, 606151, 366958, 133980, 48668, 6323, 285, 1, 0), (0.0256, 0.346, 1.1447)),
}


@pytest.mark.parametrize(("n", "ac"), list(CURVES))
def test_the_operating_characteristic_of_whole_plans(n: int, ac: int) -> None:
    chances, percents = CURVES[n, ac]
    assert 1e6 * acceptance(n, ac, SHARES) == pytest.approx(chances, abs=0.51)
    assert [100 * quality_at(n, ac, accepted) for accepted in (0.95, 0.5, 0.1)] == pytest.approx(percents, abs=1e-4)


@given(
    st.integers(2, 10**6),
    st.sampled_from(AQLS[:16]),
    st.sampled_from([NORMAL, TIGHTENED, REDUCED]),
    st.sampled_from(["S-1", "S-4", "I", "II", "III"]),
)
def test_every_lot_and_aql_has_a_plan(lot: int, aql: float, kind: str, level: str) -> None:
    this_plan = plan(lot, aql, level, kind)
    assert 1 <= this_plan.n <= lot and this_plan.ac < this_plan.re and this_plan.letter in LETTERS
    accepted = [a for _, a in this_plan.curve]
    assert accepted[0] == pytest.approx(1) and accepted == sorted(accepted, reverse=True)


@given(st.integers(100, 10**6), st.sampled_from(AQLS[6:14]))
def test_tightened_accepts_less_than_normal_at_the_aql(lot: int, aql: float) -> None:
    normal, tightened = plan(lot, aql), plan(lot, aql, inspection=TIGHTENED)
    at = [3 * aql / 100]
    assert acceptance(tightened.n, tightened.ac, at)[0] <= acceptance(normal.n, normal.ac, at)[0] + 1e-9


@pytest.mark.parametrize(
    ("lots", "steady", "expected"),
    [
        ("", False, NORMAL),
        ("+-++++-", False, NORMAL),
        ("+-++-", False, TIGHTENED),
        ("--", False, TIGHTENED),
        ("--+++++", False, NORMAL),
        ("--++++-+++++", False, NORMAL),
        ("--+-+-+-+--", False, "stopped"),
        ("+" * 10, True, REDUCED),
        ("+" * 10, False, NORMAL),
        ("+" * 10 + "-", True, NORMAL),
        ("+" * 9, True, NORMAL),
    ],
)
def test_switching_rules(lots: str, steady: bool, expected: str) -> None:
    """ISO 2859-1:1999, 9.3.1 to 9.3.4 and 9.4, from memory: two of five or fewer; five in a row; a score of 30 (3 a lot
    one AQL step tighter); five refused.
    """
    accepted = [mark == "+" for mark in lots]
    assert inspection_after(accepted, accepted, steady) == expected


def test_small_acceptance_numbers_score_two_a_lot() -> None:
    assert inspection_after([True] * 14, None, True, ac=1) == NORMAL
    assert inspection_after([True] * 15, None, True, ac=1) == REDUCED


def test_refused_questions_say_why() -> None:
    with pytest.raises(ValueError, match="look at all of it"):
        code_letter(1)
    with pytest.raises(ValueError, match=r"AQL 0\.7 is no step"):
        plan(1000, 0.7)


@pytest.mark.parametrize("kind", [NORMAL, TIGHTENED, REDUCED])
@pytest.mark.parametrize("letter", list(LOT))
@pytest.mark.parametrize("aql", AQLS[:16])
def test_every_arrow_ends_on_a_plan_of_the_same_column(kind: str, letter: str, aql: float) -> None:
    """The tables' structure (MIL-STD-105E, II-A to II-C): acceptance numbers are alike along the diagonals of letter
    and AQL, so the plan that an arrow leads to must be one that its own letter has in that column, and no letter next
    to it on the way may have one.
    """
    column, sizes = AQLS.index(aql), REDUCED_SIZES if kind == REDUCED else SIZES
    this_plan = plan(LOT[letter], aql, "II", kind)
    rows = [row for row in range(len(sizes)) if row + column in _NUMBERS[kind]]
    asked = LETTERS.index(letter)
    assert this_plan.ac in {_NUMBERS[kind][row + column] for row in rows}
    if asked in rows:
        assert this_plan.ac == _NUMBERS[kind][asked + column] and this_plan.n == min(sizes[asked], LOT[letter])
    else:
        down, up = [row for row in rows if row > asked], [row for row in rows if row < asked]
        ends = {min(down)} if down else set()
        ends |= {max(up), min(rows)} if up else set()
        assert (this_plan.ac, this_plan.n) in {
            (_NUMBERS[kind][row + column], min(sizes[row], LOT[letter])) for row in ends
        }
