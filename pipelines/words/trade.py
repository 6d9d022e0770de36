"""Single words that stand in data and are ours: severities, places, states; and the names of defects."""

from __future__ import annotations

from pipelines.words.message import Message, say

_OURS = (
    say("critical"),
    say("major"),
    say("minor"),
    say("mould"),
    say("section"),
    say("gob"),
    say("line"),
    say("furnace"),
    say("station"),
    say("undecided"),
    say("a guess"),
    say("unread"),
    say("blank"),
    say("neck ring"),
    say("finish"),
    say("neck"),
    say("shoulder"),
    say("body"),
    say("heel"),
    say("base"),
    say("whole"),
    say("alive"),
    say("late"),
    say("silent"),
    say("never"),
    say("running totals only"),
    say("rejects only"),
    say("clock"),
    say("ahead of arrival"),
    say("stands still"),
    say("frozen"),
    say("order"),
    say("mould not fitted"),
    say("proposed"),
    say("held"),
    say("released"),
    say("scrapped"),
    say("packed"),
    say("resort"),
    say("emptied"),
    say("dismissed"),
    say("confirm"),
    say("dismiss"),
    say("propose"),
    say("place"),
    say("extend"),
    say("release"),
    say("scrap"),
    say("normal"),
    say("tightened"),
    say("reduced"),
    say("cold"),
    say("hot"),
    say("unknown"),
    say("beyond the limits"),
    say("two of three near a limit"),
    say("slow drift"),
    say("spread"),
    say("samples of one time"),
    say("moving ranges"),
    say("direct"),
    say("sink-float"),
    say("brimful"),
    say("fill line"),
    say("left"),
    say("middle"),
    say("right"),
    say("not noted"),
    say("density"),
    say("weights"),
    say("capacity"),
    say("temper"),
    say("visual"),
    say("challenge"),
    say("packed"),
    say("failed"),
    say("overdue"),
)
_BY_WORD = {str(word): word for word in _OURS}


def worded(word: str) -> str:
    """The message of a word of ours; any other word as it is."""
    return _BY_WORD.get(word, word)


def defect_name(name: str) -> str:
    """The name of a defect: the works' own, said in another language where the catalogue knows it as the trade's."""
    return Message(name, {}, None, "defect")
