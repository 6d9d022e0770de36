"""Small sites for tests."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

import polars as pl
import pytest

from pipelines.intake import IntakeReport, take_in
from pipelines.plant import Plant, read_plant
from pipelines.settings import Settings, Site
from pipelines.site import OpenSite
from sample_feeds.simulator import Simulated, make_plan, simulate, write_feeds

SAMPLES = Path(__file__).parent.parent / "sample_feeds"
WORKS = (SAMPLES / "works.toml").read_text(encoding="utf-8")
NOW = datetime(2026, 4, 1, tzinfo=UTC)
HEAD = "window_start,line,station,mould,window_s,inspected,rejected\n"


class Place:
    """A site in a temporary folder, with the invented works unless told otherwise."""

    def __init__(self, root: Path, works: str = WORKS, settings: Settings | None = None):
        self.site = Site(root)
        self.site.inbox.mkdir(parents=True)
        self.site.works_toml.write_text(works, encoding="utf-8")
        self.settings = settings or Settings(fixed_now=NOW, lock_wait_s=5)

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
        told = rows.drop("batch", "file_line")
        return told.sort(told.columns)

    def refusals(self) -> list[tuple[str, int, str, str]]:
        rows = self.ask("refusals_open", most=100_000, from_batch=0)
        return sorted(rows.select("file", "file_line", "column_name", "reason").iter_rows())


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
def day_of_truth(plant: Plant) -> Simulated:
    """One simulated day on a seed of its own, its lehr as works.toml says."""
    return simulate(make_plan(plant, date(2026, 3, 10), 1, seed=41_077, lag_offset=0.0))


@pytest.fixture(scope="session")
def day_taken(day_of_truth: Simulated, tmp_path_factory: pytest.TempPathFactory) -> Place:
    """That day taken in. Tests read it and leave it as it is."""
    place = Place(tmp_path_factory.mktemp("day") / "site")
    write_feeds(day_of_truth, place.site.inbox)
    place.take()
    return place
