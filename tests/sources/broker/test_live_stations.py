"""Live stations against a real broker: what they say is in the ledger, through an outage of the broker, of the listener
and of the disk.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest

from pipelines.errors import LedgerBusy, WrongUse
from pipelines.sources.broker.listener import Hearing
from pipelines.sources.broker.spool import Spool
from tests.conftest import WORKS, Place
from tests.sources.broker.conftest import Broker

TOPICS = """
[listener]
broker = "127.0.0.1"
port = {port}
file_seconds = 1

[[topic]]
topic = "cold-end/{{line}}/{{station}}/counts"
name = "station_counts"

[[topic]]
topic = "scales/{{line}}"
name = "scale"

[[mapping]]
files = "scale.*.jsonl"
feed = "weight_checks"
time_format = "seconds since 1970"
columns = {{ "at" = "sampled_at", "form" = "mould", "read.g" = "weight_g" }}
constants = {{ point = "cold", sample = 1 }}
"""


@pytest.fixture
def live(tmp_path: Path, broker: Broker) -> Place:
    return Place(tmp_path / "site", WORKS + TOPICS.format(port=broker.port))


@contextlib.contextmanager
def hearing(place: Place) -> Iterator[Hearing]:
    this_hearing = Hearing(place.opened)
    thread = threading.Thread(target=this_hearing.run)
    thread.start()
    try:
        yield this_hearing
    finally:
        this_hearing.stopping.set()
        thread.join(20)


def say(broker: Broker, *pairs: tuple[str, object]) -> None:
    """Publish with QoS 1 and wait until the broker has it."""
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    for topic, payload in pairs:
        body = payload if isinstance(payload, bytes) else json.dumps(payload)
        client.publish(topic, body, qos=1).wait_for_publish(10)
    client.disconnect()
    client.loop_stop()


def count(minute: int, inspected: int = 12) -> dict[str, object]:
    return {
        "window_start": f"2026-03-02T09:{minute:02d}:00+01:00",
        "mould": "11",
        "inspected": inspected,
        "rejected": 1,
    }


COUNTS = "cold-end/K1/K1-side-a/counts"


def until(true: Callable[[], object], seconds: float = 15) -> None:
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "it did not come"
        time.sleep(0.05)


def test_what_stations_say_is_in_the_ledger(live: Place, broker: Broker) -> None:
    with hearing(live) as this_hearing:
        until(lambda: this_hearing._client.is_connected())
        time.sleep(0.5)
        weights = [
            {"at": 1772438400, "form": "11", "read": {"g": 341.20}},
            {"at": 1772438400, "form": "12", "read": {"g": 339.9}},
        ]
        say(broker, (COUNTS, count(0)), (COUNTS, count(1)), ("scales/K1", weights), (COUNTS, b"hello\nthere"))
        until(lambda: this_hearing.heard == 4)
    report = live.take()
    assert (report.rows_kept, report.rows_refused) == (4, 1)
    assert live.facts("station_counts")["station"].to_list() == ["K1-side-a"] * 2
    assert sorted(live.facts("weight_checks")["weight_g"]) == [339.9, 341.2]
    assert [r[3] for r in live.refusals()] == ["not_json"], "what is no JSON is set aside where it can be seen"


def test_what_is_said_while_nobody_listens_comes_later_once(live: Place, broker: Broker) -> None:
    with hearing(live) as this_hearing:
        until(lambda: this_hearing._client.is_connected())
        time.sleep(0.5)
    say(broker, *((COUNTS, count(minute)) for minute in range(30)))
    broker.stop()  # the broker goes away, and comes back with what it kept
    with hearing(live) as this_hearing:
        time.sleep(1)
        broker.start()
        until(lambda: this_hearing.heard >= 30, 40)
    live.take()
    assert live.facts("station_counts").height == 30


def test_what_the_disk_does_not_take_is_not_acknowledged(
    live: Place, broker: Broker, monkeypatch: pytest.MonkeyPatch
) -> None:
    real, full = os.fsync, threading.Event()
    full.set()

    def fsync(number: int) -> None:
        if full.is_set():
            raise OSError(28, "No space left on device")
        real(number)

    monkeypatch.setattr("pipelines.sources.broker.spool.os.fsync", fsync)
    monkeypatch.setattr("pipelines.sources.broker.listener.RETRY_S", 0.2)
    with hearing(live) as this_hearing:
        until(lambda: this_hearing._client.is_connected())
        time.sleep(0.5)
        say(broker, (COUNTS, count(0)))
        time.sleep(1)
        assert this_hearing.heard == 0 and list(live.site.inbox.iterdir()) == []
    with hearing(live) as this_hearing:  # begun again: the broker still has it
        time.sleep(1)
        full.clear()
        until(lambda: this_hearing.heard == 1)
    live.take()
    assert live.facts("station_counts").height == 1


def test_killed_at_any_moment_nothing_is_lost(live: Place, broker: Broker) -> None:
    command = [sys.executable, "-c", "from pipelines.cli import main; main()", "listen", "--site", str(live.site.root)]
    said = 0
    first = subprocess.Popen(command, stderr=subprocess.PIPE)
    assert first.stderr is not None and b"hearing" in first.stderr.readline()
    time.sleep(0.5)
    for wait in (0.05, 0.3, 0.6, 1.1):
        say(broker, *((COUNTS, count(said + n)) for n in range(12)))
        said += 12
        time.sleep(wait)
        first.send_signal(signal.SIGKILL)
        first.wait()
        first = subprocess.Popen(command, stderr=subprocess.DEVNULL)
    time.sleep(4)
    first.send_signal(signal.SIGTERM)
    assert first.wait(20) == 0
    live.take()
    assert live.facts("station_counts").height == said
    assert live.refusals() == []


def test_a_torn_line_is_dropped_and_whole_ones_are_given_out(tmp_path: Path) -> None:
    folder, inbox = tmp_path / ".listen", tmp_path / "inbox"
    folder.mkdir()
    inbox.mkdir()
    (folder / "scale.open.jsonl").write_bytes(b'{"a": 1}\n{"a": 2')
    Spool(folder, inbox)
    (given,) = inbox.iterdir()
    assert given.name.startswith("scale.heard.") and given.read_bytes() == b'{"a": 1}\n'


def test_an_inbox_that_is_gone_keeps_the_lines(tmp_path: Path) -> None:
    folder, inbox = tmp_path / ".listen", tmp_path / "inbox"
    spool = Spool(folder, inbox)
    spool.keep("scale", ["{}"])
    assert spool.give_out() == [] and spool.waiting == 3
    inbox.mkdir()
    assert len(spool.give_out()) == 1 and spool.waiting == 0


def test_one_listener_a_site(live: Place) -> None:
    with hearing(live), pytest.raises(LedgerBusy, match="runs already"):
        time.sleep(0.5)
        Hearing(live.opened).run()


def test_a_site_without_a_listener_says_so(place: Place) -> None:
    with pytest.raises(WrongUse, match=r"no \[listener\]"):
        Hearing(place.opened)
