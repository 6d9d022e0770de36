"""The site folder: made, found, opened."""

from __future__ import annotations

import os
from contextlib import suppress
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from pipelines import numbers
from pipelines.errors import SiteError, WrongUse
from pipelines.ledger import Ledger
from pipelines.ledger.history import former_plants
from pipelines.ledger.sentences import unwritable
from pipelines.plant.works import Plant, read_plant, restored
from pipelines.settings import Settings, Site
from pipelines.whole_files import written_whole


@dataclass(frozen=True)
class OpenSite:
    """A site whose plant file was read. `known` also has ids that works.toml has lost and the ledger still speaks
    of.
    """

    site: Site
    settings: Settings
    plant: Plant

    @property
    def ledger(self) -> Ledger:
        return Ledger(self.site, self.settings)

    @property
    def known(self) -> Plant:
        texts = former_plants(self.ledger)
        return (
            restored(self.plant, [read_plant(text) for text in reversed(texts.values())])
            if len(texts) > 1
            else self.plant
        )


def works_toml_of(path: Path | None) -> Path:
    """Where the works.toml of the site given, else of COLDLEDGER_SITE, else of the current folder stands."""
    return Site(Path(path or os.environ.get("COLDLEDGER_SITE") or ".").resolve()).works_toml


def open_site(path: Path | None, settings: Settings) -> OpenSite:
    """The site given, else COLDLEDGER_SITE, else the current folder; SiteError or PlantError where it is none."""
    root = Path(path or os.environ.get("COLDLEDGER_SITE") or ".").resolve()
    site = Site(root)
    try:
        text = site.works_toml.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise SiteError(f"{root} is no site: it has no works.toml; make one with `coldledger init {root}`") from None
    except UnicodeDecodeError:
        raise SiteError(f"{site.works_toml} is not UTF-8 text; save it as UTF-8") from None
    except OSError as error:
        raise SiteError(f"{site.works_toml} cannot be read ({error.strerror})") from None
    plant = read_plant(text)
    numbers.use(plant.pages)
    if not site.inbox.is_dir():
        try:
            site.inbox.mkdir()
        except OSError as error:
            raise SiteError(unwritable(site, error)) from None
    return OpenSite(site, settings, plant)


def init_site(root: Path, text: str | None = None) -> Site:
    """Make a new site folder; WrongUse where one is already."""
    site = Site(root.resolve())
    if site.works_toml.exists():
        raise WrongUse(f"{site.works_toml} is there already; nothing was changed")
    try:
        site.inbox.mkdir(parents=True, exist_ok=True)
        with written_whole(site.works_toml) as part:
            part.write_text(text if text is not None else template(), encoding="utf-8")
    except OSError as error:
        raise SiteError(unwritable(site, error)) from error
    return site


def close_to_others(site: Site) -> None:
    """The same for what an earlier version wrote: its folders and its ledger. inbox/ and works.toml are the works' own
    affair.
    """
    kept = (
        site.ledger,
        site.archive,
        site.quarantine,
        site.reports,
        site.locks,
        site.serve,
        *(site.root / each for each in (".prefect", ".listen", ".sources", "ledger.duckdb.wal")),
    )
    for path in kept:
        with suppress(OSError):
            mode = path.stat().st_mode & 0o777
            if mode & 0o007:
                path.chmod(mode & 0o770)


def template() -> str:
    """The commented works.toml that a new site begins with."""
    return files("pipelines.site").joinpath("works_template.toml").read_text(encoding="utf-8")
