"""What can go wrong with the ledger's file, in one sentence each."""

from __future__ import annotations

import errno
from pathlib import Path

import duckdb

from pipelines.errors import LedgerBroken, SiteError
from pipelines.settings import Site


def busy_sentence(site: Site, waited: float) -> str:
    """One sentence for a ledger that another program holds."""
    return (
        f"{site.ledger} is held by another program (waited {waited:.0f} s); close it there, or wait for the other "
        "coldledger run to end, then run this again"
    )


def no_ledger(site: Site) -> str:
    """One sentence for a ledger that is not there: none was made yet, or the one that took in what lies in the archive
    is gone.
    """
    if (site.archive / "received.jsonl").exists():
        return (
            f"{site.ledger} is gone, though archive/ holds what it took in; put its disk or a copy of the site back, "
            "or make it again: `coldledger rebuild --from-archive`. Nothing received was lost"
        )
    return f"{site.root} has no ledger yet; put feed files in inbox/ and run `coldledger intake`"


def must_have_its_ledger(site: Site) -> None:
    """SiteError where the ledger that took in what lies in the archive is gone: a new one would number and date
    receipts anew.
    """
    if (site.archive / "received.jsonl").exists() and not site.ledger.exists():
        raise SiteError(no_ledger(site))


def unwritable(site: Site, error: OSError) -> str:
    """One sentence for a site folder that cannot be written to."""
    if error.errno == errno.ENOSPC:
        return f"the disk of {site.root} is full; free some space and run this again: nothing received was lost"
    return f"{site.root} cannot be written to ({error.strerror}); give this account the right to write there"


def unwritable_prefect(site: Site, folder: str, error: OSError) -> str:
    """One sentence for the folder of Prefect's own files where it cannot be made."""
    if Path(folder) == site.root / ".prefect":
        return unwritable(site, error)
    return (
        f"PREFECT_HOME, {folder}, cannot be written to ({error.strerror}): Prefect keeps its files there; name a "
        "folder that can be, or leave PREFECT_HOME unset, and they lie in the site"
    )


def plain_error(error: duckdb.Error, site: Site) -> Exception:
    """What the database says about its file as one of our errors."""
    text = str(error)
    if "No space left" in text or "could not write all data" in text.lower() or "disk full" in text.lower():
        return SiteError(unwritable(site, OSError(errno.ENOSPC, "No space left on device")))
    if "Permission denied" in text or "Operation not permitted" in text or "read-only file system" in text.lower():
        return SiteError(unwritable(site, OSError(errno.EACCES, "permission denied")))
    what = "it is another program's SQLite file" if "sqlite_scanner" in text else text.splitlines()[0]
    return LedgerBroken(
        f"{site.ledger} could not be used: {what}; restore a copy of the site, or make the ledger again from the "
        "archive: `coldledger rebuild --from-archive`"
    )
