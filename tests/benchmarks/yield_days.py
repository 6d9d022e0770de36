"""Furnace-days of simulated works, from the feeds to the yield, beside the truth: honest meters, one that lies,
doubtful pallets.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import polars as pl

from pipelines.answers.yields.answer import yield_and_readings
from pipelines.intake import take_in
from pipelines.ledger import Ledger
from pipelines.ledger.history import keep_balances
from pipelines.ledger.queries import query
from pipelines.plant.works import Plant
from pipelines.settings import Settings
from pipelines.site.folder import init_site, open_site
from sample_feeds.simulator import Plan, PlannedLie, Simulated, make_plan, meters_of, misread, simulate, write_feeds
from sample_feeds.simulator.disturbed import doubtful
from schemas.answers.yields import FurnaceYield, Yield
from tests.benchmarks.worlds import WORLDS
from tests.benchmarks.yield_readings import State, day_of, read

FIRST = date(2026, 4, 1)
DOUBTFUL = 0.013  # of a line's units of a day, on two pallets
# what lies: how much, and whether from the first of all days or from the second of those with feeds
SCENARIOS = {
    "honest": None,
    "any meter 3 uncertainties, from the first day": (3.0, None, True),
    "any meter 3 uncertainties, later": (3.0, None, False),
    "gobs cut 1 to 2 %, from the first day": (0.0, "gobs cut", True),
    "gobs cut 1 to 2 %, later": (0.0, "gobs cut", False),
    "packed 1 to 2 %, later": (0.0, "packed", False),
    "doubtful pallets": None,
}


@dataclass(frozen=True)
class Told:
    """One furnace-day: how many earlier days were known, the truth, what was told, the plain quotient, who was accused,
    who lied.

    left_open: the greatest opening of a balance of containers.  line, line_before: packed over cut of the line with
    doubtful pallets, and the same day's without them; named: whether the pallets were.
    """

    past: int
    truth: float
    value: float | None
    low: float | None
    high: float | None
    raw: float
    accused: tuple[str, ...]
    left_open: float
    liar: str = ""
    lied: bool = False
    line: float | None = None
    line_before: float | None = None
    named: bool = False


def true_yield(simulated: Simulated, plant: Plant, furnace: str, day: date) -> float:
    """Good mass over melted mass of the ware that met the first stations in a day."""
    span = plant.clock.day(day)
    mine = pl.col("line").is_in([line.id for line in plant.lines_of(furnace)])
    good = simulated.truth["good"].filter(
        mine & (pl.col("arrived_at") >= span.start) & (pl.col("arrived_at") < span.end)
    )
    lag = timedelta(minutes=float(np.mean([line.lehr_minutes for line in plant.lines_of(furnace)])))
    melt = simulated.feeds["melt_log"].filter(
        (pl.col("furnace") == furnace)
        & (pl.col("window_start") >= span.start - lag)
        & (pl.col("window_start") < span.end - lag)
    )
    glass = plant.furnaces[furnace]
    held = float(melt["level_change_mm"].sum()) * glass.surface_m2 * glass.density_g_cm3
    unseen = simulated.truth["melt"].filter(pl.col("furnace") == furnace)["unseen"][0]
    return float(good["good_kg"].sum() / (good["cut_kg"].sum() / (1 - unseen) + held))


def planned(world: str, days: int, seed: int) -> Plan:
    """A works of its own; the tidy ones as they always were."""
    plant, rng = WORLDS[world].plant(seed), np.random.default_rng([seed, 99])
    plan = make_plan(plant, FIRST, days + 1, seed, faults=2 * days, roughness=WORLDS[world].roughness)
    plan.window_s, plan.broken = 300, float(rng.uniform(0, 0.001))
    plan.unseen = {furnace: abs(float(rng.normal(0, 0.005))) for furnace in plant.furnaces}
    return plan


def lies_of(plan: Plan, scenario: str, seed: int) -> dict[str, tuple[PlannedLie, bool]]:
    """The meter of each furnace that lies, and whether it does so from the first of all days."""
    how, rng = SCENARIOS[scenario], np.random.default_rng([seed, 98])
    if how is None:
        return {}
    sigmas, kind, always = how
    row = {}
    for furnace in plan.plant.furnaces:
        lines = {line.id for line in plan.plant.lines_of(furnace)}
        mine = [m for m in meters_of(plan) if m.split(" ")[0] == furnace or m.split("-")[0].split(" ")[0] in lines]
        mine = [m for m in mine if kind is None or m.endswith(kind)]
        percent = None if kind is None else float(rng.uniform(1, 2))
        first = date(2000, 1, 1) if always else FIRST + timedelta(days=1)
        sign = 1 if rng.random() < 0.5 else -1
        percent = percent if percent is None else sign * percent
        row[furnace] = (PlannedLie(str(rng.choice(mine)), sign * sigmas, first, date(2100, 1, 1), percent), always)
    return row


def one_works(days: int, seed: int, past: int, world: str, scenario: str) -> list[Told]:
    """A works from the feeds to the yields of its days; past: earlier days whose readings are drawn without feeds."""
    plan = planned(world, days, seed)
    plant, lies = plan.plant, lies_of(plan, scenario, seed)
    honest = misread(simulate(plan), seed, [lie for lie, _ in lies.values()])
    rows, last = _days(honest, world, seed, days, past, lies)
    if scenario != "doubtful pallets":
        return rows
    line = str(np.random.default_rng([seed, 97]).choice(list(plant.lines)))
    day = FIRST + timedelta(days=days - 1)
    spoilt = doubtful(honest, seed, line, plant.clock.day(day).start, DOUBTFUL)
    pallets = set(spoilt.truth["doubtful"]["pallet"])
    rows, now = _days(spoilt, world, seed, days, past, lies)
    mine, before = (next(row for row in day_yield.lines if row.line == line) for day_yield in (now, last))
    named = pallets <= set(getattr(mine, "doubtful_pallets", ()))
    place = [furnace.furnace for furnace in now.furnaces].index(plant.lines[line].furnace) - len(now.furnaces)
    return [replace(rows[place], line=mine.pack_to_melt, line_before=before.pack_to_melt, named=named)]


def _days(
    simulated: Simulated, world: str, seed: int, days: int, past: int, lies: dict[str, tuple[PlannedLie, bool]]
) -> tuple[list[Told], Yield]:
    """The furnace-days of a works, and what was told on the last day."""
    plan, plant, found = simulated.plan, simulated.plan.plant, []
    with tempfile.TemporaryDirectory() as folder:
        site = init_site(Path(folder) / "site", WORLDS[world].text(seed))
        write_feeds(simulated, site.inbox, dirty=False, every="7d", formats=("parquet",))
        settings = Settings(fixed_now=plan.at(plan.minutes) + timedelta(hours=2))
        assert not take_in(site, plant, settings).needs_a_person
        opened = open_site(site.root, settings)
        _past(opened.ledger, plan, past, lies)
        for number in range(days):
            day = FIRST + timedelta(days=number)
            with opened.ledger.reading() as reader:
                day_yield, kept = yield_and_readings(reader, plant, day)
            with opened.ledger.writing() as con:
                keep_balances(con, day, 1, kept, day_yield)
            found += [_told(number + past, simulated, day_yield, furnace, day, lies) for furnace in day_yield.furnaces]
    return found, day_yield


def _past(ledger: Ledger, plan: Plan, days: int, lies: dict[str, tuple[PlannedLie, bool]]) -> None:
    """Readings of the days before, of a works that loses as much unseen and whose meters lie as much, if from the first
    of all days.
    """
    rng, plant = np.random.default_rng([plan.seed, 77]), plan.plant
    with ledger.writing() as con:
        for furnace in plant.furnaces:
            state = State(plan.unseen[furnace], {line.id: np.full(5, plan.broken) for line in plant.lines_of(furnace)})
            lie, always = lies.get(furnace, (None, False))
            liar, size = ("", 3.0) if lie is None or not always else (lie.meter, _sigmas(plan, lie))
            for back in range(days, 0, -1):
                reading = read(rng, plant, day_of(rng, plant, furnace, state), liar, size)
                row = {
                    "day": FIRST - timedelta(days=back),
                    "revision": 1,
                    "furnace": furnace,
                    "usual": "{}",
                    "told": "{}",
                }
                con.execute(query("keep_balance", "writes"), {**row, "reading": json.dumps(reading.kept())})


def _sigmas(plan: Plan, lie: PlannedLie) -> float:
    return lie.sigmas if lie.percent is None else lie.percent / meters_of(plan)[lie.meter]


def _told(
    past: int,
    simulated: Simulated,
    day_yield: Yield,
    furnace: FurnaceYield,
    day: date,
    lies: dict[str, tuple[PlannedLie, bool]],
) -> Told:
    accused = tuple(s.meter for s in day_yield.suspect_meters if s.furnace == furnace.furnace)
    left = [abs(row.after) for row in day_yield.balances if row.furnace == furnace.furnace and row.unit == "containers"]
    truth, lie = true_yield(simulated, simulated.plan.plant, furnace.furnace, day), lies.get(furnace.furnace)
    liar, lied = (lie[0].meter, lie[0].first <= day) if lie else ("", False)
    raw = furnace.raw if furnace.raw is not None else float("nan")
    return Told(
        past, truth, furnace.pack_to_melt, furnace.low, furnace.high, raw, accused, max(left, default=0.0), liar, lied
    )


def summed(these_rows: Sequence[Told], scenario: str) -> dict[str, str]:
    """What to print of a scenario's furnace-days."""
    of = [seen for seen in these_rows if seen.lied] if SCENARIOS[scenario] else list(these_rows)
    ranges = [(seen.low, seen.high) for seen in of if seen.low is not None and seen.high is not None]
    inside = [o.low <= o.truth <= o.high for o in of if o.low is not None and o.high is not None]
    error = [100 * abs(seen.value - seen.truth) for seen in of if seen.value is not None]
    raw = [100 * abs(seen.raw - seen.truth) for seen in of if np.isfinite(seen.raw)]
    honest = [bool(set(seen.accused) - {seen.liar}) for seen in of]
    rows = {
        f"{scenario}: interval holds the truth": f"{100 * np.mean(inside):.1f} % of {len(inside)}" if inside else "-",
        f"{scenario}: width, median [points]": f"{100 * np.median([h - lo for lo, h in ranges]):.2f}"
        if ranges
        else "-",
        f"{scenario}: error, mean / 95 %": f"{np.mean(error):.2f} / {np.quantile(error, 0.95):.2f}" if error else "-",
        f"{scenario}: plain quotient's error": f"{np.mean(raw):.2f} / {np.quantile(raw, 0.95):.2f}" if raw else "-",
        f"{scenario}: a range and no number": f"{sum(each.value is None for each in of)} of {len(of)}",
        f"{scenario}: honest meters accused": f"{100 * np.mean(honest):.1f} % of days" if honest else "-",
    }
    if scenario == "doubtful pallets":
        moved = [100 * abs(o.line - o.line_before) for o in of if o.line is not None and o.line_before is not None]
        within = [o < 1.5 for o in moved] + [False] * (len(of) - len(moved))
        rows = {
            f"{scenario} of 1.3 %: the line moves by less than 1.5 points": f"{100 * np.mean(within):.1f} % of "
            f"{len(of)}",
            f"{scenario} of 1.3 %: moved, greatest [points]": f"{max(moved):.2f}" if moved else "-",
            f"{scenario} of 1.3 %: named": f"{100 * np.mean([o.named for o in of]):.1f} % of {len(of)}",
        }
    if SCENARIOS[scenario]:
        named = [seen.liar in seen.accused for seen in of]
        rows[f"{scenario}: liar accused"] = f"{100 * np.mean(named):.1f} % of days" if named else "-"
    return rows
