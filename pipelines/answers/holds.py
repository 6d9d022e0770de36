"""What is held, why, since when, by whom; beside what the warehouse says of the same pallets."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import polars as pl

from pipelines.errors import WrongUse
from pipelines.ledger.reader import Reader
from pipelines.measures.holds.decisions import HELD, PROPOSED, SCRAPPED, Hold, folded, holding
from pipelines.measures.holds.sampling import inspection_after, plans
from pipelines.plant.works import Plant
from pipelines.words import say
from schemas.answers.holds import Decision, HeldPallet
from schemas.answers.trace import SamplingPlan


def decisions(reader: Reader) -> list[Decision]:
    """Every decision kept, the oldest first."""
    rows = reader.ask("hold_events_all")
    found = []
    for _, part in rows.group_by("event", maintain_order=True):
        first = part.row(0, named=True)
        found.append(
            Decision(
                number=first["event"],
                hold=first["hold"],
                action=first["action"],
                pallets=tuple(part["pallet"]),
                at=first["told_at"],
                by=first["by_whom"],
                why=first["why"],
                evidence=first["evidence"],
            )
        )
    return found


def all_holds(reader: Reader) -> dict[str, Hold]:
    """Every hold by name, with its pallets and its decisions."""
    return folded(decisions(reader))


def held_by(reader: Reader) -> dict[str, list[str]]:
    """The holds on every pallet that is held or proposed now."""
    return holding(all_holds(reader).values())


def answer_holds(reader: Reader, everything: bool = False, name: str | None = None) -> list[HeldPallet]:
    """Pallets that are held or proposed now, and those only the warehouse holds; with `everything` also what was
    released, scrapped or dismissed.

    First what the warehouse gave out though it is held here, then proposals that wait for somebody, then holds, the
    newest first, then the warehouse's own.
    """
    holds = all_holds(reader)
    mine = [h for h in holds.values() if name in (None, h.name)]
    states = _warehouse(reader, [pallet for hold in mine for pallet in hold.pallets])
    pallets = [_held(hold, pallet, states.get(pallet)) for hold in mine for pallet in hold.pallets]
    shown = [pallet for pallet in pallets if everything or name is not None or pallet.state in (HELD, PROPOSED)]
    if name is None:
        known = {pallet.pallet for pallet in pallets if pallet.state in (HELD, PROPOSED)}
        for row in reader.ask("pallets_held").iter_rows(named=True):
            if row["pallet"] not in known and row["state"] == "held":
                shown.append(_only_warehouse(row))
    return sorted(shown, key=_gravest)


def _gravest(pallet: HeldPallet) -> tuple[bool, bool, bool, float, str]:
    out = pallet.state == HELD and pallet.warehouse == "released" and bool(pallet.hold)
    return (
        not out,
        not pallet.hold,
        pallet.state != PROPOSED,
        -pallet.since.timestamp() if pallet.since else 0.0,
        pallet.pallet,
    )


def _warehouse(reader: Reader, pallets: list[str]) -> dict[str, dict[str, Any]]:
    if not pallets:
        return {}
    rows: pl.DataFrame = reader.ask("pallets_named", pallets=pallets)
    return {row["pallet"]: row for row in rows.iter_rows(named=True)}


def _held(hold: Hold, pallet: str, row: dict[str, Any] | None) -> HeldPallet:
    last = next(decision for decision in reversed(hold.decisions) if pallet in decision.pallets)
    state, warehouse = hold.pallets[pallet], str(row["state"]) if row else None
    return HeldPallet(
        hold=hold.name,
        pallet=pallet,
        state=state,
        since=hold.since[pallet],
        by=last.by,
        why=last.why,
        evidence=last.evidence,
        warehouse=warehouse,
        disagrees=_disagreement(state, warehouse),
        **_of_pallet(row),
    )


def _of_pallet(row: dict[str, Any] | None) -> dict[str, Any]:
    return {name: row[name] for name in ("line", "item", "packed_from", "packed_to", "units")} if row else {}


def _disagreement(state: str, warehouse: str | None) -> str:
    if warehouse is None:
        return say("the pallets feed does not know it")
    if state == HELD and warehouse == "released":
        return say("held here, but the warehouse has released it: it may be on the road or with the customer")
    if state == HELD and warehouse == "packed":
        return say("held here, but the warehouse does not say so yet")
    if state == SCRAPPED and warehouse != "scrapped":
        return say("scrapped here, but the warehouse says {warehouse}", warehouse=warehouse)
    if state == "released" and warehouse in ("held", "resort"):
        return say("released here, but the warehouse says {warehouse}", warehouse=warehouse)
    return ""


def _only_warehouse(row: dict[str, Any]) -> HeldPallet:
    return HeldPallet(
        hold="",
        pallet=str(row["pallet"]),
        state=HELD,
        since=None,
        by="",
        why="",
        evidence="",
        warehouse=str(row["state"]),
        disagrees=say("held by the warehouse; no decision about it is kept here"),
        **_of_pallet(row),
    )


def plans_of_hold(
    reader: Reader, plant: Plant, name: str, severity: str, past: Sequence[bool], steady: bool
) -> tuple[str, list[SamplingPlan]]:
    """The inspection that the switching rules call for after `past` lots (True: accepted), and the plans for the hold's
    pallets as one lot, by inspection.

    "stopped" where sampling has ended. WrongUse for a critical defect, which is not sampled away, for an unknown hold,
    and for one that holds nothing.
    """
    if severity == "critical":
        raise WrongUse(
            say(
                "a critical defect is not sampled away: sort all of the hold or scrap it, as the works' "
                "quality system decides"
            )
        )
    if severity not in ("major", "minor"):
        raise WrongUse(f"--severity is major or minor, not '{severity}'")
    held = [hold for hold in answer_holds(reader, name=name) if hold.state == HELD]
    lot = sum(pallet.units or 0 for pallet in held)
    if lot < 2:
        raise WrongUse(say("{name} holds no pallet; see `coldledger holds --all`", name=name))
    sampling_plans = plans(plant.sampling, lot, severity)
    return inspection_after(past, None, steady, sampling_plans[0].ac), sampling_plans
