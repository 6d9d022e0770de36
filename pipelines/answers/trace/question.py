"""What is in hand when a trace begins, filled up from complaint and pallet; and what of it cannot be."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from typing import Any

import polars as pl

from pipelines.answers.pallets import ASSUMED_BEGIN, is_inferred, with_begin
from pipelines.answers.pareto import check_line
from pipelines.clock import Span, utc_text
from pipelines.errors import WrongUse
from pipelines.ledger.reader import Reader
from pipelines.plant.works import Plant
from pipelines.words import say

SSCC_DIGITS = 18
_NO_TIMES = say(
    "no times of making were given: everything in the ledger made before it was received comes into question"
)
READ_BACK = timedelta(
    days=2
)  # of a window in which the stations' readings are looked through for a number the log does not have
LONGEST = timedelta(days=31)  # of a window without a mould number


@dataclass(frozen=True)
class Question:
    """What is in hand. `made` is forming time; received: the day by which the customer had it."""

    complaint: str | None = None
    item: str | None = None
    line: str | None = None
    mould: str | None = None
    defect: str | None = None
    pallet: str | None = None
    made_from: datetime | None = None
    made_to: datetime | None = None
    received: date | None = None

    def told(self) -> dict[str, Any]:
        known = {k: v for k, v in vars(self).items() if v is not None}
        return {
            k: utc_text(v) if isinstance(v, datetime) else v.isoformat() if isinstance(v, date) else v
            for k, v in known.items()
        }


@dataclass
class AskedTrace:
    """A question filled up, with what was found on the way. pallet_row: the pallet as it now stands, None where it is
    not known.
    """

    question: Question
    notes: list[str] = field(default_factory=list)
    impossible: list[str] = field(default_factory=list)
    nearest: list[str] = field(default_factory=list)
    pallet_row: dict[str, Any] | None = None
    units: int | None = None


def filled(reader: Reader, plant: Plant, question: Question) -> AskedTrace:
    """The question with what the complaint and the pallet tell, where it did not say otherwise itself. WrongUse where
    it names what is not there.
    """
    asked = AskedTrace(question)
    if question.complaint is not None:
        rows = reader.ask("complaint", complaint=question.complaint)
        if rows.is_empty():
            raise WrongUse(
                say(
                    "no complaint '{complaint}' was ever received; see `coldledger feeds`",
                    complaint=question.complaint,
                )
            )
        row = rows.row(0, named=True)
        names = ("item", "mould", "defect", "pallet", "made_from", "made_to")
        fresh = {n: row[n] for n in names if getattr(question, n) is None}
        asked.question = replace(question, **fresh, received=question.received or row["received_on"])
        asked.units = complained_units(row, asked.question.defect)
    _check(plant, asked.question)
    if asked.question.pallet is not None:
        _with_pallet(reader, plant, asked)
    return asked


def complained_units(complaint: dict[str, Any], defect: str | None) -> int | None:
    """Containers that a complaint found with a defect; at least one. None where another defect is asked for than it
    tells.
    """
    return max(1, complaint["units"] or 0) if complaint["defect"] in (None, defect) else None


def _with_pallet(reader: Reader, plant: Plant, asked: AskedTrace) -> None:
    pallet = asked.question.pallet or ""
    rows = reader.ask("pallet", pallet=pallet)
    if rows.is_empty():
        asked.impossible.append(
            say("no pallet '{pallet}' was ever received{check}", pallet=pallet, check=_check_digit(pallet))
        )
        rows = reader.ask("pallets_like", pallet=pallet)
        asked.nearest += [_like(plant, row) for row in rows.iter_rows(named=True)]
        asked.question = replace(asked.question, pallet=None)
        return
    fields = with_begin(reader, plant, rows.row(0, named=True))
    asked.pallet_row = fields
    asked.impossible += _against_pallet(plant, asked.question, fields)
    asked.question = replace(asked.question, line=fields["line"], item=fields["item"])
    show = plant.clock.show
    asked.notes.append(
        say(
            "pallet {pallet} was packed on {line} from {start}{inferred} to {end}",
            pallet=pallet,
            line=fields["line"],
            start=show(fields["packed_from"]),
            inferred=ASSUMED_BEGIN[is_inferred(fields)],
            end=show(fields["packed_to"]),
        )
    )


def _like(plant: Plant, row: dict[str, Any]) -> str:
    return say(
        "pallet {pallet}, {item} packed on {line} from {start} to {end}",
        pallet=row["pallet"],
        item=row["item"],
        line=row["line"],
        start=plant.clock.show(row["packed_from"]),
        end=plant.clock.show(row["packed_to"]),
    )


def _against_pallet(plant: Plant, question: Question, row: dict[str, Any]) -> list[str]:
    """What of a question contradicts the pallet that it names."""
    pallet, found = question.pallet, []
    if question.item not in (None, row["item"]):
        found.append(
            say(
                "pallet {pallet} holds {holds}, not {item}; the pallet was believed",
                pallet=pallet,
                holds=row["item"],
                item=question.item,
            )
        )
    if question.line not in (None, row["line"]):
        found.append(
            say(
                "pallet {pallet} was packed on {packed}, not on {line}; the pallet was believed",
                pallet=pallet,
                packed=row["line"],
                line=question.line,
            )
        )
    received = question.received
    if received is not None and plant.clock.day(received).end < row["packed_to"]:
        found.append(
            say(
                "pallet {pallet} was packed until {end}, after it was received ({received}): one of the two is wrong; "
                "the pallet was believed",
                pallet=pallet,
                end=plant.clock.show(row["packed_to"]),
                received=received,
            )
        )
    return found


def _check_digit(pallet: str) -> str:
    """What the GS1 check digit says of a pallet identity that looks like an SSCC (GS1 General Specifications, 7.9)."""
    from stdnum import ean

    if len(pallet) != SSCC_DIGITS or not pallet.isdigit():
        return ""
    right = ean.calc_check_digit(pallet[:-1])
    if right != pallet[-1]:
        return say(
            ": its check digit is {digit} and should be {right}, so a digit was misread", digit=pallet[-1], right=right
        )
    return say("; its check digit is right, so look for its row in the pallets feed")


def _check(plant: Plant, asked: Question) -> None:
    if asked.line is not None:
        check_line(plant, asked.line)
    if asked.item is not None and asked.item not in plant.items:
        raise WrongUse(
            say(
                "there is no item '{item}' in works.toml; it has {items}", item=asked.item, items=", ".join(plant.items)
            )
        )
    if asked.defect is not None and asked.defect not in plant.defects:
        raise WrongUse(
            say(
                "there is no defect '{defect}' in works.toml; it has {defects}",
                defect=asked.defect,
                defects=", ".join(plant.defects),
            )
        )
    if asked.defect in plant.no_faults:
        kind = plant.defects[asked.defect].kind
        raise WrongUse(
            say(
                "'{defect}' is no fault of the ware ({kind}, by works.toml): nothing can be traced by it",
                defect=asked.defect,
                kind=kind,
            )
        )
    if asked.made_from and asked.made_to and asked.made_from >= asked.made_to:
        raise WrongUse(say("--made-from must lie before --made-to"))
    if not any((asked.item, asked.line, asked.mould, asked.pallet)):
        raise WrongUse(say("say what is in hand: --complaint, --pallet, --mould, --item or --line"))


def window_asked(reader: Reader, plant: Plant, asked: AskedTrace) -> Span | None:
    """The forming window by what was said and what the ledger holds; None, and said, where they do not meet."""
    spans = reader.ask("span_of_counts").row(0, named=True)
    if spans["first_window"] is None:
        asked.impossible.append(say("the ledger holds no cold-end counts yet"))
        return None
    way = timedelta(minutes=min(line.lehr_minutes for line in plant.line))
    first, last = spans["first_window"] - 2 * way, spans["last_window"] - way
    question = asked.question
    received = plant.clock.day(question.received).end if question.received else None
    show = plant.clock.show
    start, end = question.made_from or first, min(question.made_to or last, received or last)
    early = received is not None and question.made_from is not None and question.made_from >= received
    if received and question.made_to and question.made_to > received and not early:
        asked.notes.append(
            say(
                "the times of making reach beyond {received}, the day it was received: nothing made later was looked "
                "at",
                received=question.received,
            )
        )
    if question.made_from is None and question.made_to is None and question.mould is not None:
        asked.notes.append(_NO_TIMES)
    if end <= first or start >= last:
        _outside(plant, asked, Span(first, last), end <= first, early)
        return None
    if start < first:
        asked.notes.append(
            say(
                "the time asked for begins before the ledger does: ware formed before {first} is not known here",
                first=show(first),
            )
        )
    if early:
        asked.impossible.append(
            say("it would have been received before it was made; the times of making were believed")
        )
        end = question.made_to or start + timedelta(minutes=1)
    window = Span(max(start, first), max(end, max(start, first) + timedelta(minutes=1)))
    return window if question.mould is not None else _narrowed(plant, asked, window)


def _outside(plant: Plant, asked: AskedTrace, known: Span, before: bool, early: bool) -> None:
    """Says that nothing of the time asked for is in the ledger: before it, or after it."""
    first, last = plant.clock.show(known.start), plant.clock.show(known.end)
    asked.impossible.append(
        say(
            "the ledger holds ware formed from {first} to {last}, nothing of the time asked for", first=first, last=last
        )
    )
    if early:
        asked.impossible.append(say("it would have been received before it was made"))
    asked.nearest.append(
        say("the first ware in the ledger was formed about {first}", first=first)
        if before
        else say("the last ware in the ledger was formed about {last}", last=last)
    )


def _narrowed(plant: Plant, asked: AskedTrace, window: Span) -> Span:
    """Without a mould number not more than LONGEST back: a year of all cavities points nowhere."""
    if window.end - window.start <= LONGEST:
        return window
    start = window.end - LONGEST
    asked.notes.append(
        say(
            "without a mould number only the last {days} days of the time asked for were looked at, from {start} on; "
            "give earlier times of making to look further back",
            days=LONGEST.days,
            start=plant.clock.show(start),
        )
    )
    return Span(start, window.end)


def hint_mould(reader: Reader, plant: Plant, asked: AskedTrace, lines: list[str], window: Span) -> None:
    """Why no stay fits a mould number, and what is nearest to it."""
    question, show = asked.question, plant.clock.show
    about = {
        "where": say("on {lines}", lines=", ".join(lines)) if lines else say("on any line"),
        "item": say("for {item} ", item=question.item) if question.item else "",
        "start": show(window.start),
        "end": show(window.end),
    }
    if question.mould is None:
        asked.impossible.append(
            say("no mould was fitted {where} {item}from {start} to {end} by the mould log", **about)
        )
        return
    asked.impossible.append(
        say("mould {mould} was not fitted {where} {item}from {start} to {end}", mould=question.mould, **about)
    )
    stays = reader.ask("stays_of_mould", number=question.mould)
    asked.nearest += [_sat(plant, question.mould, row) for row in _nearest_stays(stays, window).iter_rows(named=True)]
    every = lines or list(plant.lines)
    _hint_read(reader, plant, asked, every, window)
    near = reader.ask("moulds_like", number=question.mould, lines=every, from_time=window.start, to_time=window.end)
    if near.height:
        asked.nearest.append(say("moulds with a like number fitted then: {moulds}", moulds=", ".join(near["number"])))


def _sat(plant: Plant, mould: str, row: dict[str, Any]) -> str:
    return say(
        "mould {mould} sat in {place} of {line} from {start} to {end}",
        mould=mould,
        place=f"{row['section']}{row['gob']}",
        line=row["line"],
        start=plant.clock.show(row["fitted_at"]),
        end=plant.clock.show(row["ended_at"]) if row["ended_at"] else say("now"),
    )


def _hint_read(reader: Reader, plant: Plant, asked: AskedTrace, lines: list[str], window: Span) -> None:
    """Whether stations read the number then, though the mould log does not have it."""
    if window.end - window.start > READ_BACK:
        return
    for line in lines:
        way = timedelta(minutes=plant.lines[line].lehr_minutes)
        ware = reader.ask("ware", line=line, from_time=window.start + way, to_time=window.end + way)
        read = int(ware.filter(pl.col("mould") == asked.question.mould)["inspected"].sum())
        if read:
            asked.nearest.append(
                say(
                    "stations of {line} read mould {mould} on {read} containers then: the mould log lacks its fitting; "
                    "send it, and ask again",
                    line=line,
                    mould=asked.question.mould,
                    read=read,
                )
            )


def _nearest_stays(stays: pl.DataFrame, window: Span, most: int = 3) -> pl.DataFrame:
    middle = window.start + (window.end - window.start) / 2
    apart = pl.min_horizontal(
        (pl.col("fitted_at") - middle).abs(), (pl.col("ended_at").fill_null(middle) - middle).abs()
    )
    return stays.sort(apart).head(most)
