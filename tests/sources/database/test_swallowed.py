"""A network that swallows what a server says, in the middle of its rows: the reading ends, and the next goes on."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from pipelines.sources.database import reach
from pipelines.sources.database.trouble import SourceTrouble
from tests.sources.database.conftest import Postgres, read, site


class Line:
    """A way to a server that lets `most` bytes of its answers through on each connection, and no more."""

    def __init__(self, port: int):
        self.to, self.most = port, 1 << 40
        self.door = socket.create_server(("127.0.0.1", 0))
        self.port = self.door.getsockname()[1]
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        while True:
            try:
                near, _ = self.door.accept()
            except OSError:
                return
            far = socket.create_connection(("127.0.0.1", self.to))
            threading.Thread(target=self._pass, args=(near, far, 1 << 40), daemon=True).start()
            threading.Thread(target=self._pass, args=(far, near, self.most), daemon=True).start()

    @staticmethod
    def _pass(source: socket.socket, target: socket.socket, most: int) -> None:
        passed = 0
        with suppress(OSError):  # either end can be gone
            while data := source.recv(4096):
                if passed <= most:
                    target.sendall(data)
                passed += len(data)
        for end in (source, target):  # the other thread of the two may wait for it
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)


@pytest.fixture
def line(postgres: Postgres) -> Iterator[Line]:
    made = Line(postgres.port)
    yield made
    made.door.close()


def test_a_reading_that_is_told_nothing_more_ends_and_the_next_goes_on(
    tmp_path: Path, postgres: Postgres, line: Line, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reach, "MORE_S", 1.0)
    postgres.asked(
        "insert into pallets select 'P' || n, 'K1', 'J370', '2026-03-02T07:00Z', '2026-03-02T08:00Z', 2016, 'packed', "
        "'2026-03-02T08:00Z'::timestamptz + n * interval '1 s' from generate_series(1, 3000) n"
    )
    place = site(tmp_path / "site", postgres.url.replace(str(postgres.port), str(line.port)), more="most_seconds = 1")
    line.most = 40_000  # of some 300,000
    began = time.monotonic()
    with pytest.raises(SourceTrouble, match="busy for more than 1 s"):
        read(place)
    assert 1 < time.monotonic() - began < 10 and not list(place.site.inbox.iterdir())
    line.most = 1 << 40
    assert read(place).rows == 3000 and place.take().rows_kept == 3000
