"""A broker that grants rights by topic, over TLS: a station speaks for itself alone, whatever it says it is; and
whatever is said is kept or set aside, and acknowledged.
"""

from __future__ import annotations

import json
import logging
import subprocess
from datetime import UTC, datetime
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest

from pipelines.plant.mapping import BrokerTopic
from pipelines.sources.broker import rows
from pipelines.sources.broker.listener import Hearing
from pipelines.sources.broker.rows import rows_of
from tests.conftest import Place
from tests.sources.broker.conftest import MOSQUITTO, Broker
from tests.sources.broker.test_live_stations import COUNTS, count, hearing, say, until
from tests.sources.broker.test_live_stations import live as live  # a fixture
from tests.sources.broker.test_tls import Files
from tests.sources.broker.test_tls import closed as closed  # a fixture
from tests.sources.broker.test_tls import live as live_over_tls

TOPIC = BrokerTopic(topic="cold-end/{line}/{station}/counts", name="station_counts")
AT = datetime(2026, 3, 2, 9, tzinfo=UTC)
RIGHTS = """
user coldledger
topic read cold-end/+/+/counts

user side-a
topic write cold-end/K1/K1-side-a/counts
"""


@pytest.fixture
def ruled(broker: Broker, closed: Files, tmp_path: Path) -> Files:
    """The broker over TLS, where `side-a` may write to its own topic alone and `coldledger` may only read."""
    assert MOSQUITTO is not None
    tool = Path(MOSQUITTO).parents[1] / "bin" / "mosquitto_passwd"
    subprocess.run([tool, "-b", str(tmp_path / "people"), "side-a", "sand"], check=True, capture_output=True)
    rights = tmp_path / "rights"
    rights.write_text(RIGHTS)
    rights.chmod(0o600)
    broker.stop()
    broker.config.write_text(broker.config.read_text() + f"acl_file {rights}\n")
    broker.start()
    return closed


def speak(broker: Broker, authority: Path, user: str, password: str, *pairs: tuple[str, object]) -> None:
    station = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
    station.username_pw_set(user, password)
    station.tls_set(ca_certs=str(authority))
    station.connect("127.0.0.1", broker.port)
    station.loop_start()
    for topic, payload in pairs:
        station.publish(topic, json.dumps(payload), qos=1).wait_for_publish(10)
    station.disconnect()
    station.loop_stop()


def test_a_station_speaks_for_itself_alone(
    tmp_path: Path, broker: Broker, ruled: Files, caplog: pytest.LogCaptureFixture
) -> None:
    place = live_over_tls(tmp_path / "site", broker, ruled[0])
    rows._tell.cache_clear()
    with caplog.at_level(logging.WARNING), hearing(place) as this_hearing:
        until(lambda: this_hearing._client.is_connected())
        until(lambda: _heard_of(broker, ruled, this_hearing))
        before = this_hearing.heard
        speak(
            broker,
            ruled[0],
            "side-a",
            "sand",
            ("cold-end/K1/K1-mouth/counts", count(1)),  # the topic of another: the broker lets nothing through
            (COUNTS, {**count(2), "station": "K1-mouth", "line": "K2"}),  # the name of another in its own topic
            (COUNTS, count(3)),
        )
        speak(
            broker, ruled[0], "coldledger", "glass", (COUNTS, count(4, inspected=99))
        )  # who only reads writes nothing
        until(lambda: this_hearing.heard >= before + 2)
    report = place.take()
    assert report.rows_refused == 0
    frame = place.facts("station_counts")
    assert set(frame["station"]) == {"K1-side-a"} and set(frame["line"]) == {"K1"}
    assert sorted({moment.minute for moment in frame["window_start"]}) == [0, 2, 3]
    assert 99 not in frame["inspected"].to_list()
    assert "say station = 'K1-mouth', their topic says 'K1-side-a': the topic holds" in caplog.text
    assert "say line = 'K2'" in caplog.text


def _heard_of(broker: Broker, ruled: Files, this_hearing: Hearing) -> bool:
    """Say the same count again until the listener has subscribed."""
    speak(broker, ruled[0], "side-a", "sand", (COUNTS, count(0)))
    return bool(this_hearing.heard)


HOSTILE = (
    b"[" * 990 + b"]" * 990,
    b'{"a":' * 990 + b"1" + b"}" * 990,
    b'[{"inspected": 1}, ' + b"[" * 990 + b"]" * 990 + b"]",
    b"[" * 100_000,
    b"",
    b"\xff\xfe",
    b"\0",
    b"null",
    b"12",
    b"[[]]",
    b'"x"',
    b'{"mould": "\\ud800"}',
    b'{"\\ud800": 1}',
    b'"\\ud800"',
    b"NaN",
    b'{"inspected": 1e999}',
    b'{"inspected": ' + b"9" * 5000 + b"}",
    b'{"a": {"b": {"c": 1}}}',
    b"\r\n\r\n",
    b"{" * 10,
    b'{"": ""}',
    b"x" * 300_000,
)


@pytest.mark.parametrize("payload", HOSTILE, ids=lambda payload: repr(payload[:20]))
def test_whatever_a_message_holds_becomes_lines(payload: bytes) -> None:
    for line in rows_of(TOPIC, COUNTS, payload, AT):
        assert line.strip() and "\n" not in line and line.encode()


def test_hostile_messages_are_set_aside_acknowledged_and_the_good_ones_kept(live: Place, broker: Broker) -> None:
    with hearing(live) as this_hearing:
        until(lambda: this_hearing._client.is_connected())
        until(lambda: _said(broker, 0, this_hearing))
        before = this_hearing.heard
        say(broker, *((COUNTS, payload) for payload in HOSTILE), (COUNTS, count(1)))
        until(lambda: this_hearing.heard >= before + len(HOSTILE) + 1)
    with hearing(live) as again:  # the broker has nothing of them left to send
        until(lambda: again._client.is_connected())
        until(lambda: _said(broker, 2, again))
        assert again.heard < len(HOSTILE)
    report = live.take()
    assert sorted({moment.minute for moment in live.facts("station_counts")["window_start"]}) == [0, 1, 2]
    assert report.rows_refused >= len(HOSTILE) - 1 and not [text for text in report.messages if "this program" in text]


def _said(broker: Broker, minute: int, this_hearing: Hearing) -> bool:
    say(broker, (COUNTS, count(minute)))
    return bool(this_hearing.heard)


def test_half_a_pair_is_refused_and_not_made_up(place: Place) -> None:
    lines = rows_of(TOPIC, COUNTS, json.dumps({**count(0), "mould": "\ud800"}).encode(), AT)
    place.put("station_counts.heard.jsonl", "".join(f"{line}\n" for line in lines))
    assert place.take().rows_kept == 0
    assert [reason for *_, reason in place.refusals()] == ["not_text"]


def test_what_the_topic_says_holds_and_what_it_leaves_open_the_message_fills() -> None:
    (line,) = rows_of(TOPIC, COUNTS, json.dumps({**count(0), "station": "K1-mouth", "line": ""}).encode(), AT)
    answer = json.loads(line)
    assert (answer["line"], answer["station"], answer["mould"]) == ("K1", "K1-side-a", "11")
