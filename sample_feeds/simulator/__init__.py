"""A glassworks that never was, minute by minute and container by container, with everything it did known.

`simulate` makes feeds and truth; `write_feeds` puts the feeds into an inbox as the stations would.
"""

from sample_feeds.simulator.meters import PlannedLie, meters_of, misread, with_states
from sample_feeds.simulator.plan import DensityStep, Dimmed, GobDrift, Plan, PlannedFault, make_plan
from sample_feeds.simulator.rough import ROUGH, Roughness
from sample_feeds.simulator.rough_works import rough_plant, rough_works
from sample_feeds.simulator.works import Simulated, simulate
from sample_feeds.simulator.write import write_feeds

__all__ = [
    "ROUGH",
    "DensityStep",
    "Dimmed",
    "GobDrift",
    "Plan",
    "PlannedFault",
    "PlannedLie",
    "Roughness",
    "Simulated",
    "make_plan",
    "meters_of",
    "misread",
    "rough_plant",
    "rough_works",
    "simulate",
    "with_states",
    "write_feeds",
]
