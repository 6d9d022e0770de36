"""A site that an earlier version wrote answers as it did then, after every migration since."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest

from pipelines.jobs.check import check_site, places_of_blocks
from pipelines.jobs.from_archive import rebuild_from_archive
from pipelines.ledger.queries import statements
from tests.conftest import HEAD, Place
from tests.upgrade.make import HERE, LINE, answers, unpacked, versions

VERSIONS = list(versions())


def differences(then: Any, now: Any, where: str = "") -> list[str]:
    """Where `now` does not say what `then` said. What it says besides is no difference: answers may gain words."""
    if isinstance(then, dict):
        if not isinstance(now, dict):
            return [f"{where}: no longer an object"]
        return [
            difference
            for key in then
            for difference in differences(then[key], now.get(key, "(gone)"), f"{where}/{key}")
        ]
    if isinstance(then, list):
        if not isinstance(now, list) or len(then) != len(now):
            return [f"{where}: {len(then)} then, {len(now) if isinstance(now, list) else now!r} now"]
        pairs = enumerate(zip(then, now, strict=True))
        return [difference for n, (old, new) in pairs for difference in differences(old, new, f"{where}[{n}]")]
    if isinstance(then, float) and isinstance(now, int | float):
        return [] if math.isclose(then, now, rel_tol=1e-9, abs_tol=1e-12) else [f"{where}: {then!r} then, {now!r} now"]
    return [] if then == now else [f"{where}: {then!r} then, {now!r} now"]


@pytest.fixture(scope="module", params=VERSIONS)
def migrated(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Place]:
    place = unpacked(request.param, tmp_path_factory.mktemp("upgrade") / "site")
    with place.opened.ledger.writing():
        pass
    return request.param, place


def kept(version: str) -> dict[str, Any]:
    answer: dict[str, Any] = json.loads((HERE / f"{version}.answers.json").read_text(encoding="utf-8"))
    return answer


def test_a_kept_site_has_something_to_say_of_every_kind() -> None:
    """Equal answers of an empty ledger would say nothing."""
    assert VERSIONS
    for version in VERSIONS:
        fields = kept(version)
        assert (
            fields["pareto"]["rows"]
            and fields["pareto by mould"]["rows"]
            and fields["signals"]
            and fields["trace"]["cavities"]
        )
        assert {row["file"] for row in fields["refused"]} == {"reject_counts.late.csv", "weather.csv"}


def test_every_migration_since_is_made_and_every_answer_is_that_of_then(migrated: tuple[str, Place]) -> None:
    version, place = migrated
    with place.opened.ledger.writing() as con:
        done = {row[0] for row in con.execute("select name from migrations where number > 0").fetchall()}
    assert done == {name for name, _ in statements("migrations")}
    assert differences(kept(version), answers(place)) == []


@pytest.mark.parametrize("version", VERSIONS)
def test_a_site_is_checked_before_anything_is_written_into_it(version: str, tmp_path: Path) -> None:
    """The first thing that a careful person does after an upgrade: nothing is migrated yet."""
    place = unpacked(version, tmp_path / "site")
    before = (place.site.root / "ledger.duckdb").read_bytes()
    checked = check_site(place.opened, rows=True)
    assert checked.whole and [each for each in checked.findings if each.level == "fail"] == []
    assert places_of_blocks_of(place), "it is known what lies in a block"
    assert (place.site.root / "ledger.duckdb").read_bytes() == before


def places_of_blocks_of(place: Place) -> dict[int, str]:
    with place.opened.ledger.reading() as reader:
        return places_of_blocks(reader)


def test_what_was_replaced_and_closed_then_is_still_known(migrated: tuple[str, Place]) -> None:
    _, place = migrated
    with place.opened.ledger.reading() as reader:
        old = reader.replaced("pallets")
        now = reader.current("pallets").filter(pallet=old["pallet"][0])
        assert old.height == 1 and old["units"][0] - now["units"][0] == 600
        assert reader.whole("closes").num_rows == 1


def test_it_takes_files_in_and_knows_those_that_it_has(migrated: tuple[str, Place], tmp_path: Path) -> None:
    _, first = migrated
    place = first.copied(tmp_path / "site")
    before = place.facts("station_counts").height
    again = next(path for path in place.site.archive.rglob("station_counts.*") if path.is_file())
    place.put(again.name, again.read_bytes())
    place.put("station_counts.new.csv", f"{HEAD}2026-03-11T07:00:00Z,{LINE},{LINE}-side,,60,12,1\n")
    report = place.take()
    assert (report.repeated, report.rows_kept) == (1, 1) and place.facts("station_counts").height == before + 1


def test_the_same_files_taken_in_today_give_the_same_facts(migrated: tuple[str, Place], tmp_path: Path) -> None:
    _, first = migrated
    place = first.copied(tmp_path / "site")
    rebuild_from_archive(place.opened)
    for feed in ("station_counts", "reject_counts", "forming_counts", "pallets", "weight_checks", "mould_log"):
        assert place.facts(feed).equals(first.facts(feed)), feed


def test_a_changed_figure_is_a_difference_and_a_new_word_is_none() -> None:
    then = {"a": [{"b": 1.0, "c": None}]}
    assert differences(then, {"a": [{"b": 1.0, "c": None, "d": 5}], "e": 1}) == []
    for now in ({"a": [{"b": 1.001, "c": None}]}, {"a": []}, {"a": [{"b": 1.0}]}, {"a": [{"b": 1.0, "c": 0}]}):
        assert differences(then, now)
