"""A file tried: as works.toml reads it, or, where nothing there fits, by a mapping that is only proposed."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pipelines.errors import WrongUse
from pipelines.intake.foreign.propose import Proposal, propose
from pipelines.intake.foreign.trial import Tried, try_file
from pipelines.intake.foreign.workbook import is_workbook
from pipelines.intake.read_csv import unpack
from pipelines.site.folder import OpenSite
from schemas.reasons import Reason

_NO_KIND = {Reason.UNKNOWN_FEED.code, Reason.UNKNOWN_FORMAT.code}


@dataclass(frozen=True)
class Trial:
    """What a file would become; `proposal` where works.toml had nothing for it."""

    file: str
    tried: list[Tried]
    proposal: Proposal | None = None

    @property
    def whole(self) -> bool:
        """Whether every row would be kept as works.toml now is."""
        return self.proposal is None and all(trial.whole for trial in self.tried)


def trial_of(opened: OpenSite, file: Path, name: str | None, feed: str | None) -> Trial:
    """Try a file on a site; nothing is written. feed: propose a mapping onto this feed, whatever works.toml says."""
    shown = name or file.name
    tried = try_file(file, shown, opened.site, opened.plant, opened.settings)
    strange = any(fault.reason in _NO_KIND for trial in tried for fault in trial.faults)
    unnamed = any(
        fault.reason == Reason.OTHER_KIND.code and fault.column == "" for trial in tried for fault in trial.faults
    )
    if feed is None and not strange and not unnamed:
        return Trial(shown, tried)
    data = _bytes(opened, file, shown)
    if feed is None and unnamed and not is_workbook(data):
        return Trial(shown, tried)
    proposal = propose(data, shown, opened.plant, feed)
    if proposal.mapping is None:
        return Trial(shown, [], proposal)
    plant = opened.plant.model_copy(update={"mapping": (proposal.mapping,)})
    return Trial(shown, try_file(file, shown, opened.site, plant, opened.settings), proposal)


def _bytes(opened: OpenSite, file: Path, name: str) -> bytes:
    if file.stat().st_size > opened.settings.largest_file:
        raise WrongUse(f"{file} is larger than {opened.settings.largest_file >> 20} MB; try a part of it")
    data = file.read_bytes()
    return unpack(data, opened.settings.largest_file, opened.settings.most_lines) if name.endswith(".gz") else data
