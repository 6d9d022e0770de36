"""Deciding about holds: checked against the ledger, kept there, and written down once more in the archive."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from pipelines.answers.holds import all_holds, decisions
from pipelines.errors import WrongUse
from pipelines.ledger import Reader
from pipelines.ledger.holds import keep_decision, restore_decisions
from pipelines.measures.holds.decisions import NotPossible, next_name, pallets_for
from pipelines.reports.trace.whereabouts import trace_title
from pipelines.site.folder import OpenSite
from schemas.answers.holds import Decision
from schemas.answers.trace import Trace

TOOL = "coldledger"  # in whose name proposals are made


def decide(
    opened: OpenSite, action: str, hold: str | None, pallets: Sequence[str], by: str, why: str, evidence: str
) -> Decision:
    """Keep a decision about a hold (a new one where `hold` is None). WrongUse where it cannot be made, or is made
    without a name, a reason or evidence.
    """
    for what, text in (
        ("--by: who decides", by),
        ("--why: the reason", why),
        ("--evidence: what it rests on", evidence),
    ):
        if not text.strip():
            raise WrongUse(f"a hold is decided by somebody, for a reason, on evidence; say {what}")

    def made(reader: Reader) -> Decision:
        holds = all_holds(reader)
        if hold is not None and hold not in holds:
            raise WrongUse(f"there is no hold '{hold}'; see `coldledger holds --all`")
        _check_known(reader, pallets)
        try:
            chosen = pallets_for(holds.get(hold) if hold else None, action, pallets)
        except NotPossible as error:
            raise WrongUse(str(error)) from None
        number = max((d.number for h in holds.values() for d in h.decisions), default=0) + 1
        now = opened.settings.now()
        return Decision(
            number=number,
            hold=hold or next_name(holds),
            action=action,
            pallets=chosen,
            at=now,
            by=by.strip(),
            why=why.strip(),
            evidence=evidence.strip(),
        )

    decision = keep_decision(opened.ledger, made)
    _write_down(opened, [decision])
    return decision


def _check_known(reader: Reader, pallets: Sequence[str]) -> None:
    known = set(reader.ask("pallets_named", pallets=list(pallets))["pallet"]) if pallets else set()
    for pallet in pallets:
        if pallet not in known:
            like = reader.ask("pallets_like", pallet=pallet)["pallet"].to_list()
            near = f"; nearest: {', '.join(like)}" if like else ""
            raise WrongUse(f"no pallet '{pallet}' was ever received{near}")


def propose(opened: OpenSite, trace: Trace, everything: bool, page: Path | None) -> Decision:
    """A proposal to hold what a trace lists: the shortest list, or everything possible. It holds nothing until a person
    confirms it.
    """
    chosen = trace.possible if everything else trace.proposed
    if chosen is None or not chosen.pallets:
        raise WrongUse("the trace lists no pallet to hold; nothing was proposed")
    asked = ", ".join(f"{key.replace('_', ' ')} {value}" for key, value in trace.asked.items())
    expected = (
        "no number of escapes known"
        if trace.expected_defective is None
        else f"expected defective containers {trace.expected_defective:.2g} ({trace.expected_low:.0f} to "
        f"{trace.expected_high:.0f})"
    )
    which = "everything possible" if everything else "the fewest containers that cover 95 % of the expected escapes"
    evidence = f"trace of {asked}; {which}: {len(chosen.pallets)} pallets, {chosen.units} units; {expected}" + (
        f"; page {page}" if page else ""
    )
    return decide(
        opened, "propose", None, chosen.pallets, TOOL, f"proposed after a trace of {trace_title(trace)}", evidence
    )


def _journal(opened: OpenSite) -> Path:
    return opened.site.archive / "holds" / "decisions.jsonl"


def _write_down(opened: OpenSite, these_decisions: Sequence[Decision]) -> None:
    """Decisions are no feed and stand in no received file: the archive keeps a copy, so that a ledger made anew can
    have them again.
    """
    path = _journal(opened)
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("a", encoding="utf-8") as file:
        file.writelines(decision.model_dump_json() + "\n" for decision in these_decisions)


def restore(opened: OpenSite) -> int:
    """Take the decisions of the archive that the ledger lacks into it again; how many."""
    path = _journal(opened)
    if not path.exists():
        return 0
    written = [
        Decision.model_validate(json.loads(text))
        for text in path.read_text(encoding="utf-8").splitlines()
        if text.strip()
    ]

    def missing(reader: Reader) -> list[Decision]:
        known = {decision.number for decision in decisions(reader)}
        return [decision for decision in written if decision.number not in known]

    return len(restore_decisions(opened.ledger, missing))
