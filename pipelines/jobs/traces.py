"""Writing a trace: the report for the file, and the one for the customer."""

from __future__ import annotations

from pathlib import Path

from pipelines.jobs.pages import put_page, write_index
from pipelines.reports.all_reports import ALL_REPORTS
from pipelines.site.folder import OpenSite
from schemas.answers.trace import Trace


def write_trace(opened: OpenSite, trace: Trace) -> tuple[Path, Path]:
    """Both pages of a trace already answered; their paths."""
    paths = []
    with opened.ledger.reading() as reader:
        for name in ("trace", "trace for the customer"):
            report = ALL_REPORTS[name]
            paths.append(put_page(opened, report.page(reader, opened.known, trace), report.address(trace)))
    write_index(opened, paths)
    return paths[0], paths[1]
