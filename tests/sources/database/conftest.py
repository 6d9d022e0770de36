"""Debian's PostgreSQL as a process of its own, that can be stopped and started again; sites that read it."""

from __future__ import annotations

import os
import pwd
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import psycopg
import pytest

from pipelines.jobs.sources import read_now
from pipelines.plant.database import DatabaseSource
from pipelines.sources.database.progress import Progress
from pipelines.sources.database.reading import ReadRows
from tests.conftest import WORKS, Place

PASSWORD = "gl@ss:7/%-pot"
TABLE = """create table pallets (no text primary key, line text, item text, packed_from timestamptz,
packed_to timestamptz, units numeric(8, 2), state text, closed_at timestamptz)"""
QUERY = (
    "select no, line, item, packed_from, packed_to, units, state, closed_at from pallets where closed_at > $since "
    "order by closed_at, no"
)
SOURCE = """
[[source]]
name = "palletiser"
url = "{url}"
query = \"\"\"{query}\"\"\"
since = "closed_at"
feed = "pallets"
every_minutes = 5
timezone = "Europe/Lisbon"
columns = {{ "no" = "pallet" }}
{more}
"""


def programs() -> Path | None:
    found = [*sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb")), shutil.which("initdb")]
    return Path(found[-1] or found[0]).parent if found[-1] or len(found) > 1 else None


class Postgres:
    """A server of its own, in a folder of its own, as a person without rights."""

    def __init__(self, folder: Path, bin: Path):
        self.folder, self.bin = folder, bin
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.user = "nobody" if os.getuid() == 0 else None
        if self.user is not None:
            person = pwd.getpwnam(self.user)
            os.chown(folder, person.pw_uid, person.pw_gid)
        (folder / "owner.txt").write_text(PASSWORD)
        (folder / "owner.txt").chmod(0o644)
        options = f"-A scram-sha-256 -U owner --pwfile={folder}/owner.txt -N -E UTF8 --locale=C".split()
        self._run([str(bin / "initdb"), "-D", str(folder / "data"), *options])
        self.process: subprocess.Popen[bytes] | None = None

    def _run(self, command: list[str]) -> None:
        subprocess.run(command, check=True, user=self.user, cwd=self.folder, stdout=subprocess.DEVNULL, timeout=60)

    def start(self) -> None:
        options = f"-p {self.port} -k {self.folder} -c listen_addresses=127.0.0.1 -c fsync=off".split()
        self.process = subprocess.Popen(
            [str(self.bin / "postgres"), "-D", str(self.folder / "data"), *options],
            user=self.user,
            cwd=self.folder,
            stderr=subprocess.DEVNULL,
        )
        end = time.monotonic() + 30
        while time.monotonic() < end:
            try:
                self.asked("select 1")
                return
            except psycopg.OperationalError:
                time.sleep(0.05)
        raise AssertionError("PostgreSQL does not start")

    def stop(self) -> None:
        """At once, as when the power goes: every connection is cut."""
        if self.process is not None:
            self.process.send_signal(signal.SIGQUIT)
            self.process.wait(20)
            self.process = None

    def connected(self, **more: Any) -> psycopg.Connection[Any]:
        return psycopg.connect(
            host="127.0.0.1",
            port=self.port,
            user="owner",
            password=PASSWORD,
            dbname="postgres",
            autocommit=True,
            **more,
        )

    def asked(self, statement: str, *values: Any) -> list[Any]:
        with self.connected() as connection:
            cursor = connection.execute(statement, values or None)  # type: ignore[arg-type]
            return cursor.fetchall() if cursor.description else []

    def put(self, *rows: tuple[Any, ...]) -> None:
        """Pallets: number, when it was closed, and perhaps units and state."""
        for number, at, *rest in rows:
            units, state = [*rest, 2016, "packed"][:2] if len(rest) < 2 else rest
            self.asked(
                "insert into pallets values (%s, 'K1', 'J370', '2026-03-02T07:00Z', '2026-03-02T08:00Z', %s, %s, %s)",
                number,
                units,
                state,
                at,
            )

    @property
    def url(self) -> str:
        return f"postgresql://reader@127.0.0.1:{self.port}/postgres"


@pytest.fixture(scope="session")
def server() -> Iterator[Postgres]:
    bin = programs()
    if bin is None:
        pytest.skip("needs Debian's postgresql; .ci/run installs it")
    folder = Path(tempfile.mkdtemp(prefix="coldledger-pg-"))
    folder.chmod(0o755)
    postgres = Postgres(folder, bin)
    postgres.start()
    postgres.asked(f"create role reader login password '{PASSWORD}'")
    yield postgres
    postgres.stop()
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def postgres(server: Postgres) -> Iterator[Postgres]:
    if server.process is None:
        server.start()
    server.asked("select pg_terminate_backend(pid) from pg_stat_activity where usename = 'reader'")
    server.asked("drop table if exists pallets")
    server.asked(TABLE)
    server.asked("grant select, insert on pallets to reader")
    yield server
    if server.process is None:
        server.start()


def site(root: Path, url: str, query: str = QUERY, more: str = "", password: str | None = PASSWORD) -> Place:
    place = Place(root, WORKS + SOURCE.format(url=url, query=query, more=more))
    if password is not None:
        keep_password(place, password)
    return place


def keep_password(place: Place, password: str, name: str = "palletiser") -> None:
    folder = place.site.root / ".sources"
    folder.mkdir(exist_ok=True)
    path = folder / f"{name}.password"
    path.write_text(password + "\n")
    path.chmod(0o600)


@pytest.fixture
def stored(tmp_path: Path, postgres: Postgres) -> Place:
    """A site that reads pallets from the server."""
    return site(tmp_path / "site", postgres.url)


def only(place: Place) -> DatabaseSource:
    return place.plant.source[0]


def read(place: Place, anew: bool = False) -> ReadRows:
    return read_now(place.opened, only(place), anew)


def progress(place: Place) -> Progress:
    return Progress(place.site, only(place))


def pallets(place: Place) -> list[str]:
    return sorted(place.facts("pallets")["pallet"].to_list())
