"""ALL_REPORTS is the only list of the pages of a site's folder."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from pipelines.reports.day.report import QUERIES as DAY_QUERIES
from pipelines.reports.day.report import day_page
from pipelines.reports.frame.page import Page, page_html, write_page
from pipelines.reports.frame.shared_parts import day_address, hour_address, laboratory_address, weights_address
from pipelines.reports.holds import QUERIES as HOLDS_QUERIES
from pipelines.reports.holds import holds_address, holds_page
from pipelines.reports.hour import QUERIES as HOUR_QUERIES
from pipelines.reports.hour import hour_page
from pipelines.reports.laboratory.report import QUERIES as LABORATORY_QUERIES
from pipelines.reports.laboratory.report import laboratory_page
from pipelines.reports.trace.customer import QUERIES as CUSTOMER_QUERIES
from pipelines.reports.trace.customer import customer_address, customer_page
from pipelines.reports.trace.report import QUERIES as TRACE_QUERIES
from pipelines.reports.trace.report import trace_address, trace_page
from pipelines.reports.weights import QUERIES as WEIGHTS_QUERIES
from pipelines.reports.weights import weights_page


@dataclass(frozen=True)
class Report:
    """One kind of page: who it is for, how it is made, where it lies under reports/, what it asks."""

    name: str
    reader: str
    page: Callable[..., Page]
    address: Callable[..., Any]
    queries: tuple[str, ...]


ALL_REPORTS: dict[str, Report] = {
    report.name: report
    for report in (
        Report("hour", "cold-end supervisor", hour_page, hour_address, HOUR_QUERIES),
        Report("day", "works manager", day_page, day_address, DAY_QUERIES),
        Report("weights", "cold-end supervisor", weights_page, weights_address, WEIGHTS_QUERIES),
        Report("laboratory", "laboratory", laboratory_page, laboratory_address, LABORATORY_QUERIES),
        Report("trace", "quality manager", trace_page, trace_address, TRACE_QUERIES),
        Report("holds", "quality manager", holds_page, holds_address, HOLDS_QUERIES),
        Report("trace for the customer", "customer", customer_page, customer_address, CUSTOMER_QUERIES),
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
