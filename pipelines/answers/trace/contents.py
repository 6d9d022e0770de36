"""The questions the other way round: what is on this pallet; where is everything this mould made."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np
import polars as pl

from pipelines.answers.holds import held_by
from pipelines.answers.lehr import formed_of_pallet, lehr_time
from pipelines.answers.pallets import inferred_words, with_begin
from pipelines.answers.pareto import check_line
from pipelines.answers.signals import kept_signals
from pipelines.answers.trace.evidence import parts_at
from pipelines.answers.trace.line_ware import LineView, stays_of, views_of_defects, ware_view
from pipelines.answers.trace.question import AskedTrace, Question, hint_mould, window_asked
from pipelines.answers.trace.trust import Vouching, stations_in_doubt, vouching
from pipelines.clock import Span, utc_text
from pipelines.errors import WrongUse
from pipelines.ledger.reader import Reader
from pipelines.measures.pareto.kinds_of_call import faults
from pipelines.measures.pareto.ranking import reading_stations
from pipelines.measures.pareto.unread import unread_calls, unread_words
from pipelines.measures.statistics.shares import score_interval
from pipelines.measures.trace.escapes import carried
from pipelines.measures.trace.exposure import Stay, forming_quantiles, hull
from pipelines.measures.trace.packing import TOLD
from pipelines.plant.tables import FAULT, SEVERITIES
from pipelines.plant.works import Plant
from pipelines.words import say
from schemas.answers.contents import MouldLife, MouldStay, PalletContents, PalletDefect, PalletPart

SHOWN_UNITS = 0.5  # a mould of which less than this is expected on a pallet is not listed


def answer_contents(reader: Reader, plant: Plant, pallet: str) -> PalletContents:
    """Moulds and minutes, signals, stations in doubt, and expected defects of one pallet. WrongUse, with the nearest,
    for one that was never received.
    """
    rows = reader.ask("pallet", pallet=pallet)
    if rows.is_empty():
        like = reader.ask("pallets_like", pallet=pallet)["pallet"].to_list()
        raise WrongUse(f"no pallet '{pallet}' was ever received" + (f"; nearest: {', '.join(like)}" if like else ""))
    row = with_begin(reader, plant, rows.row(0, named=True))
    formed, after = formed_of_pallet(reader, plant, row), plant.stations_of(row["line"])[-1].after_minutes
    packed = Span(row["packed_from"], row["packed_to"] + timedelta(minutes=1))
    known = vouching(reader, plant, packed)
    stays = [s for s in stays_of(reader, [row["line"]], formed) if s.item in (None, row["item"])]
    view = ware_view(reader, plant, row["line"], formed)
    parts = _parts(reader, view, stays, pallet)
    here = Span(min(p.from_ for p in parts), max(p.to for p in parts)) if parts else None
    inspected = Span(
        packed.start - timedelta(minutes=after + view.packing.minutes),
        packed.end - timedelta(minutes=view.packing.minutes),
    )
    return PalletContents(
        **{name: row[name] for name in ("pallet", "line", "item", "packed_from", "packed_to", "units", "state")},
        ware=sum(p.units for p in parts),
        formed_from=here.start if here else None,
        formed_to=here.end if here else None,
        parts=tuple(parts),
        defects=tuple(_defects(reader, plant, row, formed, stays, known, inspected)),
        signals=tuple(_signals(reader, row["line"], inspected, {p.mould for p in parts})),
        doubts=tuple(stations_in_doubt(known.doubts_of(row["line"], None, inspected.start, inspected.end))),
        states=tuple({**state, "received_at": utc_text(state["received_at"])} for state in _states(reader, pallet)),
        holds=tuple(held_by(reader).get(pallet, ())),
        notes=tuple(_notes(reader, plant, row, packed, view)),
    )


def _notes(reader: Reader, plant: Plant, row: dict[str, Any], packed: Span, view: LineView) -> list[str]:
    """What the times and the shares lean on."""
    lehr = lehr_time(reader, plant, row["line"], packed)
    return [
        say("lehr time {minutes} min, {source}", minutes=f"{lehr.minutes:.0f}", source=lehr.source),
        say(
            "last station to pallet {minutes} min, {source}",
            minutes=f"{view.packing.minutes:.1f}",
            source=view.packing.source,
        ),
        *inferred_words(row["line"], [row.get("begin", TOLD)]),
        say(
            "mould numbers were read on {share} of the ware; the rest is shared out in proportion",
            share=f"{view.read_share:.0%}",
        ),
    ]


def _states(reader: Reader, pallet: str) -> list[dict[str, Any]]:
    rows = reader.ask("states_of_pallet", pallet=pallet)
    return rows.select("state", "units", "received_at", "file", "batch", "file_line").to_dicts()


def _parts(reader: Reader, view: LineView, stays: list[Stay], pallet: str) -> list[PalletPart]:
    if not stays:
        return []
    exposure = view.exposure(stays)
    names = view.pallets["pallet"].to_list()
    if pallet not in names:
        return []
    number = names.index(pallet)
    share = view.on_pallet(number)
    found = []
    for stay, units, weights in zip(
        stays, exposure.ware[:, number] * view.kept[number], exposure.weights * share, strict=True
    ):
        if units < SHOWN_UNITS:
            continue
        span = Span(*forming_quantiles(view.passing, weights))
        parts = parts_at(reader, stay.line, stay.section, stay.gob, span)
        found.append(
            PalletPart(
                section=stay.section,
                gob=stay.gob,
                mould=stay.mould,
                units=float(units),
                from_=span.start,
                to=span.end,
                **parts,
            )
        )
    return sorted(found, key=lambda p: (p.section, p.gob, p.from_))


def _defects(
    reader: Reader, plant: Plant, row: dict[str, Any], formed: Span, stays: list[Stay], known: Vouching, inspected: Span
) -> list[PalletDefect]:
    """Every defect called while the pallet's ware passed, and every critical one that the line's stations can call."""
    calls = faults(plant, reader.ask("calls", line=row["line"], from_time=inspected.start, to_time=inspected.end))
    sums = dict(calls.group_by("defect").agg(pl.col("calls").sum()).iter_rows())
    able = {c for s in plant.stations_of(row["line"]) for c in plant.faults if s.can_call(c)}
    codes = [c for c, d in plant.faults.items() if c in sums or (d.severity == "critical" and c in able)]
    tried = known.counted.filter(pl.col("line") == row["line"])["defect"].unique().to_list()
    views = views_of_defects(reader, plant, row["line"], formed, [c for c in codes if c in tried], known)
    found = []
    for code in sorted(codes, key=lambda c: (SEVERITIES.index(plant.defects[c].severity), -sums.get(c, 0), c)):
        defect, answer = plant.defects[code], _expected(views.get(code), row["pallet"], stays)
        found.append(
            PalletDefect(
                defect=code,
                name=defect.name,
                severity=defect.severity,
                calls=sums.get(code, 0),
                expected=answer[0],
                low=answer[1],
                high=answer[2],
            )
        )
    return found


def _expected(view: LineView | None, pallet: str, stays: list[Stay]) -> tuple[float | None, float | None, float | None]:
    names = view.pallets["pallet"].to_list() if view is not None else []
    if view is None or view.missed is None or pallet not in names or not stays:
        return None, None, None
    carried_escapes, number = carried(view.exposure(stays)), names.index(pallet)
    return float(carried_escapes.mean[number]), float(carried_escapes.low[number]), float(carried_escapes.high[number])


def _signals(reader: Reader, line: str, inspected: Span, moulds: set[str]) -> list[dict[str, Any]]:
    kept = kept_signals(reader, inspected.start - timedelta(hours=1), inspected.end + timedelta(hours=1), [line])
    open_then = [s for s in kept if s.onset_low < inspected.end and (s.ended is None or s.ended > inspected.start)]
    mine = [s for s in open_then if s.scope in ("line", "furnace", "station") or moulds & set(s.moulds)]
    names = ("id", "kind", "defect", "severity", "scope", "members", "onset", "ended")
    return [{name: s.told()[name] for name in names} for s in mine]


def _never_there(asked: AskedTrace, line: str, mould: str) -> MouldLife:
    return MouldLife(
        line=line,
        mould=mould,
        from_=None,
        to=None,
        stays=(),
        containers=0.0,
        calls=(),
        pallets=(),
        impossible=tuple(asked.impossible),
        nearest=tuple(asked.nearest),
    )


def _carried(pallet: dict[str, Any], units: float) -> dict[str, Any]:
    """A pallet with the containers of the mould that it is expected to carry."""
    return {
        "pallet": pallet["pallet"],
        "item": pallet["item"],
        "packed_from": utc_text(pallet["packed_from"]),
        "packed_to": utc_text(pallet["packed_to"]),
        "state": pallet["state"],
        "units": pallet["units"],
        "of_mould": round(units, 1),
    }


def answer_mould(reader: Reader, plant: Plant, line: str, mould: str) -> MouldLife:
    """Everything a mould made on a line since it was fitted. WrongUse for an unknown line; a mould that never sat there
    is said to be impossible.
    """
    check_line(plant, line)
    asked = AskedTrace(Question(line=line, mould=mould))
    window = window_asked(reader, plant, asked)
    stays = [s for s in stays_of(reader, [line], window) if s.mould == mould] if window else []
    if window is None or not stays:
        if window is not None:
            hint_mould(reader, plant, asked, [line], window)
        return _never_there(asked, line, mould)
    whole = hull(stays)
    view = ware_view(reader, plant, line, whole)
    exposure = view.exposure(stays)
    units = exposure.ware.sum(axis=0) * view.kept
    pallets = [
        _carried(row, float(units[number]))
        for number, row in enumerate(view.pallets.iter_rows(named=True))
        if units[number] >= SHOWN_UNITS
    ]
    states: dict[str, float] = {}
    for pallet in pallets:
        states[pallet["state"]] = states.get(pallet["state"], 0.0) + pallet["of_mould"]
    calls, unread = _calls(reader, plant, line, mould, whole)
    notes = [say("{unread}: the calls of this mould are those with its number read", unread=unread)] if unread else []
    return MouldLife(
        line=line,
        mould=mould,
        from_=whole.start,
        to=whole.end,
        stays=tuple(_stay(reader, plant, s, made) for s, made in zip(stays, exposure.all_ware, strict=True)),
        containers=float(np.sum(exposure.all_ware)),
        calls=tuple(calls),
        pallets=tuple(pallets),
        states=states,
        notes=tuple(notes),
    )


def _stay(reader: Reader, plant: Plant, stay: Stay, made: float) -> MouldStay:
    rows = reader.ask("stays_of_mould", number=stay.mould)
    there = (pl.col("line") == stay.line) & (pl.col("section") == stay.section) & (pl.col("gob") == stay.gob)
    last = rows.filter(there & (pl.col("fitted_at") <= stay.span.start)).sort("fitted_at").tail(1).to_dicts()
    fitted, ended = (last[0]["fitted_at"], last[0]["ended_at"]) if last else (stay.span.start, None)
    parts = parts_at(reader, stay.line, stay.section, stay.gob, stay.span)
    return MouldStay(
        section=stay.section, gob=stay.gob, item=stay.item, fitted=fitted, ended=ended, containers=float(made), **parts
    )


def _calls(reader: Reader, plant: Plant, line: str, mould: str, formed: Span) -> tuple[list[dict[str, Any]], str]:
    """Calls with the number read, by defect, the critical first and what is no fault last; faults with their rate on
    the containers of the mould that the reading station saw. With how many of the line's calls had no number, in words.
    """
    lehr = timedelta(minutes=plant.lines[line].lehr_minutes)
    seen = formed.shifted(lehr)
    row = {"line": line, "from_time": seen.start, "to_time": seen.end}
    every, ware = reader.ask("calls", **row), reader.ask("ware", **row)
    calls = every.filter(pl.col("mould") == mould)
    read = ware.filter((pl.col("mould") == mould) & pl.col("station").is_in(reading_stations(plant, line, ware)))
    seen_of_it = int(read["inspected"].sum())
    rows = []
    for code, count in calls.group_by("defect").agg(pl.col("calls").sum()).iter_rows():
        kind = plant.defects[code].kind if code in plant.defects else FAULT
        low, high = score_interval(count, seen_of_it) if kind == FAULT else (None, None)
        severity = plant.defects[code].severity if code in plant.defects and kind == FAULT else ""
        rows.append(
            {
                "defect": code,
                "severity": severity,
                "calls": count,
                "of": seen_of_it,
                "rate": count / seen_of_it if seen_of_it and kind == FAULT else None,
                "low": low,
                "high": high,
                "kind": kind,
            }
        )
    order = sorted(
        rows, key=lambda r: (r["kind"] != FAULT, (*SEVERITIES, "").index(str(r["severity"])), -r["calls"], r["defect"])
    )
    return order, unread_words(unread_calls(every))
