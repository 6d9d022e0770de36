"""Small sites for tests."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

import polars as pl
import pytest
from hypothesis import settings

from pipelines.intake import IntakeReport, take_in
from pipelines.plant.works import Plant, read_plant
from pipelines.settings import Settings, Site
from pipelines.site.folder import OpenSite
from sample_feeds.simulator import Simulated, make_plan, write_feeds
from tests.shared import Shared, folder_of_run

SAMPLES = Path(__file__).parent.parent / "sample_feeds"
WORKS = (SAMPLES / "works.toml").read_text(encoding="utf-8")
NOW = datetime(2026, 4, 1, tzinfo=UTC)
# A worker takes a module at a time; those that take longest go first, so that none is left over at the end.
settings.register_profile("no deadline", deadline=None)  # no test may fail because a machine is busy
settings.load_profile("no deadline")
LONGEST = (
    "test_docs.py",
    "serve/test_for_real.py",
    "flows/test_flows.py",
    "jobs/test_days.py",
    "test_interrupted.py",
    "faults/test_cut_at_every_call.py",
    "measures/yields/test_balance.py",
    "measures/trace/test_truth.py",
    "intake/test_properties.py",
    "jobs/test_elsewhere.py",
    "jobs/test_signals_kept.py",
    "jobs/test_keep.py",
    "pages/test_who_may_write.py",
    "test_cli.py",
    "serve/test_clerk.py",
    "intake/test_kill.py",
    "pages/test_every_page_answers.py",
    "pages/test_fuzz.py",
    "sources/broker/test_live_stations.py",
    "sources/database/test_postgresql.py",
)
# `pytest -m quick`: what a reader touches, and the formulas behind it; under two minutes. A test can also ask for it by
# its own mark.
QUICK = (
    "answers/test_trace.py",
    "answers/test_weights.py",
    "answers/test_digest.py",
    "help/",
    "measures/pareto",
    "measures/lehr",
    "measures/yields",
    "measures/trace",
    "measures/holds",
    "measures/test_",
    "measures/weights",
    "measures/laboratory",
    "pages/test_languages.py",
    "pages/test_every_page_answers.py",
    "pages/test_figures_for_monitors.py",
    "published/",
    "reports/",
    "test_clock.py",
    "test_feeds_complete.py",
    "test_layers.py",
    "test_plant.py",
    "test_sizes.py",
    "test_sql_files.py",
)
NOT_QUICK = (  # many simulated days each
    "measures/trace/test_truth.py",
    "measures/trace/test_station_faults.py",
    "measures/yields/test_balance.py",
    "measures/yields/test_nothing_explains.py",
)
HEAD = "window_start,line,station,mould,window_s,inspected,rejected\n"


def one_furnace(works: str = WORKS, furnace: str = "F1", lines: tuple[str, ...] = ("K1", "K2")) -> str:
    """The works with one of its furnaces and that one's lines."""
    tables = re.split(r"^(?=\[)", works, flags=re.M)
    kept = []
    for table in tables:
        name, row = table.split("\n", 1)[0], dict(re.findall(r'^(id|line) = "([^"]+)"$', table, re.M))
        if (name == "[[furnace]]" and row["id"] != furnace) or (name == "[[line]]" and row["id"] not in lines):
            continue
        if name != "[[station]]" or row["line"] in lines:
            kept.append(table)
    return "".join(kept)


class Place:
    """A site in a temporary folder, with the invented works unless told otherwise."""

    def __init__(self, root: Path, works: str = WORKS, settings: Settings | None = None):
        self.site = Site(root)
        self.site.inbox.mkdir(parents=True)
        self.site.works_toml.write_text(works, encoding="utf-8")
        self.settings = settings or Settings(fixed_now=NOW, lock_wait_s=5)

    @classmethod
    def at(cls, root: Path, settings: Settings | None = None) -> Place:
        """A site that is there already."""
        place = cls.__new__(cls)
        place.site, place.settings = Site(root), settings or Settings(fixed_now=NOW, lock_wait_s=5)
        return place

    def copied(self, root: Path, settings: Settings | None = None) -> Place:
        """The same site once more, to write to."""
        shutil.copytree(self.site.root, root)
        return Place.at(root, settings or self.settings)

    @property
    def plant(self) -> Plant:
        return read_plant(self.site.works_toml.read_text(encoding="utf-8"))

    @property
    def opened(self) -> OpenSite:
        return OpenSite(self.site, self.settings, self.plant)

    def put(self, name: str, data: str | bytes) -> Path:
        path = self.site.inbox / name
        path.write_bytes(data if isinstance(data, bytes) else data.encode())
        return path

    def take(self) -> IntakeReport:
        return take_in(self.site, self.plant, self.settings)

    def ask(self, name: str, **params: object) -> pl.DataFrame:
        with self.opened.ledger.reading() as reader:
            return reader.ask(name, **params)

    def facts(self, feed: str) -> pl.DataFrame:
        """The rows in force of a feed, without where they came from, in an order of their own."""
        with self.opened.ledger.reading() as reader:
            rows = reader.current(feed)
        frame = rows.drop("batch", "file_line")
        return frame.sort(frame.columns)

    def refusals(self) -> list[tuple[str, int, str, str]]:
        rows = self.ask("refusals_open", most=100_000, from_batch=0)
        return sorted(rows.select("file", "file_line", "column_name", "reason").iter_rows())


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest modules first; `quick` where QUICK says so."""
    here = Path(__file__).parent
    names = {item: item.path.relative_to(here).as_posix() for item in items}
    for item, name in names.items():
        if name.startswith(QUICK) and name not in NOT_QUICK:
            item.add_marker(pytest.mark.quick)
    order = {name: n for n, name in enumerate(LONGEST)}
    items.sort(key=lambda item: order.get(names[item], len(order)))


@pytest.fixture
def place(tmp_path: Path) -> Place:
    return Place(tmp_path / "site")


@pytest.fixture
def new_place(tmp_path: Path) -> Callable[[], Place]:
    count = iter(range(10_000))
    return lambda: Place(tmp_path / f"site{next(count)}")


@pytest.fixture(scope="session")
def plant() -> Plant:
    return read_plant(WORKS)


@pytest.fixture(scope="session")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Shared:
    """What all workers of this run share: `shared.simulated(plan)`, `shared.made(name, make)`."""
    return Shared(folder_of_run(tmp_path_factory))


@pytest.fixture(scope="session")
def new_site(shared: Shared, tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Place]:
    """`new_site(name, make)`: a copy of the site that `make(place)` makes; it is made once a run, however many ask for
    copies. A copy costs 0.03 s.
    """

    def site(name: str, make: Callable[[Place], object], works: str = WORKS) -> Place:
        root, _ = shared.made(f"site-{name}", lambda root: make(Place(root, works)) and None)
        return Place.at(root).copied(tmp_path_factory.mktemp(name) / "site")

    return site


@pytest.fixture(scope="session")
def day_of_truth(plant: Plant, shared: Shared) -> Simulated:
    """One simulated day on a seed of its own, its lehr as works.toml says. Tests read it and leave it as it is."""
    return shared.simulated(make_plan(plant, date(2026, 3, 10), 1, seed=41_077, lag_offset=0.0))


@pytest.fixture(scope="session")
def taken(day_of_truth: Simulated, new_site: Callable[..., Place]) -> Callable[[], Place]:
    """`taken()`: that day taken in, in a site of the test's own, to write to."""

    def fill(place: Place) -> None:
        write_feeds(day_of_truth, place.site.inbox)
        place.take()

    return lambda: new_site("day", fill)


@pytest.fixture(scope="session")
def day_taken(taken: Callable[[], Place]) -> Place:
    """That day taken in. Tests read it and leave it as it is."""
    return taken()
