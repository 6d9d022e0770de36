"""Run under LD_PRELOAD of cut.c: does a job of a small site once, uncut; then once for each call that changes the site,
cut off there; and after each whether the same job, done again, leaves the site as if nothing had happened.

`python -m tests.faults.cutter JOB FOLDER LIBRARY ERRNO,ERRNO STEP`: prints a JSON object by errno; STEP 1 cuts at every
call, 7 at every seventh, -9 at nine of them.
"""

from __future__ import annotations

import ctypes
import json
import os
import shutil
import signal
import sys
import traceback
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

from pipelines.errors import ColdledgerError
from pipelines.intake.retry import retry_quarantine
from pipelines.jobs.backup import back_up, restore_site
from pipelines.jobs.check import check_site
from pipelines.jobs.from_archive import rebuild_from_archive
from pipelines.jobs.holds import decide
from pipelines.ledger.keeping import compact, roll_day
from pipelines.settings import Settings
from schemas.feeds import ALL_FEEDS
from tests.conftest import HEAD, NOW, Place

ROW = "2026-03-02T09:{:02d}:00+01:00,K1,K1-side-a,11,60,12,1\n"


def at(root: Path, hours: int = 0) -> Place:
    return Place.at(root, Settings(fixed_now=NOW + timedelta(hours=hours), lock_wait_s=2))


def small_site(root: Path) -> None:
    """Rows, refused rows, a file refused whole, files that wait."""
    place = Place(root)
    place.put(
        "station_counts.K1.a.csv",
        HEAD + "".join(ROW.format(n) for n in range(20)) + ROW.format(30).replace("K1,", "K9,", 1),
    )
    place.put(
        "pallets.a.csv",
        "pallet,line,item,packed_from,packed_to,units,state\n"
        "P1,K1,J370,2026-03-02T09:00:00Z,2026-03-02T10:00:00Z,1944,packed\n",
    )
    place.take()
    decide(place.opened, "place", None, ["P1"], "A. Nowak", "thin wall", "note 4")
    place.put("station_counts.K1.b.csv", HEAD + "".join(ROW.format(n).replace(",12,1", ",13,2") for n in range(5, 25)))
    place.put(
        "reject_counts.K1.b.csv",
        "window_start,line,station,mould,defect,rejected\n2026-03-02T09:00:00+01:00,K1,K1-side-a,11,BSW,1\n"
        "x,K1,K1-side-a,11,BSW,1\n",
    )
    place.put("nonsense.csv", "a\n")


def mended(root: Path) -> None:
    place = at(root)
    place.take()
    path = next(p for p in place.site.quarantine.iterdir() if "station_counts" in p.name)
    path.write_text(path.read_text().replace("K9,", "K1,", 1))


def intake(place: Place) -> None:
    place.take()


def retry(place: Place) -> None:
    retry_quarantine(place.site, place.plant, place.settings)


def roll(place: Place) -> None:
    day = place.plant.clock.day_of(NOW).replace(month=3, day=2)
    with place.opened.ledger.reading() as reader:
        done = reader.ask("rolled_until").item()
    span = place.plant.clock.day(day)
    if done is None:
        roll_day(place.opened.ledger, day, span.start, span.end, NOW)


def smaller(place: Place) -> None:
    compact(place.opened.ledger)


def again(place: Place) -> None:
    rebuild_from_archive(place.opened)


def copied(place: Place) -> None:
    back_up(place.opened, place.site.root.parent / f"{place.site.root.name}-copies")


JOBS: dict[str, tuple[Callable[[Path], None] | None, Callable[[Place], None]]] = {
    "intake": (None, intake),
    "retry": (mended, retry),
    "roll": (mended, roll),
    "compact": (mended, smaller),
    "from_archive": (mended, again),
    "backup": (mended, copied),
}


def told(place: Place) -> dict[str, Any]:
    """All that a site says: its rows in force, its history, what waits, what is whole."""
    with place.opened.ledger.reading() as reader:
        rows = {feed: sorted(map(str, reader.current(feed).drop("batch").rows())) for feed in ALL_FEEDS}
        rows["replaced"] = sorted(map(str, reader.replaced("station_counts").drop("batch", "replaced_by").rows()))
        rows["holds"] = sorted(map(str, reader.ask("hold_events_all").rows()))
    rows["inbox"] = sorted(p.name for p in place.site.inbox.iterdir())
    rows["archive"] = sorted({p.name for p in place.site.archive.rglob("*.*") if p.parent != place.site.archive})
    rows["quarantine"] = sorted(p.name.split(".", 1)[1] for p in place.site.quarantine.iterdir())
    rows["findings"] = sorted({finding.what for finding in check_site(place.opened, rows=True).findings})
    return rows


def child(work: Callable[[], None]) -> tuple[int, str]:
    """Do something in a process of its own; its end (a signal negative) and what it said of an error."""
    read, write = os.pipe()
    number = os.fork()
    if number == 0:
        said = ""
        code = 0
        try:
            work()
        except ColdledgerError as error:
            said, code = f"{type(error).__name__}: {error}", 3
        except BaseException:
            said, code = traceback.format_exc(), 4
        os.write(write, said.encode()[:60_000])
        os._exit(code)
    os.close(write)
    with os.fdopen(read) as pipe:
        said = pipe.read()
    _, status = os.waitpid(number, 0)
    return os.waitstatus_to_exitcode(status), said


def main() -> None:
    job, folder, library, step = sys.argv[1], Path(sys.argv[2]), ctypes.CDLL(sys.argv[3]), int(sys.argv[5])
    before, work = JOBS[job]
    template = folder / "template"
    assert child(lambda: small_site(template)) == (0, "")
    if before is not None:
        prepare = before
        assert child(lambda: prepare(template)) == (0, "")
    wanted, calls = whole(folder, template, work, library)
    step = step if step > 0 else max(1, calls // -step)
    row = {}
    for error in map(int, sys.argv[4].split(",")):
        tried = range(1 + step // 2, calls + 1, step)
        found = {number: cut(folder, template, work, library, error, number, wanted) for number in tried}
        faults = [{"call": number, **fault} for number, fault in found.items() if fault]
        row[error] = {"calls": calls, "cut": len(tried), "faults": faults}
    print(json.dumps(row))


def whole(folder: Path, template: Path, work: Callable[[Place], None], library: Any) -> tuple[dict[str, Any], int]:
    """What the site says after the job, done without a fault, and how many calls changed it."""
    root, note = folder / "whole", folder / "calls"

    def do() -> None:
        library.cut_set(str(root).encode(), ctypes.c_long(1 << 40), 0)
        work(at(root, 1))
        calls = library.cut_count()
        library.cut_set(b"", ctypes.c_long(-1), 0)
        note.write_text(str(calls))

    shutil.copytree(template, root, copy_function=shutil.copy2)
    code, said = child(do)
    assert code == 0, said
    return seen(root), int(note.read_text())


def seen(root: Path) -> dict[str, Any]:
    path = root.with_name(f"{root.name}.seen")
    code, said = child(lambda: path.write_text(json.dumps(told(at(root)))) and None)
    assert code == 0, said
    return json.loads(path.read_text())


def cut(
    folder: Path,
    template: Path,
    work: Callable[[Place], None],
    library: Any,
    error: int,
    number: int,
    wanted: dict[str, Any],
) -> dict[str, Any]:
    """One cut and what came after it; empty where all is well."""
    root = folder / "cut"
    for left in (root, folder / "cut-copies"):
        shutil.rmtree(left, ignore_errors=True)
    shutil.copytree(template, root, copy_function=shutil.copy2)

    def do() -> None:
        library.cut_set(str(root).encode(), ctypes.c_long(number), error)
        try:
            work(at(root, 1))
        finally:
            library.cut_set(b"", ctypes.c_long(-1), 0)

    code, said = child(do)
    if error and (code == 4 or (code == 3 and "\n" in said.strip())):
        return {"what": "no clear sentence", "said": said}
    if not error and code not in (-signal.SIGKILL, 0):
        return {"what": "ended otherwise", "said": said}
    code, said = child(lambda: work(at(root, 1)))
    if code != 0:
        return {"what": "the job done again failed", "said": said}
    after = seen(root)
    wrong = [name for name in wanted if after[name] != wanted[name]]
    if wrong:
        return {
            "what": "the site says something else",
            "said": {name: [after[name][:3], wanted[name][:3]] for name in wrong},
        }
    copies = folder / "cut-copies"
    if copies.exists():
        shutil.rmtree(folder / "restored", ignore_errors=True)
        code, said = child(lambda: restore_site(copies, folder / "restored") and None)
        if code or seen(folder / "restored")["station_counts"] != wanted["station_counts"]:
            return {"what": "the copy is not whole", "said": said}
    return {}


if __name__ == "__main__":
    main()
