"""Figures for a monitoring program, in the OpenMetrics text format."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram
from prometheus_client.openmetrics.exposition import CONTENT_TYPE_LATEST, generate_latest

CONTENT_TYPE = CONTENT_TYPE_LATEST

GAUGES = {
    "inbox_files": "Files that wait in the inbox.",
    "refused_rows": "Rows that wait in quarantine.",
    "refused_files": "Files refused whole.",
    "newest_count_timestamp_seconds": "The newest moment that cold-end counts speak of.",
    "last_intake_timestamp_seconds": "When the last intake ended well.",
    "last_close_timestamp_seconds": "When the last close ended well.",
    "holds_proposed": "Pallets proposed to be held that nobody has confirmed.",
    "holds_given_out": "Pallets held that the warehouse gave out.",
}
GAUGES_OF_LINES = {
    "line_ware": "Containers at the first station in the line's newest hour.",
    "line_rejected": "Containers rejected in that hour.",
    "line_calls_expected": "Defect calls expected in that hour by the line's own past.",
    "line_calls": "Defect calls in that hour.",
    "line_signals_open": "Signals that are open.",
    "line_critical_calls": "Critical calls in that hour.",
}


class Meter:
    """Counts what the application answers, and shows the site's state when asked."""

    def __init__(self) -> None:
        self.registry = CollectorRegistry()
        self._answers = Counter(
            "coldledger_http_answers", "Answers by route and status.", ["route", "status"], registry=self.registry
        )
        self._seconds = Histogram(
            "coldledger_http_seconds",
            "How long an answer took.",
            unit="seconds",
            buckets=(0.01, 0.03, 0.1, 0.3, 1, 3, 10),
            registry=self.registry,
        )
        self._gauges = {
            name: Gauge(f"coldledger_{name}", words, registry=self.registry) for name, words in GAUGES.items()
        }
        self._by_line = {
            name: Gauge(f"coldledger_{name}", words, ["line"], registry=self.registry)
            for name, words in GAUGES_OF_LINES.items()
        }
        self._stations = Gauge(
            "coldledger_station_behind_seconds",
            "How far a station's counts are behind the clock.",
            ["line", "station"],
            registry=self.registry,
        )

    def answered(self, route: str, status: int, seconds: float) -> None:
        self._answers.labels(route, str(status)).inc()
        self._seconds.observe(seconds)

    def text(
        self,
        values: dict[str, float | datetime | None],
        lines: list[dict[str, Any]],
        stations: list[tuple[str, str, float]],
    ) -> bytes:
        """The whole exposition. values: by the gauges' names; lines: a row a line with `line` and its gauges; stations:
        line, station, s behind.
        """
        for name, value in values.items():
            if value is not None:
                self._gauges[name].set(value.timestamp() if isinstance(value, datetime) else value)
        for gauge in (*self._by_line.values(), self._stations):
            gauge.clear()
        for row in lines:
            for name, gauge in self._by_line.items():
                if row.get(name) is not None:
                    gauge.labels(row["line"]).set(row[name])
        for line, station, behind in stations:
            self._stations.labels(line, station).set(behind)
        return generate_latest(self.registry)
