"""A connection to a source's database, read-only and with an end to every wait."""

from __future__ import annotations

import math
import os
import socket
import sqlite3
import stat
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import quote

from sqlalchemy import URL, Connection, Engine, NullPool, create_engine, event, make_url

from pipelines.plant.database import DatabaseSource
from pipelines.sources.database.progress import FOLDER
from pipelines.sources.database.trouble import SourceTrouble, trouble_of
from pipelines.words import say

REACH_S = 10  # seconds to be reached in
WATCH_S, IDLE_S = 0.2, 120
MORE_S = 5.0  # after PostgreSQL should have broken a query off itself
STEPS = 20_000  # of SQLite's machine between two looks at the clock


@dataclass
class Patience:
    """How long a database may be busy; begun anew for each batch of rows. SQLite asks it itself; for the others it is
    watched from beside: not every ODBC driver can count, and PostgreSQL's own end of a query is no use where a network
    swallows what the server says.
    """

    seconds: float
    until: float = math.inf
    over: bool = False
    cancel: Callable[[], object] | None = None

    def begin(self) -> None:
        self.until = time.monotonic() + self.seconds

    def rest(self) -> None:
        """The database waits for us."""
        self.until = math.inf

    def is_over(self) -> bool:
        self.over = self.over or time.monotonic() > self.until
        return self.over

    def watch(self, ended: threading.Event) -> None:
        """Break off what takes too long, until told that it has ended."""
        while not ended.wait(WATCH_S):
            if self.is_over() and self.cancel is not None:
                with suppress(Exception):  # a cursor that is closed already
                    self.cancel()


@dataclass
class Reached:
    """A connection that is open, and whom to tell that a batch begins."""

    connection: Connection
    patience: Patience


def password_of(root: Path, source: DatabaseSource) -> str | None:
    """The password of a source; None where it has none. SourceTrouble where others can read it."""
    path = root / FOLDER / f"{source.name}.password"
    shown = f"{FOLDER}/{path.name}"
    try:
        mode = path.stat().st_mode
        text = path.read_text(encoding="utf-8").rstrip("\r\n")
    except FileNotFoundError:
        return None
    except UnicodeDecodeError:
        raise SourceTrouble(say("{file} is not UTF-8 text", file=shown)) from None
    except OSError as error:
        raise SourceTrouble(
            say("{file} cannot be read ({why})", file=shown, why=error.strerror or type(error).__name__)
        ) from None
    if mode & (stat.S_IRWXG | stat.S_IRWXO):
        raise SourceTrouble(say("others can read {file}; take that right away: chmod 600 {file}", file=shown))
    if not text:
        raise SourceTrouble(say("{file} is empty", file=shown))
    return text


@contextmanager
def reached(root: Path, source: DatabaseSource) -> Iterator[Reached]:
    """The database of a source; SourceTrouble, without a password in its words, for whatever goes wrong inside."""
    password = password_of(root, source)
    patience = Patience(source.most_seconds + (MORE_S if source.kind == "postgresql" else 0))
    engine: Engine | None = None
    ended = threading.Event()
    try:
        patience.begin()
        engine = _engine(root, source, password, patience)
        if source.kind != "sqlite":
            threading.Thread(target=patience.watch, args=(ended,), daemon=True).start()
        with engine.connect() as connection:
            yield Reached(connection, patience)
    except OSError:
        raise  # of our own files: a driver raises its own kinds
    except Exception as error:  # a driver raises what it likes; its words may hold the address
        raise trouble_of(error, [password] if password else [], source.most_seconds, patience.over) from None
    finally:
        ended.set()
        if engine is not None:
            engine.dispose()


def _engine(root: Path, source: DatabaseSource, password: str | None, patience: Patience) -> Engine:
    url = make_url(source.url)
    if password is not None:
        url = url.set(password=password)
    try:
        return _ENGINES[source.kind](root, url, source, patience)
    except ModuleNotFoundError:
        extra = source.kind
        raise SourceTrouble(say("it needs the extra `{extra}`: install coldledger[{extra}]", extra=extra)) from None


def _sqlite(root: Path, url: URL, source: DatabaseSource, patience: Patience) -> Engine:
    path = root / (url.database or "")

    def opened() -> sqlite3.Connection:
        if not path.is_file():
            raise SourceTrouble(say("there is no file {path}", path=path))
        connection = sqlite3.connect(
            f"file:{quote(str(path))}?mode=ro", uri=True, timeout=min(5.0, source.most_seconds), check_same_thread=False
        )
        connection.execute("pragma query_only = on")
        connection.text_factory = lambda data: data.decode("utf-8", "surrogateescape")
        connection.set_progress_handler(patience.is_over, STEPS)
        return connection

    return create_engine("sqlite://", creator=opened, poolclass=NullPool)


def _postgresql(root: Path, url: URL, source: DatabaseSource, patience: Patience) -> Engine:
    patiently: dict[str, Any] = {
        "connect_timeout": REACH_S,
        "application_name": "coldledger",
        "keepalives_idle": 15,
        "keepalives_interval": 5,
        "keepalives_count": 3,
        "tcp_user_timeout": 30_000,
    }
    patiently = {key: value for key, value in patiently.items() if key not in url.query}
    engine = create_engine(url.set(drivername="postgresql+psycopg"), connect_args=patiently, poolclass=NullPool)

    @event.listens_for(engine, "connect")
    def read_only(connection: Any, _: Any) -> None:
        with connection.cursor() as cursor:
            cursor.execute("set default_transaction_read_only = on")
            cursor.execute(f"set statement_timeout = {int(source.most_seconds * 1000)}")
            cursor.execute(f"set idle_in_transaction_session_timeout = '{IDLE_S} s'")  # where we vanish unheard
        connection.commit()
        patience.cancel = partial(_cut, connection)

    return engine.execution_options(postgresql_readonly=True, stream_results=True)


def _cut(connection: Any) -> None:
    """End a connection from beside: whoever waits for it is told that it is closed."""
    with socket.socket(fileno=os.dup(connection.fileno())) as line:
        line.shutdown(socket.SHUT_RDWR)


def _odbc(root: Path, url: URL, source: DatabaseSource, patience: Patience) -> Engine:
    from pipelines.sources.database import odbc_dialect

    engine = create_engine(
        url.set(drivername=odbc_dialect.AnyByOdbc.name),
        connect_args={"timeout": REACH_S, "readonly": True},
        poolclass=NullPool,
    )

    @event.listens_for(engine, "connect")
    def patient(connection: Any, _: Any) -> None:
        with suppress(Exception):  # not every driver has it
            connection.timeout = max(1, round(source.most_seconds))

    @event.listens_for(engine, "before_cursor_execute")
    def watched(connection: Any, cursor: Any, *_: Any) -> None:
        patience.cancel = cursor.cancel

    return engine


_ENGINES = {"sqlite": _sqlite, "postgresql": _postgresql, "odbc": _odbc}
