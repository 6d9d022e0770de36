"""Databases read as often as works.toml says, each by a thread of its own: one that is away holds no other up."""

from __future__ import annotations

import logging
import threading
from contextlib import suppress
from datetime import datetime, timedelta
from pathlib import Path

from pipelines.errors import ColdledgerError, LedgerBusy
from pipelines.jobs.sources import read_now
from pipelines.plant.database import DatabaseSource
from pipelines.settings import Settings
from pipelines.site.folder import OpenSite, open_site
from pipelines.sources.database.progress import Progress
from pipelines.sources.database.trouble import SourceTrouble

log = logging.getLogger("coldledger.sources")
AGAIN = timedelta(minutes=1)  # after a trouble, where it is not read more often anyway
LOOK_S = 1.0


class SourceWatch:
    """Reads every source of a site when it is due. tick() begins what is due now and returns."""

    def __init__(self, root: Path, settings: Settings):
        self.root, self.settings = root, settings
        self.opened: OpenSite = open_site(root, settings)
        self.stopping = threading.Event()
        self._reading: dict[str, threading.Thread] = {}

    def tick(self) -> None:
        with suppress(ColdledgerError):
            self.opened = open_site(self.root, self.settings)
        now = self.settings.now()
        for source in self.opened.plant.source:
            thread = self._reading.get(source.name)
            if (thread is None or not thread.is_alive()) and self._due(source, now):
                # not waited for at the end: a reading can be killed at any instant
                thread = threading.Thread(target=self._read, args=(self.opened, source), daemon=True)
                self._reading[source.name] = thread
                thread.start()

    def _due(self, source: DatabaseSource, now: datetime) -> bool:
        times, every = Progress(self.opened.site, source).times(), timedelta(minutes=source.every_minutes)
        if times.tried_at is None or times.tried_at > now:
            return True
        return now - times.tried_at >= (min(every, AGAIN) if times.trouble else every)

    def _read(self, opened: OpenSite, source: DatabaseSource) -> None:
        try:
            found = read_now(opened, source)
        except (SourceTrouble, LedgerBusy):
            return  # it is noted, or somebody else reads it just now
        except Exception:
            log.exception("%s could not be read; it is tried again", source.name)
            return
        if found.rows:
            log.info("%s: %d new rows", source.name, found.rows)

    def loop(self) -> None:
        """Tick until stopped."""
        while not self.stopping.is_set():
            try:
                self.tick()
            except Exception:
                log.exception("the reader of databases stumbled; it goes on")
            self.stopping.wait(LOOK_S)
