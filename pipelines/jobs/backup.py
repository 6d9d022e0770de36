"""A site's copy in another place, made while the site is in use; and a site made again from it."""

from __future__ import annotations

import json
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

from pipelines.errors import LedgerBroken, SiteError, WrongUse
from pipelines.intake.filing import sha256_of
from pipelines.ledger.keeping import copy_ledger, read_whole
from pipelines.ledger.sentences import unwritable
from pipelines.settings import Site
from pipelines.site.folder import OpenSite
from pipelines.whole_files import written_whole

KEEP = 14  # copies of the ledger
_STAMP = "%Y%m%dT%H%M%SZ"
Progress = Callable[[str], None]


@dataclass(frozen=True)
class BackedUp:
    """folder: of this copy.  files: of the archive that were new, and all.  rows: of the ledger's tables, as the copy
    was read whole.
    """

    folder: Path
    new_files: int
    files: int
    rows: dict[str, int]


def back_up(opened: OpenSite, to: Path, keep: int = KEEP, progress: Progress | None = None) -> BackedUp:
    """Copy the ledger, works.toml, the quarantine, people and acts, and what of the archive is new, into `to`; the copy
    is read whole before it counts.

    The ledger first and the archive after it, so that every file which the copied ledger names is there. SiteError
    where `to` cannot be written.
    """
    site, say = opened.site, progress or (lambda _: None)
    if to.resolve().is_relative_to(site.root):
        raise WrongUse(f"{to} lies in the site itself; a copy belongs on another disk")
    folder = to / f"ledger-{datetime.now(UTC):{_STAMP}}"
    part = to / f".{folder.name}.part"
    try:
        shutil.rmtree(part, ignore_errors=True)
        part.mkdir(parents=True)
        say("the ledger")
        copy_ledger(opened.ledger, part / "ledger.duckdb")
        shutil.copyfile(site.works_toml, part / "works.toml")
        if site.quarantine.is_dir():
            shutil.copytree(site.quarantine, part / "quarantine", ignore=shutil.ignore_patterns(".*"))
        _copy_books(site, part)
        say("reading the copy")
        rows = read_whole(part / "ledger.duckdb")
        texts = {
            "made_at": datetime.now(UTC).isoformat(),
            "program": version("coldledger"),
            "rows": rows,
            "sha256": _hashes(part),
        }
        (part / "copy.json").write_text(json.dumps(texts, indent=1), encoding="utf-8")
        say("the archive")
        new, files = _copy_archive(site.archive, to / "archive")
        part.rename(folder)
        for old in sorted(to.glob("ledger-*"))[: -max(1, keep)]:
            shutil.rmtree(old)
    except OSError as error:
        shutil.rmtree(part, ignore_errors=True)
        raise SiteError(unwritable(Site(to), error)) from error
    except LedgerBroken:
        shutil.rmtree(part, ignore_errors=True)
        raise
    return BackedUp(folder, new, files, rows)


def _copy_books(site: Site, part: Path) -> None:
    """People, acts and runs, by SQLite's own way of copying a database in use."""
    source = site.serve / "serve.db"
    if source.exists():
        with sqlite3.connect(source, timeout=30) as con, sqlite3.connect(part / "serve.db") as copy:
            con.backup(copy)
        copy.close()
        con.close()


def _hashes(folder: Path) -> dict[str, str]:
    return {path.relative_to(folder).as_posix(): sha256_of(path) for path in _files(folder)}


def _files(folder: Path) -> Iterator[Path]:
    return (path for path in sorted(folder.rglob("*")) if path.is_file() and not path.name.startswith("."))


def _copy_archive(source: Path, target: Path) -> tuple[int, int]:
    """Files of the archive never change (but the journals, which grow): one that is there in its size is left. How many
    were new, and all.
    """
    new = files = 0
    for path in _files(source) if source.is_dir() else ():
        files += 1
        copy = target / path.relative_to(source)
        if copy.exists() and copy.stat().st_size == path.stat().st_size:
            continue
        copy.parent.mkdir(parents=True, exist_ok=True)
        with written_whole(copy) as part:
            shutil.copy2(path, part)
        new += 1
    return new, files


def restore_site(source: Path, target: Path, progress: Progress | None = None) -> Path:
    """Make a site anew at `target` from a folder that back_up filled: its newest copy whose every file is as it was
    written. The copy used.

    WrongUse where there is none, or where `target` has a site already.
    """
    say = progress or (lambda _: None)
    if (target / "works.toml").exists() or (target / "ledger.duckdb").exists():
        raise WrongUse(
            f"{target} has a site already; restore into a new folder, look at it, then put it in the other's place"
        )
    copies = [source] if (source / "copy.json").exists() else sorted(source.glob("ledger-*"), reverse=True)
    if not copies:
        raise WrongUse(f"{source} holds no copy; `coldledger backup --to {source}` makes them")
    for folder in copies:
        wrong = _wrong_files(folder)
        if wrong:
            say(f"{folder.name} is not as it was written ({', '.join(wrong[:3])}); the one before is tried")
            continue
        try:
            _put_back(folder, folder.parent, target, say)
        except OSError as error:
            raise SiteError(unwritable(Site(target), error)) from error
        return folder
    raise LedgerBroken(
        f"no copy in {source} is as it was written; the archive there can still be read: `coldledger rebuild "
        "--from-archive`"
    )


def _wrong_files(folder: Path) -> list[str]:
    try:
        answer = json.loads((folder / "copy.json").read_text(encoding="utf-8"))["sha256"]
    except (OSError, ValueError, KeyError):
        return ["copy.json"]
    return [
        name for name, digest in answer.items() if not (folder / name).is_file() or sha256_of(folder / name) != digest
    ]


def _put_back(folder: Path, root: Path, target: Path, say: Progress) -> None:
    (target / "inbox").mkdir(parents=True, exist_ok=True)
    if (root / "archive").is_dir():
        say("the archive")
        _copy_archive(root / "archive", target / "archive")
    if (folder / "quarantine").is_dir():
        shutil.copytree(folder / "quarantine", target / "quarantine", dirs_exist_ok=True)
    if (folder / "serve.db").exists():
        (target / ".serve").mkdir(exist_ok=True)
        shutil.copyfile(folder / "serve.db", target / ".serve" / "serve.db")
    say("the ledger")
    for name in ("ledger.duckdb.wal", "ledger.duckdb", "works.toml"):  # works.toml last: before it, there is no site
        if (folder / name).exists():
            shutil.copyfile(folder / name, target / name)
