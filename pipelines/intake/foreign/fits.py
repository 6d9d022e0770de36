"""Whether a [[mapping]] fits its feed."""

from __future__ import annotations

from pipelines.plant.mapping import Mapping
from schemas.feeds import Feed


def mapping_faults(feed: Feed, mapping: Mapping) -> list[str]:
    """What a mapping names that its feed does not have."""
    named = {**dict.fromkeys(mapping.targets), **mapping.values, **mapping.leave_values, **mapping.factors}
    faults = [f"{column} is no column of {feed.name}" for column in named if column not in feed.columns]
    if len({part.name for part in mapping.wide}) > 1:
        faults.append("all of `wide` must give its headings to one column")
    several = [part.name for part in mapping.wide[:1]] + sorted({part.value for part in mapping.wide})
    once = [*dict.fromkeys(mapping.columns.values()), *several, *mapping.constants]
    faults += [f"{column} is filled twice" for column in dict.fromkeys(once) if once.count(column) > 1]
    return faults
