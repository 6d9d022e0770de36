"""The feeds of the contract. ALL_FEEDS is the only list of feeds."""

from __future__ import annotations

from schemas.feeds.actions import Actions
from schemas.feeds.base import Feed, feed_of
from schemas.feeds.breakages import Breakages
from schemas.feeds.capacity_checks import CapacityChecks
from schemas.feeds.challenge_checks import ChallengeChecks
from schemas.feeds.complaints import Complaints
from schemas.feeds.counter_reads import CounterReads
from schemas.feeds.density_checks import DensityChecks
from schemas.feeds.dispatches import Dispatches
from schemas.feeds.forming_counts import FormingCounts
from schemas.feeds.job_log import JobLog
from schemas.feeds.melt_log import MeltLog
from schemas.feeds.mould_log import MouldLog
from schemas.feeds.pallet_links import PalletLinks
from schemas.feeds.pallet_parts import PalletParts
from schemas.feeds.pallets import Pallets
from schemas.feeds.part_events import PartEvents
from schemas.feeds.process_reads import ProcessReads
from schemas.feeds.reject_counts import RejectCounts
from schemas.feeds.returns import Returns
from schemas.feeds.station_counts import StationCounts
from schemas.feeds.stoppages import Stoppages
from schemas.feeds.temper_checks import TemperChecks
from schemas.feeds.test_checks import TestChecks
from schemas.feeds.verdicts import Verdicts
from schemas.feeds.visual_checks import VisualChecks
from schemas.feeds.weight_checks import WeightChecks

ALL_FEEDS: dict[str, Feed] = {
    feed.name: feed
    for feed in (
        feed_of(StationCounts),
        feed_of(RejectCounts),
        feed_of(CounterReads),
        feed_of(WeightChecks),
        feed_of(VisualChecks),
        feed_of(ChallengeChecks),
        feed_of(Pallets),
        feed_of(MouldLog),
        feed_of(JobLog),
        feed_of(FormingCounts),
        feed_of(Stoppages),
        feed_of(MeltLog),
        feed_of(CapacityChecks),
        feed_of(DensityChecks),
        feed_of(TemperChecks),
        feed_of(Complaints),
        feed_of(Verdicts),
        feed_of(Breakages),
        feed_of(PalletParts),
        feed_of(Actions),
        feed_of(PartEvents),
        feed_of(ProcessReads),
        feed_of(TestChecks),
        feed_of(PalletLinks),
        feed_of(Dispatches),
        feed_of(Returns),
    )
}

__all__ = ["ALL_FEEDS", "Feed"]
