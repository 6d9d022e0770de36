"""Debian's Mosquitto on a port of its own, that can be stopped and started again."""

from __future__ import annotations

import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

MOSQUITTO = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin")


class Broker:
    """A broker that keeps its sessions on disk."""

    def __init__(self, folder: Path):
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.config = folder / "mosquitto.conf"
        self.config.write_text(
            f"listener {self.port} 127.0.0.1\nallow_anonymous true\npersistence true\npersistence_location {folder}/\n"
            "autosave_interval 1\nautosave_on_changes true\nuser root\n"
        )
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        assert MOSQUITTO is not None
        self.process = subprocess.Popen([MOSQUITTO, "-c", str(self.config)], stderr=subprocess.DEVNULL)
        for _ in range(100):
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            time.sleep(0.05)
        raise AssertionError("the broker does not start")

    def stop(self) -> None:
        if self.process is not None:
            self.process.terminate()
            self.process.wait(10)
            self.process = None


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    if MOSQUITTO is None:
        pytest.skip("needs Debian's mosquitto; .ci/run installs it")
    folder = tmp_path / "broker"
    folder.mkdir()
    this_broker = Broker(folder)
    this_broker.start()
    yield this_broker
    this_broker.stop()
