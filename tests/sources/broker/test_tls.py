"""A broker that is only spoken to over TLS and by password: trusted by the works' own authority, and by no other."""

from __future__ import annotations

import datetime as dt
import ipaddress
import json
import logging
import subprocess
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec

from pipelines.errors import WrongUse
from pipelines.sources.broker.listener import Hearing
from tests.conftest import WORKS, Place
from tests.sources.broker.conftest import MOSQUITTO, Broker
from tests.sources.broker.test_live_stations import COUNTS, TOPICS, count, hearing, until

Files = tuple[Path, Path, Path]


def authority(folder: Path) -> Files:
    """An authority of one's own, and the certificate and key of a broker at 127.0.0.1 that it vouches for."""
    folder.mkdir()
    now, keys = dt.datetime.now(dt.UTC), [ec.generate_private_key(ec.SECP256R1()) for _ in range(2)]
    names = [x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, name)]) for name in ("works authority", "broker")]
    made = []
    for name, key, extension in (
        (names[0], keys[0], x509.BasicConstraints(ca=True, path_length=None)),
        (names[1], keys[1], x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address("127.0.0.1"))])),
    ):
        builder = x509.CertificateBuilder().subject_name(name).issuer_name(names[0]).public_key(key.public_key())
        builder = builder.serial_number(x509.random_serial_number()).not_valid_before(now - dt.timedelta(hours=1))
        builder = builder.not_valid_after(now + dt.timedelta(days=1)).add_extension(extension, critical=True)
        made.append(builder.sign(keys[0], hashes.SHA256()).public_bytes(serialization.Encoding.PEM))
    paths = folder / "authority.pem", folder / "broker.pem", folder / "broker.key"
    plain = serialization.NoEncryption()
    secret = keys[1].private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, plain)
    for path, data in zip(paths, (*made, secret), strict=True):
        path.write_bytes(data)
    return paths


@pytest.fixture
def closed(broker: Broker, tmp_path: Path) -> Files:
    """The broker, now only by TLS and password; the files of its authority."""
    assert MOSQUITTO is not None
    files = authority(tmp_path / "authority")
    people = tmp_path / "people"
    people.touch(mode=0o600)
    tool = Path(MOSQUITTO).parents[1] / "bin" / "mosquitto_passwd"
    subprocess.run([tool, "-b", str(people), "coldledger", "glass"], check=True, capture_output=True)
    broker.stop()
    text = (
        f"cafile {files[0]}\ncertfile {files[1]}\nkeyfile {files[2]}\nallow_anonymous false\npassword_file {people}\n"
    )
    broker.config.write_text(broker.config.read_text().replace("allow_anonymous true\n", text))
    broker.start()
    return files


def live(folder: Path, broker: Broker, ca_file: Path) -> Place:
    text = TOPICS.format(port=broker.port).replace(
        "file_seconds = 1\n", f'file_seconds = 1\ntls = true\nca_file = "{ca_file}"\nuser = "coldledger"\n'
    )
    place = Place(folder, WORKS + text)
    (place.site.root / ".listen").mkdir()
    (place.site.root / ".listen" / "password.txt").write_text("glass\n")
    return place


def test_what_is_said_over_tls_is_in_the_ledger(tmp_path: Path, broker: Broker, closed: Files) -> None:
    place = live(tmp_path / "site", broker, closed[0])
    with hearing(place) as this_hearing:
        until(lambda: this_hearing._client.is_connected())
        station = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
        station.username_pw_set("coldledger", "glass")
        station.tls_set(ca_certs=str(closed[0]))
        station.connect("127.0.0.1", broker.port)
        station.loop_start()
        until(lambda: _said(station) and this_hearing.heard >= 1)
        station.disconnect()
        station.loop_stop()
    place.take()
    assert place.facts("station_counts")["mould"].to_list() == ["11"]


def _said(station: mqtt.Client) -> bool:
    """Publish; the listener may not have subscribed yet, and the same count again is the same count."""
    station.publish(COUNTS, json.dumps(count(0)), qos=1).wait_for_publish(10)
    return True


@pytest.mark.parametrize(
    ("trusted", "password", "words"),
    [(False, "glass", "certificate"), (True, "sand", "refuses us")],
    ids=["another authority", "a wrong password"],
)
def test_who_is_not_trusted_is_not_heard_and_it_is_said_why(
    tmp_path: Path,
    broker: Broker,
    closed: Files,
    caplog: pytest.LogCaptureFixture,
    trusted: bool,
    password: str,
    words: str,
) -> None:
    place = live(tmp_path / "site", broker, closed[0] if trusted else authority(tmp_path / "other")[0])
    (place.site.root / ".listen" / "password.txt").write_text(password)
    with caplog.at_level(logging.WARNING), hearing(place) as this_hearing:
        until(lambda: words in caplog.text)
        assert not this_hearing._client.is_connected()


def test_an_authority_that_is_not_there_is_said_in_a_sentence(tmp_path: Path, broker: Broker) -> None:
    place = live(tmp_path / "site", broker, tmp_path / "nowhere.pem")
    with pytest.raises(WrongUse, match=r"nowhere\.pem cannot be used"):
        Hearing(place.opened)
