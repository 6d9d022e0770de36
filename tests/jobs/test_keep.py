"""A site kept over years: copied, restored, checked, compacted, rolled into hours, made again from its archive. Each is
shown to find what it is there to find.
"""

from __future__ import annotations

import json
import os
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import duckdb
import polars as pl
import pytest

from pipelines.errors import ColdledgerError, LedgerBroken, WrongUse
from pipelines.intake.retry import retry_quarantine
from pipelines.jobs import from_archive
from pipelines.jobs.backup import back_up, restore_site
from pipelines.jobs.check import check_site
from pipelines.jobs.from_archive import rebuild_from_archive
from pipelines.jobs.holds import decide
from pipelines.jobs.rollup import roll_up_due
from pipelines.ledger.keeping import compact
from pipelines.ledger.marts import acknowledge
from pipelines.settings import Settings
from schemas.feeds import ALL_FEEDS
from tests.conftest import HEAD, NOW, Place

ROW = "2026-03-02T09:{:02d}:00+01:00,K1,K1-side-a,11,60,12,1\n"


@pytest.fixture
def used(place: Place) -> Place:
    """A small site with a bit of everything: rows replaced, refused, mended, a file refused whole, a hold, two
    works.toml.
    """
    place.put(
        "station_counts.K1.a.csv",
        HEAD + "".join(ROW.format(n) for n in range(30)) + ROW.format(30).replace("K1,", "K9,", 1),
    )
    place.put(
        "pallets.a.csv",
        "pallet,line,item,packed_from,packed_to,units,state\n"
        "P1,K1,J370,2026-03-02T09:00:00Z,2026-03-02T10:00:00Z,1944,packed\n",
    )
    place.take()
    place.settings = Settings(fixed_now=NOW + timedelta(hours=1), lock_wait_s=5)
    place.put("station_counts.K1.b.csv", HEAD + "".join(ROW.format(n).replace(",12,1", ",13,2") for n in range(10, 20)))
    place.put("station_counts.nonsense.csv", "a,b\n1,2\n")
    place.take()
    place.settings = Settings(fixed_now=NOW + timedelta(hours=2), lock_wait_s=5)
    mend = next(p for p in place.site.quarantine.iterdir() if p.name.endswith(".rows.csv"))
    mend.write_text(mend.read_text().replace("K9,", "K1,", 1))
    retry_quarantine(place.site, place.plant, place.settings)
    decide(place.opened, "place", None, ["P1"], "A. Nowak", "thin wall", "note 4")
    return place


def facts(place: Place) -> dict[str, pl.DataFrame]:
    return {feed: place.facts(feed) for feed in ALL_FEEDS}


def history(place: Place) -> pl.DataFrame:
    with place.opened.ledger.reading() as reader:
        return reader.replaced("station_counts").sort("batch", "file_line")


def same(frames: dict[str, pl.DataFrame], other: dict[str, pl.DataFrame]) -> bool:
    return all(frames[feed].equals(other[feed]) for feed in ALL_FEEDS)


# check


def test_a_whole_site_is_whole(used: Place) -> None:
    checked = check_site(used.opened, rows=True)
    assert checked.whole and checked.findings == []
    assert any("hashes of 5 files" in text for text in checked.looked) and any(
        "rows of 4 files" in text for text in checked.looked
    )


def damage(used: Place, statement: str) -> None:
    con = duckdb.connect(str(used.site.ledger))
    con.execute(statement)
    con.close()


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("update station_counts set rejected = 5 where batch = 1 and file_line = 3", "not in the file"),
        ("delete from station_counts where batch = 1 and file_line = 3", "29 there"),
        (
            "insert into station_counts select * from station_counts where batch = 1 and file_line = 3",
            "more than one row in force",
        ),
        ("update batches set rows_read = rows_read + 1 where batch = 1", "rows read"),
        ("delete from refused_rows where batch = 1", "refused by its count"),
        ("insert into pallets select * replace (77 as batch) from pallets", "does not name"),
    ],
)
def test_a_ledger_that_is_not_whole_is_found(used: Place, statement: str, said: str) -> None:
    damage(used, statement)
    checked = check_site(used.opened, rows=True)
    assert not checked.whole and any(said in finding.what for finding in checked.findings), checked.findings


def test_a_file_of_the_archive_that_is_gone_or_changed_is_named(used: Place) -> None:
    files = sorted(used.site.archive.glob("station_counts/*/*.csv"))
    files[0].unlink()
    files[1].write_bytes(files[1].read_bytes() + b"\n")
    stranger = used.site.archive / "pallets" / "2026-03-02" / "pallets.late.csv"
    stranger.write_text("x")
    checked = check_site(used.opened)
    levels = {(finding.level, Path(finding.where.split(",")[0]).name) for finding in checked.findings}
    assert levels == {("fail", files[0].name), ("fail", files[1].name), ("warn", stranger.name)}


# backup, restore


def test_a_copy_is_a_whole_site(used: Place, tmp_path: Path) -> None:
    backed_up = back_up(used.opened, tmp_path / "copies")
    assert backed_up.rows["station_counts"] == 41 and backed_up.new_files == backed_up.files
    restore_site(tmp_path / "copies", tmp_path / "again")
    again = Place.at(tmp_path / "again", used.settings)
    assert same(facts(again), facts(used)) and history(again).equals(history(used))
    assert check_site(again.opened, rows=True).findings == []


def test_the_next_copy_takes_only_what_is_new_and_old_copies_go(used: Place, tmp_path: Path) -> None:
    to = tmp_path / "copies"
    first = back_up(used.opened, to, keep=1)
    used.put("station_counts.K1.c.csv", HEAD + ROW.format(40))
    used.take()
    first.folder.rename(to / "ledger-20200101T000000Z")
    second = back_up(used.opened, to, keep=1)
    assert second.new_files == 2, "the new file, and the list of what was received, which grew"
    assert [p.name for p in to.glob("ledger-*")] == [second.folder.name]


def test_a_copy_that_is_damaged_is_passed_over(used: Place, tmp_path: Path) -> None:
    to = tmp_path / "copies"
    first = back_up(used.opened, to)
    first.folder.rename(to / "ledger-20200101T000000Z")
    second = back_up(used.opened, to)
    data = bytearray((second.folder / "ledger.duckdb").read_bytes())
    data[len(data) // 2] ^= 0xFF
    (second.folder / "ledger.duckdb").write_bytes(data)
    assert restore_site(to, tmp_path / "again").name == "ledger-20200101T000000Z"
    (to / "ledger-20200101T000000Z" / "works.toml").unlink()
    with pytest.raises(LedgerBroken, match="no copy"):
        restore_site(to, tmp_path / "third")


def test_nothing_is_restored_over_a_site_nor_copied_into_itself(used: Place, tmp_path: Path) -> None:
    back_up(used.opened, tmp_path / "copies")
    with pytest.raises(WrongUse, match="has a site already"):
        restore_site(tmp_path / "copies", used.site.root)
    with pytest.raises(WrongUse, match="another disk"):
        back_up(used.opened, used.site.root / "copies")


def test_a_copy_is_made_while_somebody_reads(used: Place, tmp_path: Path) -> None:
    with used.opened.ledger.reading() as reader:
        back_up(used.opened, tmp_path / "copies")
        assert reader.ask("last_batch").item() == 5


# compact


def test_a_compacted_ledger_says_the_same_and_is_no_larger(used: Place) -> None:
    before, there = facts(used), history(used)
    for n in range(6):
        damage(used, f"create table junk{n} as select range as n, hash(range) as h from range(200000)")
    for n in range(6):
        damage(used, f"drop table junk{n}")
    size, after = compact(used.opened.ledger)
    assert after < size and same(facts(used), before) and history(used).equals(there)
    assert check_site(used.opened, rows=True).findings == []
    assert used.take().files == 0
    assert not list(used.site.root.glob(".ledger*"))


# rebuild from the archive


def test_a_ledger_made_again_from_the_archive_is_the_same_in_every_version(used: Place) -> None:
    acknowledge(used.opened.ledger, "S-1", "A. Nowak", "seen", NOW)
    before, there = facts(used), history(used)
    made_again = rebuild_from_archive(used.opened)
    assert (made_again.files, made_again.unreadable) == (5, [])
    assert same(facts(used), before) and history(used).equals(there)
    assert made_again.carried_over["acknowledgements"] == 1 and made_again.carried_over["decisions about holds"] == 1
    assert made_again.before is not None and made_again.before.exists()
    assert check_site(used.opened, rows=True).findings == []
    assert [p.name for p in used.site.quarantine.iterdir()], "what is still refused is there to be mended"


def received(place: Place) -> pl.DataFrame:
    return place.ask("batches_all")


def test_files_received_at_many_times_are_committed_together_and_keep_their_times(
    place: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    for n, cell in enumerate(("1", "2", "2", "1")):
        place.settings = replace(place.settings, fixed_now=NOW + timedelta(minutes=n))
        place.put(
            f"station_counts.K1.{n}.csv",
            HEAD + "".join(ROW.format(m)[:-2] + f"{cell}\n" for m in range(9)) + ROW.format(40 + n),
        )
        place.take()
    before, there, batches = facts(place), history(place), received(place)
    assert there["replaced_at"].unique().sort().to_list() == [NOW + timedelta(minutes=n) for n in (1, 3)]
    commits = []
    real = from_archive.commit
    monkeypatch.setattr(from_archive, "commit", lambda *answer: commits.append(1) or real(*answer))
    rebuild_from_archive(place.opened)
    assert same(facts(place), before) and history(place).equals(there) and received(place).equals(batches)
    assert commits == [1]


def test_a_row_that_was_still_to_come_when_its_file_was_received_is_refused_again(place: Place) -> None:
    late = ROW.format(30).replace("2026-03-02", f"{NOW + timedelta(days=2):%Y-%m-%d}")
    place.put("station_counts.K1.a.csv", HEAD + ROW.format(1) + late)
    assert (place.take().rows_kept, len(place.refusals())) == (1, 1)
    place.settings = replace(place.settings, fixed_now=NOW + timedelta(days=20))
    place.put("station_counts.K1.b.csv", HEAD + ROW.format(2))
    place.take()
    before, refused, batches = facts(place), place.refusals(), received(place)
    rebuild_from_archive(place.opened)
    assert same(facts(place), before) and place.refusals() == refused and received(place).equals(batches)


@pytest.mark.parametrize("kind", ["zeroed", "cut", "gone"])
def test_a_corrupt_ledger_is_said_to_be_and_made_again(used: Place, kind: str) -> None:
    before = facts(used)
    data = used.site.ledger.read_bytes()
    if kind == "gone":
        used.site.ledger.unlink()
    else:
        used.site.ledger.write_bytes(b"\0" * len(data) if kind == "zeroed" else data[: len(data) // 3])
        with pytest.raises(ColdledgerError):
            used.facts("pallets")
        assert any("rebuild --from-archive" in finding.what for finding in check_site(used.opened).findings)
    rebuild_from_archive(used.opened)
    assert same(facts(used), before)
    assert len(used.ask("hold_events_all")) == 1


def test_without_the_list_of_what_was_received_the_order_is_that_of_the_files(used: Place) -> None:
    before = facts(used)
    (used.site.archive / "received.jsonl").unlink()
    order = {"station_counts.K1.a.csv": 1, "pallets.a.csv": 2, "station_counts.K1.b.csv": 3}
    for path in used.site.archive.rglob("*.csv"):
        at = NOW.timestamp() - 100 + order.get(path.name, 9)
        os.utime(path, (at, at))
    rebuild_from_archive(used.opened)
    assert used.facts("station_counts").height >= before["station_counts"].height - 1
    assert used.facts("station_counts").filter(pl.col("rejected") == 2).height == 10


def test_a_file_that_was_put_into_the_archive_is_taken_in_and_a_damaged_one_is_named(used: Place) -> None:
    files = sorted(used.site.archive.glob("station_counts/*/station_counts.K1.b*"))
    files[0].write_bytes(b"damaged")
    (used.site.archive / "station_counts" / "2026-03-02" / "station_counts.late.csv").write_text(HEAD + ROW.format(59))
    made_again = rebuild_from_archive(used.opened)
    assert len(made_again.unreadable) == 1 and "station_counts.K1.b" in made_again.unreadable[0]
    assert (
        used.facts("station_counts").filter(pl.col("window_start") == datetime(2026, 3, 2, 8, 59, tzinfo=UTC)).height
        == 1
    )


# roll up


def test_after_the_set_time_the_close_rolls_what_is_closed(used: Place) -> None:
    """`[keep]` in works.toml; a day that was never closed, and those behind it, wait."""
    used.put("station_counts.later.csv", HEAD + ROW.format(5).replace("2026-03-02", "2026-03-04"))
    used.take()
    for day in ("2026-03-02", "2026-03-03"):
        damage(
            used,
            f"insert into closes (day, revision, closed_at, last_batch, answers, digest) values ('{day}', 1, now(), "
            "1, '', '')",
        )
    used.site.works_toml.write_text(used.site.works_toml.read_text() + "\n[keep]\nminutes_days = 60\n")
    assert roll_up_due(used.opened) == [], "it is too early"
    used.settings = Settings(fixed_now=NOW + timedelta(days=100), lock_wait_s=5)
    assert [rolled.day for rolled in roll_up_due(used.opened)] == [date(2026, 3, 2), date(2026, 3, 3)]
    assert used.facts("station_counts").filter(pl.col("window_s") == 60).height == 1, (
        "the day that is not closed has its minutes"
    )
    assert roll_up_due(used.opened) == [] and check_site(used.opened, rows=True).whole


def test_the_list_of_what_was_received_grows_with_each_intake(used: Place) -> None:
    lines = (used.site.archive / "received.jsonl").read_text().splitlines()
    assert [json.loads(line)["batch"] for line in lines] == [1, 2, 3, 4, 5]
