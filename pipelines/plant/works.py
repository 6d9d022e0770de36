"""works.toml as typed, checked objects. `read_plant` names every mistake at once, each with its place."""

from __future__ import annotations

import tomllib
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

from pydantic import ConfigDict, Field, ValidationError

from pipelines.clock import WorksClock
from pipelines.errors import PlantError
from pipelines.plant.database import DatabaseSource
from pipelines.plant.mapping import BrokerTopic, Listener, Mapping
from pipelines.plant.tables import (
    FAULT,
    NAMED,
    Checks,
    Clock,
    Contact,
    Cost,
    Customer,
    Defect,
    Furnace,
    Item,
    Keep,
    Laboratory,
    Line,
    Notices,
    Pages,
    PlantTable,
    ProcessQuantity,
    Reports,
    Sampling,
    Schedule,
    Station,
    Uncertainty,
    Warehouse,
    WareTest,
    Works,
)
from schemas.quantities import Quantity


class Plant(PlantTable):
    """The whole plant file."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)

    works: Works = Field(description="the works and its clock")
    furnace: tuple[Furnace, ...] = Field(min_length=1, description="each furnace")
    line: tuple[Line, ...] = Field(min_length=1, description="each line")
    station: tuple[Station, ...] = Field(
        min_length=1, description="each station, in the order in which ware meets them"
    )
    defect: tuple[Defect, ...] = Field(min_length=1, description="each code that a station or a person calls")
    item: tuple[Item, ...] = Field(min_length=1, description="each container that is made")
    test: tuple[WareTest, ...] = Field((), description="each measured property of ware that `test_checks` brings")
    quantity: tuple[ProcessQuantity, ...] = Field((), description="each reading that `process_reads` brings")
    customer: tuple[Customer, ...] = Field((), description="each customer that dispatches and complaints name")
    contact: tuple[Contact, ...] = Field((), description="whom to ring where somebody must act")
    laboratory: Laboratory = Field(Laboratory(), description="what the laboratory accepts")
    uncertainty: Uncertainty = Field(
        Uncertainty(),
        description="relative standard uncertainty of each meter's total over a production day, in percent",
    )
    checks: Checks = Field(
        Checks(), description="how often what is due (0: not asked for), and when a challenge of a station is passed"
    )
    sampling: Sampling = Field(Sampling(), description="samples by ISO 2859-1, single sampling")
    warehouse: Warehouse = Field(
        Warehouse(), description="what the states of pallets mean, and which pallets a breakage is beside"
    )
    cost: Cost | None = Field(None, description="what lost glass costs, where losses are wanted in money too")
    pages: Pages = Field(Pages(), description="how the works writes")
    reports: Reports = Field(Reports(), description="which pages lie under `reports/`, to be opened without a server")
    schedule: Schedule = Field(Schedule(), description="when `coldledger serve` takes feeds in and closes days")
    notices: Notices = Field(Notices(), description="what goes out by mail or webhook, each once at the most")
    mapping: tuple[Mapping, ...] = Field((), description="how a foreign export becomes a feed")
    keep: Keep = Field(Keep(), description="how long minutes are kept")
    clock_errors: tuple[Clock, ...] = Field(
        default=(), alias="clock", description="a station's clock that was wrong; its rows are put at the true time"
    )
    listener: Listener | None = Field(None, description="the broker that live stations speak to")
    topic: tuple[BrokerTopic, ...] = Field((), description="messages that become rows")
    source: tuple[DatabaseSource, ...] = Field((), description="a database, read as if its rows were a file")

    @cached_property
    def clock(self) -> WorksClock:
        return WorksClock(ZoneInfo(self.works.timezone), self.works.day_starts, self.works.shifts)

    @cached_property
    def furnaces(self) -> dict[str, Furnace]:
        return {furnace.id: furnace for furnace in self.furnace}

    @cached_property
    def lines(self) -> dict[str, Line]:
        return {line.id: line for line in self.line}

    @cached_property
    def stations(self) -> dict[str, Station]:
        return {station.id: station for station in self.station}

    @cached_property
    def defects(self) -> dict[str, Defect]:
        return {defect.code: defect for defect in self.defect}

    @cached_property
    def faults(self) -> dict[str, Defect]:
        """The defects that are faults of the ware, by code: what signals, rates, baselines, trust and traces speak
        of.
        """
        return {code: defect for code, defect in self.defects.items() if defect.kind == FAULT}

    @cached_property
    def no_faults(self) -> tuple[str, ...]:
        """Codes under which ware is thrown out for no fault of its own."""
        return tuple(code for code in self.defects if code not in self.faults)

    @cached_property
    def critical(self) -> tuple[str, ...]:
        """Codes of the critical defects."""
        return tuple(code for code, defect in self.defects.items() if defect.severity == "critical")

    @cached_property
    def items(self) -> dict[str, Item]:
        return {item.id: item for item in self.item}

    @cached_property
    def tests(self) -> dict[str, WareTest]:
        return {test.id: test for test in self.test}

    @cached_property
    def quantities(self) -> dict[str, ProcessQuantity]:
        return {quantity.id: quantity for quantity in self.quantity}

    @cached_property
    def customers(self) -> dict[str, Customer]:
        return {customer.id: customer for customer in self.customer}

    def weights_every(self, line: str) -> float:
        """Minutes between a line's weighings as they are due; 0 where none are."""
        own = self.lines[line].weights_minutes
        return self.checks.weights_minutes if own is None else own

    def must_catch(self, defect: str) -> float:
        """The share of a challenge's passes with a defect that must be caught; of an unknown defect as of a major
        one.
        """
        severity = self.defects[defect].severity if defect in self.defects else "major"
        return float(getattr(self.checks.challenge_must_catch, severity))

    def ids(self, kind: str) -> tuple[str, ...]:
        """The ids of one list, or of several with a blank between them, as `known_as` in the glossary names them."""
        return tuple(each for name in kind.split() for each in self.by_id(name))

    def by_id(self, kind: str) -> dict[str, Any]:
        """The rows of one list by their ids."""
        rows: dict[str, Any] = getattr(self, "quantities" if kind == "quantity" else f"{kind}s")
        return rows

    def codes(self, quantity: Quantity) -> tuple[str, ...]:
        """What a column of codes may hold: its own words, and the ids of the lists that it names."""
        return (*quantity.choices, *self.ids(quantity.known_as))

    def stations_of(self, line: str) -> tuple[Station, ...]:
        """The stations of a line in the order in which ware meets them."""
        mine = (station for station in self.station if station.line == line)
        return tuple(sorted(mine, key=lambda station: (station.order, station.id)))

    def first_stations(self, line: str) -> tuple[str, ...]:
        """All lanes of the line's first station: where its ware is counted."""
        stations = self.stations_of(line)
        return tuple(s.id for s in stations if s.order == stations[0].order) if stations else ()

    def lines_of(self, furnace: str) -> tuple[Line, ...]:
        return tuple(line for line in self.line if line.furnace == furnace)


def read_plant(text: str) -> Plant:
    """The plant in a works.toml. PlantError with all its mistakes, each naming table, id, key and line of the file."""
    from pipelines.plant.mistakes import TomlPlaces, mistakes_between, mistakes_within

    try:
        answer = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise PlantError([f"it is not TOML: {error}"]) from None
    except RecursionError:
        raise PlantError(["it is not TOML that anybody writes: lists within lists without an end"]) from None
    places = TomlPlaces(text)
    try:
        plant = Plant.model_validate(answer)
    except ValidationError as error:
        raise PlantError([*mistakes_within(error, answer, places), *mistakes_between(answer, places)]) from None
    mistakes = mistakes_between(answer, places)
    if mistakes:
        raise PlantError(mistakes)
    return plant


def restored(plant: Plant, former: list[Plant]) -> Plant:
    """The plant with the ids that it has lost, as former plant files (the newest first) describe them."""
    tables: dict[str, Any] = {}
    for table in NAMED:
        rows = list(getattr(plant, table))
        ids = set(plant.ids(table))
        for old in former:
            lost = [row for key, row in old.by_id(table).items() if key not in ids]
            rows += lost
            ids |= {getattr(row, "id", None) or row.code for row in lost}
        tables[table] = tuple(rows)
    kept = {name: getattr(plant, name) for name in Plant.model_fields if name not in tables}
    return Plant(**kept, **tables)
