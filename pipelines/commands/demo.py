"""An invented works with several days of feeds: taken in, closed, one complaint traced, pages named."""

from __future__ import annotations

import shutil
from collections.abc import Iterable
from dataclasses import replace
from datetime import date, datetime, timedelta
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from pipelines.errors import WrongUse
from pipelines.settings import Settings
from pipelines.site.folder import OpenSite, init_site, open_site

FIRST_DAY = date(2026, 3, 2)
MARK = ".invented-works"
DIMMED = ("K1-mouth", "CHF")  # the station that fails on the last day, and what it overlooks then
DRIFTING = ("K4", "B")  # the line and its gob position that grows heavier on the last day
LIGHTER_GLASS = ("F2", -0.0011)  # the furnace, and by how much its density falls on the day before [g/cm3]
LIE = -6.0  # of its standard uncertainties: how far one station of the invented works is off on its last day

if TYPE_CHECKING:
    from pipelines.jobs.days import Closed
    from sample_feeds.simulator import Plan, Simulated


def _traced(opened: OpenSite, complaint: str) -> tuple[Path, Path]:
    """Pages of a complaint's trace: the works' own, and the one for the customer."""
    from pipelines.answers.trace.answer import Question, answer_trace
    from pipelines.jobs.traces import write_trace

    with opened.ledger.reading() as reader:
        trace = answer_trace(reader, opened.known, Question(complaint=complaint))
    pages = write_trace(opened, trace)
    typer.echo(f"Complaint {complaint} traced.\n")
    return pages


def run_demo(root: Path, days: int, seed: int, settings: Settings) -> None:
    """Make, take in, close, trace, and say which pages to open. WrongUse for a folder that is no former demo."""
    from pipelines.flows.run import call_flow, shown_progress
    from sample_feeds.simulator import make_plan, write_feeds

    opened, over = _founded(root, days, settings)
    site = opened.site
    typer.echo(
        f"{opened.plant.works.name}: an invented works, invented people, invented figures (seed {seed}, {days} days)."
    )
    simulated = _lived(make_plan(opened.plant, FIRST_DAY, days, seed))
    written = write_feeds(simulated, site.inbox)
    typer.echo(f"{len(written)} feed files written to {site.inbox}, some of them faulty on purpose.")
    opened = replace(opened, settings=replace(settings, fixed_now=over + timedelta(hours=2)))
    with shown_progress("files") as progress:
        report, _ = call_flow("intake", opened, progress=progress)
    typer.echo(
        f"{report.files} files taken in: {report.rows_kept:,} rows kept, {report.rows_refused} rows and "
        f"{report.files_refused} files set aside on purpose."
    )
    with shown_progress("days") as progress:
        closed = call_flow("close", opened, progress=progress)
    typer.echo(f"{len(closed)} production days closed.")
    pages = _pages(opened, report.touched, closed[-1], simulated.feeds["complaints"]["complaint"][0])
    typer.echo("Open these pages in a browser:")
    typer.echo("\n".join(f"  {what:<16} {path}" for what, path in pages.items()))
    typer.echo(
        f"\nThen ask: coldledger feeds --site {root}\nOr see it all in a browser: coldledger serve --site {root}"
    )


def _pages(opened: OpenSite, touched: Iterable[tuple[str, datetime]], last: Closed, complaint: str) -> dict[str, Path]:
    """The pages that are named at the end; the newest hour is written for that."""
    from pipelines.jobs.pages import hours_touched, join_pages, write_hour_pages
    from pipelines.reports.all_reports import laboratory_address, weights_address

    newest = write_hour_pages(opened, hours_touched(opened.plant, touched)[-1:])
    join_pages(opened, newest)
    trace_path, outer = _traced(opened, complaint)
    return {
        "all pages": opened.site.reports / "index.html",
        "the newest hour": newest[-1],
        "the last day": last.page,
        "weights, a line": opened.site.reports / weights_address(last.day, DRIFTING[0]),
        "the laboratory": opened.site.reports / laboratory_address(last.day, LIGHTER_GLASS[0]),
        "the trace": trace_path,
        "for the customer": outer,
    }


def _founded(root: Path, days: int, settings: Settings) -> tuple[OpenSite, datetime]:
    """The invented works' empty site, and when its feeds will end; its mark says at which time it is served."""
    _clear(root)
    site = init_site(root, files("sample_feeds").joinpath("works.toml").read_text(encoding="utf-8"))
    opened = open_site(site.root, settings)
    over = opened.plant.clock.day(FIRST_DAY + timedelta(days=days - 1)).end
    (site.root / MARK).write_text((over + timedelta(minutes=5)).isoformat(), encoding="utf-8")
    return opened, over


def _lived(plan: Plan) -> Simulated:
    """The invented works as it would be met: some ware breaks unseen, every meter errs; on the last day one station
    counts short, another overlooks a defect, a gob grows heavier, and a furnace's glass has become lighter.
    """
    from sample_feeds.simulator import DensityStep, Dimmed, GobDrift, PlannedLie, misread, simulate, with_states

    plan.broken = 0.0003
    plan.gob_drifts.append(GobDrift(*DRIFTING, plan.minutes - 780, plan.minutes - 300, 1.4, plan.minutes))
    plan.density_steps.append(DensityStep(LIGHTER_GLASS[0], plan.minutes - 2000, LIGHTER_GLASS[1]))
    plan.dimmed.append(Dimmed(*DIMMED, plan.minutes - 1000, plan.minutes - 480, 0.3))
    last = plan.plant.clock.day_of(plan.at(plan.minutes - 1))
    line = plan.plant.line[len(plan.plant.line) // 2].id
    station = plan.plant.stations_of(line)[-2].id
    lie = PlannedLie(f"{station} inspected", LIE, last, last)
    return with_states(misread(simulate(plan), plan.seed, [lie], lasting="weight"), plan.seed)


def _clear(root: Path) -> None:
    if not root.exists() or not any(root.iterdir()):
        return
    if not (root / MARK).exists():
        raise WrongUse(f"{root} is there already and is not a former demo; name another folder")
    shutil.rmtree(root)
