"""ALL_REPORTS is the only list of the pages of a site's folder."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from pipelines.reports.addresses import (
    behind_address,
    day_address,
    hour_address,
    laboratory_address,
    machine_address,
    weights_address,
)
from pipelines.reports.day.report import behind_page, day_page, machine_day_page
from pipelines.reports.frame.page import Page, page_html, write_page
from pipelines.reports.holds import holds_address, holds_page
from pipelines.reports.hour import hour_page
from pipelines.reports.laboratory.report import laboratory_page
from pipelines.reports.trace.customer import customer_address, customer_page
from pipelines.reports.trace.report import trace_address, trace_page
from pipelines.reports.weights import weights_page


@dataclass(frozen=True)
class Report:
    """One kind of page: who it is for, how it is made; where it lies under reports/."""

    name: str
    reader: str
    page: Callable[..., Page]
    address: Callable[..., Any]


ALL_REPORTS: dict[str, Report] = {
    report.name: report
    for report in (
        Report("hour", "cold-end supervisor", hour_page, hour_address),
        Report("day", "works manager", day_page, day_address),
        Report("machine", "works manager", machine_day_page, machine_address),
        Report("behind the day", "works manager", behind_page, behind_address),
        Report("weights", "cold-end supervisor", weights_page, weights_address),
        Report("laboratory", "laboratory", laboratory_page, laboratory_address),
        Report("trace", "quality manager", trace_page, trace_address),
        Report("holds", "quality manager", holds_page, holds_address),
        Report("trace for the customer", "customer", customer_page, customer_address),
    )
}

__all__ = [
    "ALL_REPORTS",
    "Page",
    "Report",
    "day_address",
    "hour_address",
    "laboratory_address",
    "page_html",
    "trace_address",
    "weights_address",
    "write_page",
]
