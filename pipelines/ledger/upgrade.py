"""Before a ledger of an older version is brought to this one: a copy as it was, and one line that says so."""

from __future__ import annotations

import shutil
import sys

from pipelines.errors import SiteError
from pipelines.ledger.migrations import newest
from pipelines.settings import Site
from pipelines.whole_files import written_whole

SPARE = 1.05  # of the ledger's size must be free for the copy


def keep_before(site: Site, at: int) -> None:
    """Keep the resting ledger that stands at migration `at` as `.upgrade/ledger-<at>.duckdb`, where this version has
    later ones.

    The latest copy of each state is kept, until somebody deletes it. SiteError where there is no room for it: nothing
    is changed then.
    """
    if at in (0, newest()):
        return
    folder = site.root / ".upgrade"
    copy = folder / f"ledger-{at:04d}.duckdb"
    size = site.ledger.stat().st_size
    folder.mkdir(mode=0o750, exist_ok=True)
    free = shutil.disk_usage(folder).free
    if free < size * SPARE:
        raise SiteError(
            f"{site.ledger} was written by an older coldledger and is kept as it is before it is changed, but the "
            f"disk has no room for the copy: free {size * SPARE / 1e6:.0f} MB ({free / 1e6:.0f} are free) and run "
            "this again"
        )
    for ending in ("", ".wal"):
        source = site.ledger.with_name(site.ledger.name + ending)
        target = copy.with_name(copy.name + ending)
        if source.exists():
            with written_whole(target) as part:
                shutil.copyfile(source, part)
                shutil.copymode(source, part)
        else:
            target.unlink(missing_ok=True)
    sys.stderr.write(
        f"The ledger was written by an older coldledger (tables at {at}, now {newest()}): it is brought to this "
        f"version; as it was it is kept in {copy}, to be deleted when all is well.\n"
    )
