"""A whole site beside a plain model of it: files come, are corrected, repeated, refused and mended; days are closed,
rolled, made again; the plant file is edited, the clock set back, jobs are killed. By hand: `python -m tests.fuzz.site
--minutes 60 [--seed 1]`.

After every step: the rows in force and the refused ones are the model's, every byte that came is in the archive or the
inbox, `check --rows` finds nothing. A find prints its seed and its steps (`--seed N --minutes 0` runs that seed alone
again) and becomes a case of tests/fuzz/test_site.py.
"""

from __future__ import annotations

import argparse
import os
import shutil
import signal
import sys
import tempfile
import time
import traceback
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, Phase, Verbosity, seed, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from pipelines.intake.filing import sha256_of
from pipelines.intake.retry import retry_quarantine
from pipelines.jobs.backup import back_up, restore_site
from pipelines.jobs.check import check_site
from pipelines.jobs.days import close_day, days_to_close, rebuild_day
from pipelines.jobs.from_archive import rebuild_from_archive
from pipelines.jobs.repair import GIVE_UP, mend_file, refused_rows, repair
from pipelines.jobs.rollup import roll_up
from pipelines.ledger.keeping import compact
from pipelines.settings import Settings
from tests.conftest import Place, one_furnace
from tests.faults.killed import run
from tests.fuzz.model import EDITS, File, Model, Receipt, Row, good_file

WORKS = one_furnace(lines=("K1",))
NOW = datetime(2026, 4, 1, 12, tzinfo=UTC)  # days of January can be rolled by then
BACK = datetime(2026, 1, 6, 12, tzinfo=UTC)  # a clock set back: two of the three days are still to come
FIRST = date(2026, 1, 5)
STEPS = {"sites": 0, "steps": 0}  # done by this process
SITES = 3  # of a seed; hypothesis makes the first one of each as plain as can be

ROWS = st.builds(
    Row,
    at=st.builds(
        lambda day, minute: datetime(2026, 1, 5 + day, 10, minute, tzinfo=UTC), st.integers(0, 2), st.integers(0, 5)
    ),
    line=st.sampled_from(["K1"] * 6 + ["K7", "K9"]),
    station=st.just(""),
    mould=st.sampled_from(["1", "2"]),
    inspected=st.sampled_from(["5", "6", "7", "8", "x"]),
    rejected=st.sampled_from(["0", "1", "2", "3", "9"]),
).flatmap(
    lambda row: st.sampled_from(["K1-side-a", "K1-foot"] if row.line != "K7" else ["K7-side"]).map(
        lambda s: Row(**{**vars(row), "station": s})
    )
)


class SiteMachine(RuleBasedStateMachine):
    """One site and its model."""

    def __init__(self) -> None:
        super().__init__()
        STEPS["sites"] += 1
        self.folder = Path(tempfile.mkdtemp(prefix="site-"))
        self.place = Place(self.folder / "site", WORKS)
        self.model, self.inbox, self.count = Model(), [], 0
        self._clock(NOW)

    def _clock(self, now: datetime) -> None:
        self.now = now
        self.place.settings = Settings(fixed_now=now, lock_wait_s=20)

    def teardown(self) -> None:
        shutil.rmtree(self.folder, ignore_errors=True)

    # files

    def _put(self, file: File) -> None:
        """Into the inbox, later than what lies there."""
        path = self.place.put(file.name, file.data)
        os.utime(path, (1_700_000_000 + self.count, 1_700_000_000 + self.count))
        self.inbox.append(file)
        self.model.ever.add(file.sha256)

    def _name(self, form: str) -> str:
        self.count += 1
        return form.format(self.count)

    @initialize(rows=st.lists(ROWS, min_size=2, max_size=5))
    def begin(self, rows: list[Row]) -> None:
        self._put(good_file(self._name("station_counts.{}.csv"), tuple(rows)))
        self.take_in()

    @rule(rows=st.lists(ROWS, min_size=1, max_size=5), odd=st.integers(0, 4))
    def a_file_comes(self, rows: list[Row], odd: int) -> None:
        name = self._name("odd-{}.csv" if odd == 0 else "station_counts.{}.csv")
        these_rows = (
            tuple(Row(**{**vars(row), "mould": str(100 + self.count)}) for row in rows) if odd == 0 else tuple(rows)
        )
        self._put(good_file(name, these_rows))

    @rule()
    def a_file_comes_that_is_none(self) -> None:
        name = self._name("station_counts.{}.csv")
        self._put(File(name, f"a,b\n1,{self.count}\n".encode(), None))

    @precondition(lambda self: self.model.log)
    @rule(data=st.data())
    def a_file_comes_again(self, data: st.DataObject) -> None:
        came = [receipt.file for receipt in self.model.log if receipt.retry_of is None and not receipt.file.odd]
        if came:
            file = data.draw(st.sampled_from(came))
            self._put(File(self._name("station_counts.again-{}.csv"), file.data, file.rows))

    @precondition(lambda self: self.inbox)
    @rule(data=st.data())
    def a_file_is_renamed(self, data: st.DataObject) -> None:
        number = data.draw(st.integers(0, len(self.inbox) - 1))
        file = self.inbox[number]
        name = self._name("odd-r{}.csv" if file.odd else "station_counts.r{}.csv")
        (self.place.site.inbox / file.name).rename(self.place.site.inbox / name)
        self.inbox[number] = File(name, file.data, file.rows)

    @rule()
    def take_in(self) -> None:
        self.place.take()
        self._taken()

    def _taken(self) -> None:
        for file in self.inbox:
            self.model.take(file, self.now)
        self.inbox = []

    # what was refused

    def _batches(self) -> dict[Receipt, int]:
        """The ledger's numbers of what is refused; both are in the order of receipt."""
        return dict(zip(self.model.refused, self.place.ask("open_refused_batches")["batch"].to_list(), strict=True))

    @precondition(lambda self: self.model.waits)
    @rule()
    def offer_the_quarantine_again(self) -> None:
        retry_quarantine(self.place.site, self.place.plant, self.place.settings)
        self.model.retry(self.now)

    @precondition(lambda self: any(isinstance(rows, list) and rows for rows in self.model.waits.values()))
    @rule(data=st.data(), drop=st.booleans())
    def a_row_is_mended(self, data: st.DataObject, drop: bool) -> None:
        receipt = data.draw(
            st.sampled_from([o for o, rows in self.model.waits.items() if isinstance(rows, list) and rows])
        )
        rows, batch = self.model.waits[receipt], self._batches()[receipt]
        assert isinstance(rows, list)
        number = data.draw(st.integers(0, len(rows) - 1))
        pair = refused_rows(self.place.opened, batch)
        assert pair is not None and pair[1].height == len(rows), (pair, rows)
        cells = {"line": "K1", "station": "K1-side-a", "inspected": "9", "rejected": "1"}
        repair(self.place.opened, batch, {int(pair[1]["refused_line"][number]): {GIVE_UP: "x"} if drop else cells})
        self.model.mend(receipt, number, None if drop else Row(**{**vars(rows[number]), **cells}))
        self.model.retry(self.now)

    @precondition(lambda self: any(isinstance(wait, File) for wait in self.model.waits.values()))
    @rule(data=st.data(), rows=st.lists(ROWS, min_size=1, max_size=3))
    def a_file_is_mended(self, data: st.DataObject, rows: list[Row]) -> None:
        receipt = data.draw(
            st.sampled_from([o for o, these_rows in self.model.waits.items() if isinstance(these_rows, File)])
        )
        file = good_file(self._name("station_counts.m{}.csv"), tuple(rows))
        mend_file(self.place.opened, self._batches()[receipt], file.name, file.data.decode())
        self.model.waits[receipt] = file
        self.model.retry(self.now)

    # what the works changes

    @precondition(lambda self: len(self.model.edits) < len(EDITS))
    @rule(data=st.data())
    def the_plant_file_is_edited(self, data: st.DataObject) -> None:
        edit = data.draw(st.sampled_from(sorted(set(EDITS) - self.model.edits)))
        self.model.edits |= {edit}
        text = WORKS + "".join(EDITS[name] for name in sorted(self.model.edits))
        self.place.site.works_toml.write_text(text, encoding="utf-8")

    @rule(hours=st.integers(1, 30), back=st.integers(0, 3))
    def the_clock_moves(self, hours: int, back: int) -> None:
        self._clock(BACK if back == 0 else max(self.now, NOW) + timedelta(hours=hours))

    # jobs

    @rule()
    def close_a_day(self) -> None:
        for day in days_to_close(self.place.opened)[:1]:
            close_day(self.place.opened, day)
            assert close_day(self.place.opened, day).changed is False
            assert rebuild_day(self.place.opened, day).same is True

    def _roll(self, before: date) -> None:
        for rolled in roll_up(self.place.opened, before):
            self._rolled(rolled.day)

    def _rolled(self, day: date) -> None:
        span = self.place.plant.clock.day(day)
        self.model.roll(span.start.astimezone(UTC), span.end.astimezone(UTC))

    @precondition(lambda self: self.now >= NOW)
    @rule(days=st.integers(1, 3))
    def roll_days(self, days: int) -> None:
        self._roll(FIRST + timedelta(days=days))

    @rule()
    def compact_it(self) -> None:
        compact(self.place.opened.ledger)

    @rule()
    def make_it_again_from_the_archive(self) -> None:
        rebuild_from_archive(self.place.opened)
        self.model.again()

    @rule()
    def copy_and_restore_it(self) -> None:
        copies, again = self.folder / "copies", self.folder / "restored"
        shutil.rmtree(again, ignore_errors=True)
        back_up(self.place.opened, copies, keep=1)
        restore_site(copies, again)
        restored = Place.at(again, self.place.settings)
        assert restored.facts("station_counts").equals(self.place.facts("station_counts"))
        assert check_site(restored.opened, rows=True).findings == []
        shutil.rmtree(copies)

    @rule(job=st.sampled_from(["intake", "retry", "from_archive", "close", "compact"]), step=st.integers(1, 1200))
    def a_job_is_killed_and_done_again(self, job: str, step: int) -> None:
        days = days_to_close(self.place.opened) if job == "close" else []
        if job == "close" and not days:
            return
        for number in (step, 0):
            code, _, said = run(job, self.place.site.root, self.now, number, days[0] if days else None)
            assert code in (0, -signal.SIGKILL) and (number or code == 0), said
        if job == "intake":
            self._taken()
        if job == "retry":
            self.model.retry(self.now)
        if job == "from_archive":
            self.model.again()

    # what must hold

    @invariant()
    def a_step_is_counted(self) -> None:
        STEPS["steps"] += 1

    @invariant()
    def the_site_is_as_the_model_says(self) -> None:
        if not self.place.site.ledger.exists():
            return
        rows = self.place.facts("station_counts").select(
            "window_start", "line", "station", "mould", "window_s", "inspected", "rejected"
        )
        there = {row[:4]: row[4:] for row in rows.iter_rows()}
        assert len(there) == rows.height and there == self.model.force, differences(there, self.model.force)
        refused = self.place.ask("open_refused_batches")["open_rows"].to_list()
        assert refused == list(self.model.refused.values()), (refused, list(self.model.refused.values()))
        waits = sorted(p.name for p in self.place.site.quarantine.iterdir() if not p.name.startswith("."))
        assert len(waits) == len(self.model.waits), (waits, self.model.waits)
        lie = [*self.place.site.archive.rglob("*.csv"), *self.place.site.inbox.iterdir()]
        assert self.model.ever <= {sha256_of(path) for path in lie}, (
            "a file that came is neither in archive/ nor in inbox/"
        )
        findings = check_site(self.place.opened, rows=True).findings
        assert findings == [], findings


def differences(there: dict[Any, Any], wanted: dict[Any, Any]) -> dict[Any, Any]:
    """What the ledger and the model say of the keys of which they say other things."""
    return {
        str(k): (there.get(k), wanted.get(k)) for k in there.keys() | wanted.keys() if there.get(k) != wanted.get(k)
    }


def look(number: int, examples: int, steps: int) -> None:
    """Sites of one seed; raises at a find, its steps with it."""
    chosen = settings(
        max_examples=examples,
        stateful_step_count=steps,
        deadline=None,
        database=None,
        phases=(Phase.generate,),
        suppress_health_check=list(HealthCheck),
        verbosity=Verbosity.normal,
        print_blob=False,
    )
    run_state_machine_as_test(seed(number)(type("Seeded", (SiteMachine,), {})), settings=chosen)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--minutes", type=float, default=60.0)
    asked.add_argument("--seed", type=int, default=int(time.time()))
    asked.add_argument("--steps", type=int, default=15)
    options = asked.parse_args()
    until, tried, finds, number = time.monotonic() + 60 * options.minutes, 0, [], options.seed
    while not tried or time.monotonic() < until:
        try:
            look(number, SITES, options.steps)
        except (Exception, BaseExceptionGroup) as error:
            finds.append(number)
            print(f"seed {number}\n{''.join(traceback.format_exception(error, limit=-4))}", flush=True)
            print("\n".join(getattr(error, "__notes__", [])), flush=True)
        tried, number = tried + 1, number + 1
        print(f"{tried} seeds, {len(finds)} finds", end="\r", file=sys.stderr, flush=True)
    print(
        f"{tried} seeds from {options.seed} on: {STEPS['sites']} sites, {STEPS['steps']} steps; finds at seeds {finds}"
    )
    sys.exit(bool(finds))


if __name__ == "__main__":
    main()
