"""The clerk: wakes the flows when they are due, one at a time, and sends notices. What a flow does depends on what it
finds, so that missed, late and doubled wake-ups do no harm.
"""

from __future__ import annotations

import json
import logging
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from pipelines.answers.day_complete import missing_of_day
from pipelines.answers.now import answer_now
from pipelines.clock import parse_timestamp, utc_text
from pipelines.errors import ColdledgerError
from pipelines.jobs.days import days_to_close
from pipelines.jobs.due import PastRuns, close_due, intake_due
from pipelines.jobs.notices import Notice, failed_run, notices_of
from pipelines.people.books import KEEP_RUNS, Books
from pipelines.plant.works import Plant
from pipelines.serve.notify import addresses, send
from pipelines.settings import Settings
from pipelines.site.folder import OpenSite, open_site
from pipelines.site.locks import running_flows

log = logging.getLogger("coldledger.clerk")
SETTLED_S, LONGEST_WAIT_S = 2.0, 30.0  # files that still come are waited for, but not for ever
LOOK_AGAIN = timedelta(minutes=10)
NOTICE_EVERY = timedelta(minutes=1)
RUN_LIMIT_S = 6 * 3600.0


class Clerk:
    """The scheduler of one site. tick() does what is due now and returns."""

    def __init__(
        self,
        root: Path,
        settings: Settings,
        run: Callable[[str, list[str]], dict[str, Any]] | None = None,
    ):
        self.root, self.settings = root, settings
        self.opened: OpenSite = open_site(root, settings)
        self.books = Books(self.opened.site.serve)
        self.past = PastRuns({}, {})
        self.unclosed: list[date] = []
        self.missing: dict[date, list[str]] = {}
        self.looked: datetime | None = None
        self.noticed: datetime | None = None
        self.stopping = threading.Event()
        self._child: subprocess.Popen[str] | None = None
        self._run_child = run or self._in_process
        self._remember()

    def _remember(self) -> None:
        """After a stop: when a close began last; an intake is due at once, whatever came meanwhile."""
        rows = self.books.ask("last_runs", state="done", or_state="needs a person")
        for row in rows:
            if row["flow"] == "close":
                self.past.begun["close"] = parse_timestamp(row["begun_at"])

    def start(self) -> None:
        """Before the first run: what a stop left unfinished is said to have been cut off."""
        if not running_flows(self.opened.site):
            self.books.tell("crash_runs")

    def tick(self) -> bool:
        """Do the one thing that is due most; whether something was."""
        with suppress(ColdledgerError):
            self.opened = open_site(self.root, self.settings)
        plant, now = self.opened.plant, self.settings.now()
        why = intake_due(plant, self.past, now, self._files_wait())
        if why:
            self._run("intake", why)
            self.looked = None
            return True
        if self._asked():
            return True
        self._look(plant, now)
        why = close_due(plant, self.past, now, self.unclosed, self.missing)
        if why:
            self._run("close", why)
            self.looked = None
            return True
        self._notify(plant, now)
        return False

    def _files_wait(self) -> bool:
        """Whether whole files lie in the inbox, and none came within the last moments (or some have waited long)."""
        moments = []
        with suppress(OSError):
            for path in self.opened.site.inbox.iterdir():
                if (
                    not path.name.startswith(".")
                    and not path.name.endswith(".part")
                    and path.is_file()
                    and not path.is_symlink()
                ):
                    moments.append(max(path.stat().st_mtime, path.stat().st_ctime))
        now = time.time()
        return bool(moments) and (now - max(moments) >= SETTLED_S or now - min(moments) >= LONGEST_WAIT_S)

    def _asked(self) -> bool:
        """What pages asked for: signals and pages of days that repaired rows touched."""
        rows = self.books.ask("open_requests")
        if not rows or not self.past.may("follow", self.settings.now()):
            return False
        days = sorted({row["about"] for row in rows})
        if self._run("follow", f"corrected rows of {', '.join(days[:4])}", days):
            self.books.tell("settle_request", up_to=rows[-1]["number"])
        return True

    def _look(self, plant: Plant, now: datetime) -> None:
        """Which days are over and not closed, and what of them has not come: asked after every run, and now and
        then.
        """
        if not self.opened.ledger.exists or (self.looked is not None and now - self.looked < LOOK_AGAIN):
            return
        try:
            self.unclosed = days_to_close(self.opened)
            self.missing = {}
            if self.unclosed:
                newest = self.unclosed[-1]
                with self.opened.ledger.reading() as reader:
                    never = reader.ask("closes_of_day", day=newest).is_empty()
                    if never and now - plant.clock.day(newest).end >= timedelta(minutes=5):
                        self.missing[newest] = missing_of_day(reader, plant, newest, now)
            self.looked = now
        except ColdledgerError as error:
            log.warning("%s", error)
            self.looked = now

    def _run(self, flow: str, why: str, more: list[str] | None = None) -> bool:
        """Run a flow in a process of its own and note how it ended; whether it went well."""
        begun = self.settings.now()
        number = self.books.tell("begin_run", flow=flow, why=why, at=utc_text(begun))[1]
        self.past.begun[flow] = begun
        row = self._run_child(flow, more or [])
        state, words = str(row.get("state", "failed")), str(row.get("words", ""))
        self.books.tell("end_run", number=number, at=utc_text(self.settings.now()), state=state, told=words[:500])
        self.books.tell("drop_old_runs", keep=KEEP_RUNS)
        good = state in ("done", "needs a person")
        self.past.failed[flow] = 0 if good else self.past.failed.get(flow, 0) + 1
        log.log(
            logging.INFO if good else logging.ERROR,
            "%s (%s): %s: %s",
            flow,
            why,
            state,
            words,
            extra={"flow": flow, "state": state},
        )
        for message in row.get("messages", [])[:10]:
            log.warning("%s: %s", flow, message)
        if not good and flow == "close" and self.opened.plant.notices.failed_close:
            day = str(self.unclosed[0]) if self.unclosed else "unknown"
            self._send([failed_run(self.opened.plant, flow, day, words, begun)])
        return good

    def _in_process(self, flow: str, more: list[str]) -> dict[str, Any]:
        """A flow as a child process, which ends when this one does; what it told."""
        command = [sys.executable, "-m", "pipelines.flows.child", flow, str(self.root), *more]
        try:
            self._child = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
            out, _ = self._wait(self._child)
            return dict(json.loads(out.splitlines()[-1]))
        except (OSError, ValueError, IndexError, subprocess.SubprocessError) as error:
            code = self._child.returncode if self._child else None
            if self.stopping.is_set():
                return {"state": "cut off", "words": "stopped; the next run takes up what it left"}
            return {
                "state": "failed",
                "words": f"the run's process ended with {code} and told nothing ({type(error).__name__})",
            }
        finally:
            self._child = None

    def _wait(self, child: subprocess.Popen[str]) -> tuple[str, str]:
        """Until the child ends; its standard input stays open meanwhile, and tells it that somebody waits."""
        assert child.stdout is not None
        timer = threading.Timer(RUN_LIMIT_S, child.kill)
        timer.start()
        try:
            out = child.stdout.read()
            child.wait()
            return out, ""
        finally:
            timer.cancel()
            child.stdout.close()
            if child.stdin:
                child.stdin.close()

    def _notify(self, plant: Plant, now: datetime) -> None:
        if (
            not addresses(self.opened.site)
            or not self.opened.ledger.exists
            or (self.noticed is not None and now - self.noticed < NOTICE_EVERY)
        ):
            return
        self.noticed = now
        try:
            known = self.opened.known
            with self.opened.ledger.reading() as reader:
                works_now = answer_now(reader, known, now)
        except ColdledgerError as error:
            log.warning("%s", error)
            return
        self._send(notices_of(plant, works_now))

    def _send(self, notices: list[Notice]) -> None:
        send(self.books, self.opened.site, notices, self.opened.plant.works.name, self.settings.now())

    def stop(self) -> None:
        """No further run; a running one may finish, and can be killed at any instant without harm."""
        self.stopping.set()
        child = self._child
        if child is not None:
            with suppress(subprocess.TimeoutExpired):
                child.wait(15)
            if child.poll() is None:
                child.kill()

    def loop(self) -> None:
        """Tick until stopped."""
        while not self.stopping.is_set():
            try:
                busy = self.tick()
            except Exception:
                log.exception("the clerk stumbled; it goes on")
                busy = False
            self.stopping.wait(0.2 if busy else max(0.05, min(1.0, 1.0 / self.settings.speed)))
