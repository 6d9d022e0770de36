"""The listener: hears a broker, keeps what it hears, and only then says that it was heard. Needs the extra `mqtt`."""

from __future__ import annotations

import logging
import queue
import ssl
import sys
import threading
import time
from typing import Any

from pipelines.errors import WrongUse
from pipelines.plant.mapping import BrokerTopic
from pipelines.site.folder import OpenSite
from pipelines.site.locks import held
from pipelines.sources.broker.rows import rows_of, topic_filter
from pipelines.sources.broker.spool import Spool

log = logging.getLogger("coldledger.listen")
AT_ONCE, PAUSE_S, MOST_WAITING = 500, 0.25, 5_000
RETRY_S = 5.0
KEEP_SESSION_S = 7 * 24 * 3600


class Hearing:
    """One listener of a site. run() hears until `stopping` is set."""

    def __init__(self, opened: OpenSite):
        if opened.plant.listener is None or not opened.plant.topic:
            raise WrongUse(
                "works.toml has no [listener] with a [[topic]]; the template of `coldledger init` shows them"
            )
        self.opened, self.told, self.settings = opened, opened.plant.listener, opened.settings
        self.topics: tuple[BrokerTopic, ...] = opened.plant.topic
        self.stopping = threading.Event()
        self.heard = 0
        self._messages: queue.Queue[tuple[BrokerTopic, Any]] = queue.Queue(MOST_WAITING)
        self._client = self._made()

    def _made(self) -> Any:
        try:
            import paho.mqtt.client as mqtt
        except ImportError:
            raise WrongUse("listening needs the extra `mqtt`: install coldledger[mqtt]") from None
        client = mqtt.Client(
            mqtt.CallbackAPIVersion.VERSION2, client_id=self.told.client, protocol=mqtt.MQTTv5, manual_ack=True
        )
        if self.told.user:
            client.username_pw_set(self.told.user, password_of(self.opened))
        if self.told.tls:
            try:
                client.tls_set(ca_certs=self.told.ca_file, cert_reqs=ssl.CERT_REQUIRED)
            except OSError as error:
                raise WrongUse(f"[listener] ca_file: {self.told.ca_file} cannot be used ({error})") from None
        client.reconnect_delay_set(1, 30)
        client.on_connect, client.on_disconnect = self._connected, self._lost
        client.on_connect_fail = self._not_reached
        for topic in self.topics:
            client.message_callback_add(topic_filter(topic), self._hears(topic))
        return client

    def _hears(self, topic: BrokerTopic) -> Any:
        return lambda client, _, message: self._messages.put((topic, message))

    def _connected(self, client: Any, _: Any, flags: Any, reason: Any, properties: Any) -> None:
        if reason.is_failure:
            log.error("the broker %s refuses us: %s", self.told.broker, reason)
            return
        log.info("hearing %s", self.told.broker)
        client.subscribe([(topic_filter(topic), 1) for topic in self.topics])

    def _not_reached(self, client: Any, _: Any) -> None:
        log.warning(
            "the broker %s, port %d, cannot be reached (%s); it is tried again",
            self.told.broker,
            self.told.port,
            sys.exc_info()[1],
        )

    def _lost(self, client: Any, _: Any, flags: Any, reason: Any, properties: Any) -> None:
        if not self.stopping.is_set():
            log.warning(
                "the broker %s is gone (%s); it is tried again, and keeps what comes meanwhile",
                self.told.broker,
                reason,
            )

    def run(self) -> None:
        """Hear until told to stop. LedgerBusy where the site is listened for already."""
        busy = f"`coldledger listen` runs already for {self.opened.site.root}; stop it there first"
        with held(self.opened.site, "listen", 0.0, busy):
            spool = Spool(self.opened.site.root / ".listen", self.opened.site.inbox)
            self._connect()
            self._client.loop_start()
            try:
                self._keep_all(spool)
            finally:
                self._client.disconnect()
                self._client.loop_stop()
                spool.give_out()

    def _connect(self) -> None:
        """The broker need not be there yet; it keeps our session for a week."""
        from paho.mqtt.packettypes import PacketTypes
        from paho.mqtt.properties import Properties

        lasting = Properties(PacketTypes.CONNECT)
        lasting.SessionExpiryInterval = KEEP_SESSION_S
        lasting.ReceiveMaximum = AT_ONCE
        self._client.connect_async(
            self.told.broker, self.told.port, keepalive=30, clean_start=False, properties=lasting
        )

    def _keep_all(self, spool: Spool) -> None:
        given = time.monotonic()
        while not self.stopping.is_set():
            self._keep(spool, self._some())
            if time.monotonic() - given >= self.told.file_seconds:
                spool.give_out()
                given = time.monotonic()

    def _some(self) -> list[tuple[BrokerTopic, Any]]:
        """The messages of the next moment, some hundred at most: one forcing to the disk serves all of them."""
        found: list[tuple[BrokerTopic, Any]] = []
        until = time.monotonic() + PAUSE_S
        while len(found) < AT_ONCE and time.monotonic() < until:
            try:
                found.append(self._messages.get(timeout=max(0.01, until - time.monotonic())))
            except queue.Empty:
                break
        return found

    def _keep(self, spool: Spool, messages: list[tuple[BrokerTopic, Any]]) -> None:
        """Keep the messages, then acknowledge them. Until the disk takes them, none is acknowledged, and the broker
        holds the rest back.
        """
        at = self.settings.now()
        by_name: dict[str, list[tuple[Any, list[str]]]] = {}
        for topic, message in messages:
            by_name.setdefault(topic.name, []).append((message, rows_of(topic, message.topic, message.payload, at)))
        for name, found in by_name.items():
            lines = [line for _, rows in found for line in rows]
            while not self._kept(spool, name, lines):
                if self.stopping.wait(RETRY_S):
                    return  # not acknowledged: the broker sends them again
            for message, _ in found:
                self._client.ack(message.mid, message.qos)
            self.heard += len(found)

    def _kept(self, spool: Spool, name: str, lines: list[str]) -> bool:
        try:
            spool.keep(name, lines)
            return True
        except OSError as error:
            log.error(
                "%d messages could not be written (%s); the broker keeps them until they can",
                len(lines),
                error.strerror,
            )
            return False


def password_of(opened: OpenSite) -> str | None:
    """The password for the broker, from .listen/password.txt; None where there is none."""
    path = opened.site.root / ".listen" / "password.txt"
    return path.read_text(encoding="utf-8").strip() if path.exists() else None
