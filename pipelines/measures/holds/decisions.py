"""What is held, as it follows from the decisions kept: a history that is only ever added to."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from pipelines.words import joined, say
from schemas.answers.holds import Decision

PROPOSED, HELD, RELEASED, SCRAPPED, DISMISSED = "proposed", "held", "released", "scrapped", "dismissed"
BECOMES = {
    "propose": PROPOSED,
    "confirm": HELD,
    "place": HELD,
    "extend": HELD,
    "release": RELEASED,
    "scrap": SCRAPPED,
    "dismiss": DISMISSED,
}
FROM: dict[str, tuple[str | None, ...]] = {
    "propose": (None, DISMISSED, RELEASED),
    "confirm": (PROPOSED,),
    "place": (None,),
    "extend": (None, PROPOSED, DISMISSED, RELEASED),
    "release": (HELD,),
    "scrap": (HELD,),
    "dismiss": (PROPOSED,),
}


@dataclass
class Hold:
    """One hold: each of its pallets' states, and all decisions, the oldest first."""

    name: str
    pallets: dict[str, str] = field(default_factory=dict)
    since: dict[str, datetime] = field(default_factory=dict)
    decisions: list[Decision] = field(default_factory=list)

    @property
    def state(self) -> str:
        """The gravest state of any pallet: a hold is held while one pallet is."""
        states = set(self.pallets.values())
        return next(s for s in (HELD, PROPOSED, SCRAPPED, RELEASED, DISMISSED) if s in states)


class NotPossible(ValueError):
    """A decision that the state of a hold does not allow; says why, and what can be done."""


def folded(decisions: Iterable[Decision]) -> dict[str, Hold]:
    """Every hold after all decisions, by name, the oldest first."""
    holds: dict[str, Hold] = {}
    for decision in decisions:
        hold = holds.setdefault(decision.hold, Hold(decision.hold))
        hold.decisions.append(decision)
        for pallet in decision.pallets:
            hold.pallets[pallet] = BECOMES[decision.action]
            hold.since[pallet] = decision.at
    return holds


def next_name(holds: Iterable[str]) -> str:
    """The name of the next hold: H-0001 and on."""
    return f"H-{max((int(name[2:]) for name in holds), default=0) + 1:04d}"


def pallets_for(hold: Hold | None, action: str, named: Sequence[str]) -> tuple[str, ...]:
    """The pallets that a decision is about: those named, or all of the hold that it can be about. NotPossible where it
    is about none.
    """
    states = hold.pallets if hold is not None else {}
    allowed = FROM[action]
    wrong = [p for p in named if states.get(p) not in allowed]
    if wrong:
        is_now = joined(", ", (say("{p} is {get}", p=p, get=states.get(p, "not in it")) for p in wrong[:5]))
        raise NotPossible(
            say(
                "cannot {action} in {name}: {is_now}; {instead}",
                action=action,
                name=hold.name if hold else say("a new hold"),
                is_now=is_now,
                instead=_instead(action),
            )
        )
    if named:
        return tuple(dict.fromkeys(named))
    if action in ("place", "propose", "extend"):
        raise NotPossible(say("name the pallets to {action} with --pallet", action=action))
    chosen = tuple(p for p, state in states.items() if state in allowed)
    if not chosen:
        raise NotPossible(
            say(
                "no pallet of {name} can be {becomes}; {instead}",
                name=hold.name if hold else say("this hold"),
                becomes=BECOMES[action],
                instead=_instead(action),
            )
        )
    return chosen


def _instead(action: str) -> str:
    return {
        "release": "only held pallets can be released; confirm or dismiss a proposal first",
        "scrap": "only held pallets can be scrapped; confirm a proposal first",
        "confirm": "only proposed pallets can be confirmed; use `extend` to add others",
        "dismiss": "only proposed pallets can be dismissed; use `release` for held ones",
        "extend": "a pallet that is held or scrapped in it needs no extending",
    }.get(action, "each pallet stands once in a hold")


def holding(holds: Iterable[Hold]) -> dict[str, list[str]]:
    """For every pallet that is held or proposed now, the holds that say so, those that hold first."""
    texts: dict[str, list[str]] = {}
    every = list(holds)
    for state in (HELD, PROPOSED):
        for hold in every:
            for pallet, now in hold.pallets.items():
                if now == state:
                    texts.setdefault(pallet, []).append(
                        hold.name if state == HELD else say("{name} (proposed)", name=hold.name)
                    )
    return texts
