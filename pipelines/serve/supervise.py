"""The supervisor: starts the parts, starts again what dies, and ends all in order."""

from __future__ import annotations

import ipaddress
import json
import logging
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlsplit

from pipelines import logs
from pipelines.errors import WrongUse
from pipelines.people.access import People
from pipelines.people.books import Books
from pipelines.serve.child import TOLD
from pipelines.site.folder import OpenSite
from pipelines.site.locks import held

log = logging.getLogger("coldledger.serve")
LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
PAUSES_S = (0.5, 1.0, 2.0, 5.0, 15.0, 30.0)
STEADY_S = 60.0
TLS = (
    "Beyond this computer the pages go through a reverse proxy that speaks TLS: leave --host on 127.0.0.1, let the "
    "proxy (nginx, Apache, Caddy) listen on 443 with the works' certificate and "
    "pass everything to http://127.0.0.1:{port} with the headers Host and X-Forwarded-Proto, and start with "
    "--address https://NAME."
)


@dataclass(frozen=True)
class ServeOptions:
    """How to serve. address: what a reverse proxy shows; parts: which of pages and clerk."""

    host: str = "127.0.0.1"
    port: int = 4280
    address: str = ""
    log: str = "text"
    parts: tuple[str, ...] = ("pages", "clerk")

    @property
    def beyond(self) -> bool:
        """Whether more than this computer can reach the pages."""
        return bool(self.address) or not is_loopback(self.host)


def is_loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def checked(asked: ServeOptions, opened: OpenSite, books: Books) -> list[str]:
    """What a person should know before it starts. WrongUse where it must not start: beyond this computer without
    sign-in, or a port that is taken.
    """
    advice = []
    if asked.address and (
        urlsplit(asked.address).scheme not in ("http", "https") or not urlsplit(asked.address).hostname
    ):
        raise WrongUse(f"--address {asked.address} is no address such as https://ledger.works.example")
    if asked.beyond:
        if not People(books).has("admin"):
            some = any(texts["ended_at"] is None for texts in People(books).everybody())
            lacks = "an admin is missing: no other person can let people in" if some else "nobody can sign in"
            raise WrongUse(
                f"more than this computer could reach the pages, and {lacks}; run `coldledger people add NAME --role "
                f"admin --site {opened.site.root}` first. " + TLS.format(port=asked.port)
            )
        if not asked.address.startswith("https://"):
            advice.append("Without TLS passwords cross the network in the clear. " + TLS.format(port=asked.port))
        advice.append("Every page needs a sign-in.")
    family = socket.AF_INET6 if ":" in asked.host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((asked.host.strip("[]"), asked.port))
        except OSError as error:
            raise WrongUse(
                f"{asked.host}:{asked.port} cannot be listened on ({error.strerror}); name another with --port"
            ) from None
    return advice


@dataclass
class ServedPart:
    """One child and its past."""

    name: str
    process: subprocess.Popen[bytes] | None = None
    began: float = 0.0
    deaths: int = 0
    again: float = 0.0
    reader: threading.Thread | None = field(default=None, repr=False)


class Supervisor:
    """Keeps the parts of a site running until told to stop."""

    def __init__(self, opened: OpenSite, asked: ServeOptions):
        self.opened, self.asked = opened, asked
        self.told = told_of(opened, asked)
        live = (("listener", opened.plant.listener is not None), ("sources", bool(opened.plant.source)))
        more = [name for name, is_there in live if is_there and "clerk" in asked.parts]
        self.parts = [ServedPart(name) for name in (*asked.parts, *more)]
        self.stopping = threading.Event()

    def run(self) -> None:
        """Start, watch, and, once told to stop, end everything in order."""
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda *_: self.stopping.set())
        try:
            while not self.stopping.is_set():
                for part in self.parts:
                    self._keep(part)
                self.stopping.wait(0.3)
        finally:
            self._end()

    def _keep(self, part: ServedPart) -> None:
        now = time.monotonic()
        if part.process is None:
            if now >= part.again:
                self._begin(part)
            return
        code = part.process.poll()
        if code is None:
            if part.deaths and now - part.began > STEADY_S:
                part.deaths = 0
            return
        part.process.stdin and part.process.stdin.close()
        pause = PAUSES_S[min(part.deaths, len(PAUSES_S) - 1)]
        log.error("%s ended with %s; started again in %.1f s", part.name, code, pause, extra={"part": part.name})
        part.process, part.deaths, part.again = None, part.deaths + 1, now + pause

    def _begin(self, part: ServedPart) -> None:
        settings = self.opened.settings
        environment = {
            **os.environ,
            TOLD: json.dumps(self.told),
            logs.VARIABLE: self.asked.log,
            "MALLOC_ARENA_MAX": "2",
            "PYTHONUNBUFFERED": "1",
        }
        if settings.clock is not None:
            environment["COLDLEDGER_CLOCK"] = settings.clock.text()
        command = [sys.executable, "-m", "pipelines.serve.child", part.name]
        part.process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stderr=subprocess.PIPE, env=environment, start_new_session=True
        )
        part.began = time.monotonic()
        part.reader = threading.Thread(target=self._pass_on, args=(part.name, part.process), daemon=True)
        part.reader.start()

    def _pass_on(self, name: str, process: subprocess.Popen[bytes]) -> None:
        """What a part says, in the form asked for."""
        assert process.stderr is not None
        for line in process.stderr:
            text = line.decode("utf-8", "replace").rstrip("\n")
            if text:
                sys.stderr.write(logs.as_line(text, name, self.asked.log) + "\n")
                sys.stderr.flush()
        process.stderr.close()

    def _end(self) -> None:
        """What begins things first: the listener, the reader of databases, the clerk; then the pages."""
        for name, patience in (("listener", 6.0), ("sources", 6.0), ("clerk", 20.0), ("pages", 6.0)):
            for part in self.parts:
                if part.name == name and part.process is not None and part.process.poll() is None:
                    part.process.terminate()
                    try:
                        part.process.wait(patience)
                    except subprocess.TimeoutExpired:
                        part.process.kill()
                        part.process.wait(5)
        log.info("stopped")


def told_of(opened: OpenSite, asked: ServeOptions) -> dict[str, Any]:
    """What the children are told."""
    name = urlsplit(asked.address).hostname if asked.address else ""
    hosts: Sequence[str] = [
        *LOOPBACK,
        *([name] if name else []),
        *([] if asked.host in ("0.0.0.0", "::") else [asked.host]),
    ]
    if asked.beyond and not asked.address:
        hosts = ["*"]
    return {
        "root": str(opened.site.root),
        "host": asked.host.strip("[]"),
        "port": asked.port,
        "address": asked.address,
        "open_reading": not asked.beyond,
        "hosts": list(hosts),
    }


def serve(opened: OpenSite, asked: ServeOptions) -> None:
    """Serve a site until told to stop. LedgerBusy where it is served already."""
    logs.start(asked.log)
    books = Books(opened.site.serve)
    with held(
        opened.site, "serve", 0.0, f"`coldledger serve` runs already for {opened.site.root}; stop it there first"
    ):
        for words in checked(asked, opened, books):
            log.warning("%s", words)
        where = asked.address or f"http://{asked.host}:{asked.port}"
        log.info("serving %s at %s; stop with Ctrl-C", opened.plant.works.name, where)
        Supervisor(opened, asked).run()
