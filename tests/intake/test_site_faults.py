"""A works.toml from which ids vanish, a folder that cannot be written, a disk that is full, a ledger that is held."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from pipelines.errors import LedgerBusy, SiteError
from pipelines.jobs.from_archive import rebuild_from_archive
from pipelines.settings import Settings
from pipelines.site.folder import open_site
from tests.conftest import HEAD, NOW, WORKS, Place

ROW = "2026-03-02T09:00:00+01:00,K1,K1-side-a,11,60,12,1\n"


def rows(count: int) -> str:
    return "".join(
        ROW.replace(",11,", f",{n},").replace("09:00", f"{9 + n // 3600:02d}:{n // 60 % 60:02d}") for n in range(count)
    )


def test_ids_that_vanish_are_named_and_their_rows_stay(place: Place) -> None:
    place.put("station_counts.K1.csv", HEAD + ROW)
    place.take()
    place.site.works_toml.write_text(WORKS.replace("K1-side-a", "K1-wall"))
    place.put("station_counts.K1.b.csv", HEAD + ROW.replace("K1-side-a", "K1-wall"))
    report = place.take()
    assert len(report.messages) == 1 and "no longer has the station K1-side-a (1 rows)" in report.messages[0]
    assert place.facts("station_counts").height == 2
    assert "K1-side-a" in open_site(place.site.root, place.settings).known.stations


def test_a_stranger_holding_the_ledger_is_named(place: Place) -> None:
    place.put("station_counts.K1.csv", HEAD + ROW)
    place.take()
    script = (
        f"import duckdb, sys; con = duckdb.connect({str(place.site.ledger)!r}); print('held', flush=True); "
        "sys.stdin.read()"
    )
    holder = subprocess.Popen([sys.executable, "-c", script], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert holder.stdout is not None and holder.stdout.readline() == "held\n"
    place.settings = Settings(fixed_now=NOW, lock_wait_s=0.3)
    place.put("station_counts.K1.b.csv", HEAD + ROW.replace(",12,", ",13,"))
    try:
        with pytest.raises(LedgerBusy, match="is held by another program"):
            place.take()
    finally:
        holder.communicate("")
    assert place.take().rows_kept == 1


def test_two_intakes_at_once_are_one_after_the_other(place: Place) -> None:
    from pipelines.intake.run import intake_lock

    place.settings = Settings(fixed_now=NOW, lock_wait_s=0.2)
    with (
        intake_lock(place.site, place.settings),
        pytest.raises(LedgerBusy, match="another intake of this site is still running"),
    ):
        place.take()


@pytest.mark.skipif(sys.platform == "win32", reason="needs Unix permissions")
def test_an_unwritable_site_is_said_in_one_sentence(tmp_path: Path) -> None:
    """Run as an account without rights; root may write anywhere, so the test steps down to another user."""
    place = Place(tmp_path / "site")
    place.put("station_counts.K1.csv", HEAD + ROW)
    for path in (tmp_path, place.site.root, place.site.inbox):
        path.chmod(0o555)
    try:
        if os.geteuid() != 0:
            with pytest.raises(SiteError, match="cannot be written to"):
                place.take()
        else:
            assert "cannot be written to" in _as_nobody(place)
    finally:
        for path in (tmp_path, place.site.root, place.site.inbox):
            path.chmod(0o755)
    assert place.take().rows_kept == 1


AS_NOBODY = """
import os, sys
from tests.conftest import Place, NOW, WORKS
from pipelines.errors import SiteError
from pipelines.intake import take_in
from pipelines.plant.works import read_plant
from pipelines.settings import Settings, Site
from pathlib import Path
os.seteuid(65534)
try:
    take_in(Site(Path(sys.argv[1])), read_plant(WORKS), Settings(fixed_now=NOW))
except SiteError as error:
    print(error)
"""


def _as_nobody(place: Place) -> str:
    root = Path(__file__).parents[2]
    done = subprocess.run(
        [sys.executable, "-c", AS_NOBODY, str(place.site.root)],
        cwd=root,
        capture_output=True,
        text=True,
        timeout=120,
    )
    return done.stdout + done.stderr


@pytest.fixture
def small_disk(tmp_path: Path):  # type: ignore[no-untyped-def]
    """A disk of 6 MB; only where this account may mount one, which .ci/run makes sure of."""
    disk = tmp_path / "disk"
    disk.mkdir()
    done = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=6m", "tmpfs", str(disk)], capture_output=True, text=True)
    if done.returncode:
        pytest.skip(f"no right to mount a small disk: {done.stderr.strip()}")
    yield disk
    subprocess.run(["umount", str(disk)], check=True)


def test_a_full_disk_loses_nothing_and_is_said(small_disk: Path) -> None:
    place = Place(small_disk / "site")
    place.put("station_counts.K1.csv", HEAD + rows(400))
    place.take()
    ballast = small_disk / "ballast"
    place.put("station_counts.K1.b.csv", HEAD + rows(9000).replace(",12,", ",13,"))
    free = shutil.disk_usage(small_disk).free
    ballast.write_bytes(b"\0" * (free - 4096))
    with pytest.raises(SiteError, match="is full"):
        place.take()
    assert (place.site.inbox / "station_counts.K1.b.csv").exists()
    ballast.unlink()
    report = place.take()
    assert (report.rows_kept, report.needs_a_person) == (9000, False)
    assert place.facts("station_counts").height >= 9000
    assert not list(place.site.inbox.iterdir())


def test_a_file_that_cannot_be_read_is_left_and_its_neighbours_are_taken(
    place: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A share that drops out in the middle: simulated where the bytes are read, since root may read every file."""
    place.put("station_counts.K1.a.csv", HEAD + ROW)
    place.put("station_counts.K1.b.csv", HEAD + ROW.replace(",11,", ",12,"))
    plain = Path.read_bytes

    def away(path: Path) -> bytes:
        if path.name.endswith(".a.csv"):
            raise OSError(5, "Input/output error")
        return plain(path)

    with monkeypatch.context() as patch:
        patch.setattr(Path, "read_bytes", away)
        report = place.take()
    assert report.rows_kept == 1
    assert report.messages == [
        "inbox/station_counts.K1.a.csv cannot be read (Input/output error) and was left there for the next run"
    ]
    assert place.take().rows_kept == 1


@pytest.mark.parametrize("away", ["gone", "a link to a disk that is not there"])
def test_a_ledger_that_is_gone_is_not_begun_anew_in_silence(place: Place, away: str) -> None:
    """A new one would count its receipts from 1 again, and the archive's order, by which it is made again, would be
    lost: an old row over its correction.
    """
    place.put("station_counts.K1.csv", HEAD + ROW)
    place.put("station_counts.K1.late.csv", HEAD + ROW.replace(",11,", ",12,"))
    place.take()
    place.site.ledger.unlink()
    if away != "gone":
        place.site.ledger.symlink_to(place.site.root / "disk" / "ledger.duckdb")
    place.put("station_counts.K1.corrected.csv", HEAD + ROW.replace(",11,", ",12,").replace(",12,1", ",13,1"))
    with pytest.raises(SiteError, match=r"is gone, though archive/ holds .* rebuild --from-archive"):
        place.take()
    assert [path.name for path in place.site.inbox.iterdir()] == ["station_counts.K1.corrected.csv"]
    place.site.ledger.unlink(missing_ok=True)
    rebuild_from_archive(place.opened)
    assert place.take().rows_kept == 1
    assert sorted(place.facts("station_counts")["inspected"]) == [12, 13]


def test_an_empty_inbox_of_a_new_site_is_no_fault(place: Place) -> None:
    report = place.take()
    assert (report.files, report.needs_a_person) == (0, False)
