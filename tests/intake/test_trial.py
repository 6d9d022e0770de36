"""`feeds try`: what a file would become, told before anything is kept; a mapping proposed for an unknown one."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from pipelines.errors import WrongUse
from pipelines.intake.foreign.propose import propose
from pipelines.intake.foreign.try_or_propose import trial_of
from pipelines.plant.works import read_plant
from tests.conftest import HEAD, SAMPLES, WORKS, Place

FOREIGN = SAMPLES / "foreign"
ROW = "2026-03-02T09:00:00+01:00,K1,K1-side-a,11,60,12,1\n"


def everything(root: Path) -> dict[str, bytes]:
    return {
        p.relative_to(root).as_posix(): p.read_bytes()
        for p in root.rglob("*")
        if p.is_file() and ".locks" not in p.parts
    }


def test_a_trial_says_what_is_new_what_is_known_and_what_would_be_replaced(place: Place, tmp_path: Path) -> None:
    place.put("station_counts.K1.csv", HEAD + ROW + ROW.replace("09:00", "09:01"))
    place.take()
    before = everything(place.site.root)
    file = tmp_path / "station_counts.K1.later.csv"
    file.write_text(
        HEAD
        + ROW
        + ROW.replace("09:00", "09:01").replace(",1\n", ",2\n")
        + ROW.replace("09:00", "09:02")
        + ROW.replace("K1,", "K9,", 1)
    )
    trial = trial_of(place.opened, file, None, None)
    (this_trial,) = trial.tried
    assert (
        this_trial.rows,
        this_trial.kept,
        this_trial.refused,
        this_trial.new,
        this_trial.unchanged,
        this_trial.replacing,
    ) == (4, 3, 1, 1, 1, 1)
    assert [(f.line, f.column, f.reason) for f in this_trial.faults] == [(5, "line", "unknown_line")]
    assert not trial.whole and trial.proposal is None
    assert everything(place.site.root) == before and file.exists()


def test_a_trial_needs_no_ledger(place: Place) -> None:
    assert trial_of(place.opened, FOREIGN / "waage.K1-20260302.tsv", None, None).proposal is not None
    assert not place.site.ledger.exists()


@pytest.mark.parametrize("name", ["seite_K3_20260303.txt", "waage.K1-20260302.tsv", "totals-K2.log"])
def test_the_sample_exports_fit_their_mappings(tmp_path: Path, name: str) -> None:
    place = Place(tmp_path / "site", WORKS + (FOREIGN / "mappings.toml").read_text(encoding="utf-8"))
    assert trial_of(place.opened, FOREIGN / name, None, None).whole


def test_a_proposal_that_misses_nothing_is_tried_at_once(place: Place, tmp_path: Path) -> None:
    file = tmp_path / "K1-mouth_20260302.txt"
    file.write_bytes(
        "Uhr;Form;Geprüft;Ausschuss\n02.03.2026 09:00;11;1.012;9\n22.03.2026 10:00;11;1.011;0\n".encode("cp1252")
    )
    trial = trial_of(place.opened, file, None, None)
    assert trial.proposal is not None and trial.proposal.missing == []
    (this_trial,) = trial.tried
    assert (this_trial.feed, this_trial.kept, this_trial.refused) == ("station_counts", 2, 0)
    assert this_trial.shown["inspected"].to_list() == [1012, 1011]
    assert set(this_trial.shown["line"]) == {"K1"} and set(this_trial.shown["station"]) == {"K1-mouth"}


def test_a_proposal_can_be_put_into_works_toml_as_it_is_printed(place: Place, tmp_path: Path) -> None:
    data = (FOREIGN / "waage.K1-20260302.tsv").read_bytes()
    proposal = propose(data, "waage.K1-20260302.tsv", place.plant)
    assert [m.split(" ")[0] for m in proposal.missing] == ["point"]
    mapping = tomllib.loads(proposal.toml)["mapping"][0]
    assert mapping["wide"] == [{"columns": ["Form *"], "name": "mould", "value": "weight_g"}]
    toml = proposal.toml.replace("sample = 1", 'sample = 1, point = "cold"')
    place.site.works_toml.write_text(WORKS + "\n" + toml, encoding="utf-8")
    file = tmp_path / "waage.K1-20260309.tsv"
    file.write_bytes(data)
    trial = trial_of(place.opened, file, None, None)
    assert trial.whole and trial.tried[0].kept == 5


def test_codes_that_works_toml_does_not_know_are_asked_for(place: Place) -> None:
    proposal = propose(
        (FOREIGN / "seite_K3_20260303.txt").read_bytes(), "seite_K3_20260303.txt", place.plant, "reject_counts"
    )
    assert any("17, 23, 24" in m for m in proposal.missing) and any(m.startswith("station") for m in proposal.missing)
    assert tomllib.loads(proposal.toml)["mapping"][0]["header_lines"] == 2


def test_defects_by_name_are_taken_for_their_codes() -> None:
    plant = read_plant(WORKS)
    name = plant.defects["STN"].name
    text = f"time,line,station,defect,rejected\n2026-03-02T09:00:00Z,K1,K1-side-a,{name},3\n"
    proposal = propose(text.encode(), "export.csv", plant)
    assert tomllib.loads(proposal.toml)["mapping"][0]["values"] == {"defect": {name: "STN"}}


def test_a_day_that_could_be_a_month_is_said_to_be_guessed() -> None:
    proposal = propose(
        b"time,line,station,inspected,rejected\n02/03/2026 09:00,K1,K1-foot,3,1\n", "x.csv", read_plant(WORKS)
    )
    assert any("would also read the other way" in g for g in proposal.guessed)


@pytest.mark.parametrize("data", [b"", b"\n\n", b"hello", b"\x00\x01\x02", b"\xff\xfea\x00"])
def test_what_is_no_table_is_said_to_be_none(data: bytes) -> None:
    with pytest.raises(WrongUse):
        propose(data, "x.bin", read_plant(WORKS))


def test_a_file_that_is_none_is_named(place: Place, tmp_path: Path) -> None:
    with pytest.raises(WrongUse, match="is not a file"):
        trial_of(place.opened, tmp_path / "nowhere.csv", None, None)
