"""Proposals for unknown exports are right or say nothing. The exports of held_out/ were made before the proposer was
taught their languages.
"""

from __future__ import annotations

import tomllib
from datetime import datetime

import pytest

from pipelines.errors import WrongUse
from pipelines.intake.foreign.propose import Proposal, propose
from pipelines.plant.works import Plant
from tests.conftest import SAMPLES, Place
from tests.intake import books

FOREIGN = SAMPLES / "foreign"
FEEDS: dict[str, str] = tomllib.loads((FOREIGN / "expected.toml").read_text(encoding="utf-8"))["feeds"]


def proposed(name: str, plant: Plant) -> tuple[str, Proposal | None]:
    """The feed of the proposal; none where it says that it cannot tell."""
    path = FOREIGN / name
    try:
        proposal = propose(path.read_bytes(), path.name, plant)
    except WrongUse:
        return "", None
    return str(tomllib.loads(proposal.toml)["mapping"][0]["feed"]), proposal


@pytest.mark.parametrize("folder", ["exports", "held_out"])
def test_nine_of_ten_are_right_or_said_to_be_unknown_and_none_is_wrong_with_nothing_missing(
    folder: str, plant: Plant
) -> None:
    names = [name for name in FEEDS if name.startswith(folder)]
    answers = {name: proposed(name, plant) for name in names}
    honest = [name for name, (feed, _) in answers.items() if feed in ("", FEEDS[name])]
    right = [name for name, (feed, _) in answers.items() if feed == FEEDS[name]]
    assert len(honest) >= 0.9 * len(names) and len(right) >= 0.75 * len(names)
    wrong = [name for name, (feed, proposal) in answers.items() if feed not in ("", FEEDS[name])]
    assert not [name for name in wrong if (found := answers[name][1]) is not None and not found.missing]


def test_every_export_that_lies_there_has_its_answer() -> None:
    there = {
        path.relative_to(FOREIGN).as_posix()
        for folder in ("exports", "held_out")
        for path in (FOREIGN / folder).iterdir()
    }
    assert there == {*FEEDS} and len(there) >= 40


def test_totals_and_notes_are_left_out_before_times_are_judged(plant: Plant) -> None:
    name = "exports/K1-foot_20260302.txt"
    mapping = tomllib.loads(propose((FOREIGN / name).read_bytes(), "K1-foot_20260302.txt", plant).toml)["mapping"][0]
    assert mapping["time_format"] == "%d.%m.%Y %H:%M"
    assert set(mapping["leave_lines"]) == {"Summe*", "Bemerkung*"}


def test_a_workbook_that_nothing_names_is_proposed_by_its_sheet(place: Place) -> None:
    from pipelines.intake.foreign.try_or_propose import trial_of

    rows = [["Waage"], ["Zeit", "Linie", "Form", "Gewicht g"], [datetime(2026, 3, 2, 9), "K1", 11, 339.8]]
    rows.append([datetime(2026, 3, 2, 10), "K1", 12, 340])
    file = place.site.root / "waage_20260302.xlsx"
    file.write_bytes(books.xlsx({"Notizen": [["x"]], "Werte": rows}))
    trial = trial_of(place.opened, file, None, None)
    assert trial.proposal is not None
    mapping = tomllib.loads(trial.proposal.toml)["mapping"][0]
    assert (mapping["feed"], mapping["sheet"], mapping["skip_lines"]) == ("weight_checks", "Werte", 1)


def test_a_workbook_without_headings_or_without_a_table_says_so(plant: Plant) -> None:
    for rows in ([[1, 2, 3], [4, 5, 6]], [["x"]], []):
        with pytest.raises(WrongUse, match=r"cannot tell|no table was found"):
            propose(books.xlsx({"A": rows}), "x.xlsx", plant)


def test_a_database_is_never_proposed_as_text(place: Place) -> None:
    from pipelines.intake.foreign.try_or_propose import trial_of

    file = place.site.root / "store.db"
    file.write_bytes(b"SQLite format 3\0" + b"a,b,c\n" * 40)
    trial = trial_of(place.opened, file, None, None)
    assert trial.proposal is None and trial.tried[0].faults[0].reason == "other_kind"
    with pytest.raises(WrongUse, match="an SQLite database"):
        trial_of(place.opened, file, None, "pallets")


def test_what_says_too_little_is_said_to_be_unknown_and_asked_about(plant: Plant) -> None:
    with pytest.raises(WrongUse, match="cannot tell what the file is"):
        propose((FOREIGN / "totals-K2.log").read_bytes(), "totals-K2.log", plant)
    named = propose((FOREIGN / "totals-K2.log").read_bytes(), "totals-K2.log", plant, "counter_reads")
    assert named.missing
