"""The glossary: name, meaning, unit and allowed range of every column. One quantity has one name everywhere.

A word that the trade uses for two things (`state` of a pallet and of a complaint) has an entry for each feed in which
it means something else than elsewhere, as `complaints.state`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import Literal

Kind = Literal["time", "date", "count", "number", "code", "text"]

MAX_COUNT = 10_000_000
MAX_WINDOW_S = 86_400
MAX_VALUE = 100_000_000


@dataclass(frozen=True)
class Quantity:
    """One column of the contract.

    `kind` says how its text is read: `time` (RFC 3339), `date` (ISO 8601), `count` (a whole number), `number`
    (a decimal with a point), `code` (an id that works.toml or `choices` knows) or `text`.
    `low` and `high` bound numbers inclusively, in `unit`; for text `high` is the greatest length in characters.
    `known_as` names the list in works.toml that a code must stand in, or several lists with a blank between them;
    `choices` beside it are words that are known too. `planned`: a day that may lie ahead.
    """

    name: str
    meaning: str
    kind: Kind
    unit: str = ""
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()
    known_as: str = ""
    example: str = ""
    lacking: str = ""  # what to do where whoever sends it does not know it
    planned: bool = False


LABEL_ALONE = (
    "where only the moment of the label is known, give that moment as packed_from and as packed_to: the beginning is "
    "then inferred"
)


def _time(name: str, meaning: str, example: str = "2026-03-02T09:00:00+01:00") -> Quantity:
    return Quantity(name, meaning, "time", "RFC 3339 with offset", example=example)


def _count(name: str, meaning: str, unit: str, example: str, low: int = 0, high: int = MAX_COUNT) -> Quantity:
    return Quantity(name, meaning, "count", unit, low, high, example=example)


def _number(name: str, meaning: str, unit: str, low: float, high: float, example: str) -> Quantity:
    return Quantity(name, meaning, "number", unit, low, high, example=example)


def _code(name: str, meaning: str, known_as: str, example: str, choices: tuple[str, ...] = ()) -> Quantity:
    unit = " | ".join(("id in works.toml", *choices))
    return Quantity(name, meaning, "code", unit, high=64, choices=choices, known_as=known_as, example=example)


def _day(name: str, meaning: str, example: str, planned: bool = False) -> Quantity:
    return Quantity(name, meaning, "date", "ISO 8601 date", example=example, planned=planned)


def _choice(name: str, meaning: str, choices: tuple[str, ...], example: str) -> Quantity:
    return Quantity(name, meaning, "code", " | ".join(choices), choices=choices, example=example)


def _text(name: str, meaning: str, example: str, longest: int = 64) -> Quantity:
    return Quantity(name, meaning, "text", "text", high=longest, example=example)


_ALL = (
    _time("window_start", "start of the counting window, by the clock of whoever counts"),
    _time("sampled_at", "when the sample was taken from the line"),
    _time("checked_at", "when the marked reference sample was sent through"),
    _time("read_at", "when the running totals were read"),
    Quantity(
        "packed_from",
        "when the first container was put on the pallet",
        "time",
        "RFC 3339 with offset",
        example="2026-03-02T09:00:00+01:00",
        lacking=LABEL_ALONE,
    ),
    Quantity(
        "packed_to",
        "when the last container was put on the pallet",
        "time",
        "RFC 3339 with offset",
        example="2026-03-02T09:21:40+01:00",
        lacking=LABEL_ALONE,
    ),
    _time("fitted_at", "when the part was fitted to the machine"),
    _time("started_at", "when the job started at the machine"),
    _time("stopped_at", "when the section or the whole machine stopped"),
    _time("restarted_at", "when it ran again; empty while it stands", "2026-03-02T09:12:30+01:00"),
    _time("made_from", "earliest forming time the customer's code or label allows"),
    _time("made_to", "latest forming time the customer's code or label allows", "2026-03-02T10:00:00+01:00"),
    _time("looked_at", "when a person looked at the containers"),
    _time("broke_at", "when ware broke there", "2026-03-02T10:42:00+01:00"),
    _time("cleared_at", "when the place was cleared of fragments; empty while it is not", "2026-03-02T10:55:00+01:00"),
    _time("acted_at", "when it was done"),
    _time("happened_at", "when it happened to the part"),
    _time("process_reads.read_at", "when the value was read"),
    _time("linked_at", "when the containers were put on the other pallet", "2026-03-02T14:20:00+01:00"),
    _time("dispatched_at", "when the pallet left the works", "2026-03-03T11:30:00+01:00"),
    _time("returned_at", "when the pallet came back", "2026-03-12T08:15:00+01:00"),
    _day("received_on", "day on which the complaint was received", "2026-03-05"),
    _day("answer_due", "day by which the customer is to be answered", "2026-03-19", planned=True),
    _day("due", "day by which the ordered containers are due", "2026-03-20", planned=True),
    _count("window_s", "length of the counting window", "s", "60", 1, MAX_WINDOW_S),
    _code("line", "production line: a forming machine with its lehr and cold end", "line", "A1"),
    _code("furnace", "melting furnace", "furnace", "F1"),
    _code("station", "inspection station", "station", "A1-side"),
    _code("defect", "the works' own code of a defect", "defect", "CHF"),
    _code("item", "the works' own code of an article", "item", "J370"),
    _text("mould", "number engraved in the blow mould; empty where it was not read", "17", 16),
    _text("number", "number engraved in the part; empty when the place is left empty", "17", 16),
    _text("part_events.number", "number engraved in the part", "17", 16),
    _text(
        "set", "set that the part belongs to, by the works' own name; tells two parts with one number apart", "J370-2"
    ),
    _count("inspected", "containers inspected in the window", "containers", "11"),
    _count(
        "refed", "containers among `inspected` that had been sent through before; empty: not told", "containers", "0"
    ),
    _count(
        "rejected",
        "containers rejected (station_counts) or calls of that defect (reject_counts)",
        "containers",
        "1",
    ),
    _choice("counter", "what the running total counts", ("inspected", "rejected"), "inspected"),
    _count(
        "total",
        "the running total as it stands; it rolls over at the station's counter_modulus",
        "containers",
        "48211",
        0,
        10**12,
    ),
    _count("section", "section of the forming machine, from 1", "-", "3", 1, 40),
    _choice("gob", "gob position; A is the first", ("A", "B", "C", "D"), "A"),
    _choice("part", "kind of mould equipment", ("mould", "blank", "neck_ring"), "mould"),
    _choice("point", "where the container was taken", ("hot", "cold"), "cold"),
    _choice(
        "state",
        "state of the pallet; `emptied`: its ware went onto other pallets",
        ("packed", "held", "released", "resort", "scrapped", "emptied"),
        "packed",
    ),
    _choice("complaints.state", "state of the complaint", ("open", "answered", "closed"), "open"),
    _choice(
        "stream",
        "where the containers looked at were taken: `rejected` from what a station rejected, `passed` from good ware "
        "behind the last station, `held` at a re-sorting",
        ("rejected", "passed", "held"),
        "rejected",
    ),
    _code("called", "defect as which the station called the containers", "defect", "CHF"),
    _code("verdicts.found", "defect that the person sees; empty where there is none", "defect", "CHF"),
    _code("breakages.place", "where ware broke", "station", "A1-side", ("hot_end", "lehr", "packing")),
    _code("at", "furnace, line or station at which the value was read", "furnace line station", "A1"),
    _code("quantity", "what was read, as works.toml names it", "quantity", "forehearth_c"),
    _code("test", "what was measured, as works.toml names it", "test", "height"),
    _text("place", "where on the container it was measured", "heel"),
    _choice(
        "kind",
        "what was done",
        (
            "swab",
            "timing",
            "gob_weight",
            "cooling",
            "temperature",
            "part_changed",
            "part_repaired",
            "section_stopped",
            "section_started",
            "station_setting",
            "mould_rejection_on",
            "mould_rejection_off",
            "other",
        ),
        "swab",
    ),
    _choice(
        "event",
        "what happened to the part",
        ("received", "repaired", "polished", "swapped", "scrapped"),
        "repaired",
    ),
    _count("sample", "number of the repeated weighing of one mould at one time, from 1", "-", "1", 1, 10_000),
    _count("test_checks.sample", "number of the repeated measurement of a mould, from 1", "-", "1", 1, 10_000),
    _number("value", "what was measured", "as works.toml says of the test", -MAX_VALUE, MAX_VALUE, "229.8"),
    _number(
        "actions.value",
        "by how much, or to what, in the kind's own unit",
        "g, °C, ms, as the kind has it",
        -MAX_VALUE,
        MAX_VALUE,
        "-1.5",
    ),
    _number(
        "process_reads.value",
        "what was read",
        "as works.toml says of the quantity",
        -MAX_VALUE,
        MAX_VALUE,
        "1124.5",
    ),
    _number("weight_g", "mass of one container", "g", 0.1, 20_000, "341.2"),
    _number("empty_g", "mass of the empty container", "g", 0.1, 20_000, "318.4"),
    _number("filled_g", "mass of the container with its water", "g", 0.1, 40_000, "834.9"),
    _number("water_c", "temperature of the water, and of the container with it", "°C", 0, 40, "21.5"),
    _choice("fill", "to where it was filled", ("brimful", "fill_line"), "brimful"),
    _number("density_g_cm3", "density of the glass", "g/cm3", 2, 4, "2.4963"),
    _number("standard_g_cm3", "density of the standard it was compared with", "g/cm3", 2, 4, "2.4980"),
    _number("standard_settles_c", "temperature at which the standard settles", "°C", 0, 100, "34.15"),
    _number("sample_settles_c", "temperature at which the sample settles", "°C", 0, 100, "35.00"),
    _number("temper", "temper number: how much strain is left after annealing", "-", 0, 30, "2.5"),
    _text("lane", "where across the lehr the container stood", "left", 16),
    _count("sample_units", "containers looked at", "containers", "200", 1),
    _count("found", "containers of the sample with that defect", "containers", "1"),
    _count("passes", "times the marked reference sample was sent through", "passes", "10", 1),
    _count("caught", "times it was rejected, out of `passes`", "passes", "10"),
    _text(
        "pallet",
        "identity of the pallet, a GS1 SSCC of 18 digits where the works uses one",
        "359012340000000177",
        32,
    ),
    _text("from_pallet", "pallet from which the containers were taken", "359012340000000177", 32),
    _text("to_pallet", "pallet onto which they were put", "359012340000000184", 32),
    _count("units", "containers", "containers", "1512"),
    _count("verdicts.units", "containers looked at of which this was found", "containers", "3"),
    _count("claimed_units", "containers for which the customer claims", "containers", "1512"),
    _count("ordered_units", "containers that the job is to make", "containers", "850000", 0, 10**9),
    _number(
        "speed_per_min",
        "planned containers a minute of the whole machine",
        "containers/min",
        0.1,
        5_000,
        "168.0",
    ),
    _text("delivery", "delivery or consignment, by the works' own number", "D-26-0318"),
    _text("customer", "customer, by the id in works.toml where it stands there", "C-NORTH"),
    _text("vehicle", "what took it away, by its plate or number", "trailer 7"),
    _text("reason", "why it came back", "wrong delivery address", 200),
    _text("job", "the works' own name of a run of one item or set of items", "26-031"),
    _count("gobs_cut", "gobs sheared, dropped ones included", "gobs", "11"),
    _count("hot_rejected", "gobs and containers that never reached the lehr", "containers", "0"),
    _text("cause", "why it stopped, in the machine men's words", "swab", 200),
    _text("complaints.cause", "what caused it, as far as that was found", "neck ring with burnt glass", 200),
    _text("signal", "name of the signal that it answers", "K1-CHF-0302-1"),
    _count("gobs", "gobs that the part had made by its own counter", "gobs", "312000", 0, 10**9),
    _number("cost", "what it cost, in the works' own currency", "the works' currency", 0, MAX_VALUE, "38.0"),
    _number("batch_kg", "batch charged, wet", "kg", 0, 5_000_000, "9120.5"),
    _number("moisture_pct", "water in the batch", "%", 0, 50, "3.1"),
    _number("loss_pct", "fusion loss of the dry batch", "%", 0, 60, "16.8"),
    _number("cullet_kg", "cullet charged", "kg", 0, 5_000_000, "5400.0"),
    _number("energy_kwh", "energy used in the window, whatever its kind", "kWh", 0, 10_000_000, "14200"),
    _number("level_change_mm", "rise of the glass level in the window; a fall is negative", "mm", -500, 500, "0.2"),
    _text("complaint", "the works' own number of the complaint", "C-26-014"),
    _text("note", "what else is to be said, in whoever's own words", "swept twice", 2_000),
    _text("complaints.note", "what the customer says", "filler found it at the rinser", 2_000),
    _text("by", "who took or did it, by the works' own short name", "lab2"),
)

QUANTITIES: dict[str, Quantity] = {quantity.name: quantity for quantity in _ALL}


@cache
def quantity_of(feed: str, column: str) -> Quantity:
    """What a column means in a feed: the feed's own entry where it has one. KeyError for one that does not stand
    here.
    """
    own = QUANTITIES.get(f"{feed}.{column}")
    return QUANTITIES[column] if own is None else replace(own, name=column)
