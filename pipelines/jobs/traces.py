"""Writing a trace: the report for the file, and the one for the customer."""

from __future__ import annotations

from pathlib import Path

from pipelines.jobs.pages import write_index
from pipelines.reports.all_reports import ALL_REPORTS, write_page
from pipelines.site.folder import OpenSite
from schemas.answers.trace import Trace


def write_trace(opened: OpenSite, trace: Trace) -> tuple[Path, Path]:
    """Both pages of a trace already answered; their paths."""
    paths = []
    with opened.ledger.reading() as reader:
        for name in ("trace", "trace for the customer"):
            report = ALL_REPORTS[name]
            path: Path = opened.site.reports / report.address(trace)
            write_page(report.page(reader, opened.known, trace), path, opened.known.works.name)
            paths.append(path)
    write_index(opened)
    return paths[0], paths[1]
