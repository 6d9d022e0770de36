"""What the sheets of a plant's workbook ask for, a row an id: headings in plain words with units, where each value goes
in works.toml, how it is written in a cell.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

EXAMPLE = "Example"  # heading of the column that marks rows which are none of the works' own
MARK = "example"
SEVERITIES = {"critical": "critical", "major": "major", "minor": "minor"}
ZONES = {word: word for word in ("finish", "neck", "shoulder", "body", "heel", "base", "whole")}
ORIGINS = {word: word for word in ("mould", "timing", "gob", "glass", "lehr", "handling")}
KINDS = {
    "fault": "fault",
    "mould rejection": "mould_rejection",
    "sample": "sample",
    "setting": "setting",
    "diverted": "diverted",
}
FILLS = {"brimful": "brimful", "fill line": "fill_line"}
YES = {"yes": True, "no": False}
PLACES = {word: word for word in ("furnace", "line", "station")}
OCCASIONS = {"critical": "critical", "hold": "hold", "silent": "silent"}


@dataclass(frozen=True)
class PlantColumn:
    """A column of a sheet, or a row of one that is filled downwards.

    key: where its value goes in the table, with points between levels.  kind: text, id, ids, number, whole, time,
    choice, choices, yes.  unit: stands in the heading.  of: the sheet whose ids it names.  needed: must be filled.
    about: what the heading cannot say.  default: what holds where the cell is blank, in words.
    """

    heading: str
    key: str
    kind: str = "text"
    unit: str = ""
    needed: bool = False
    about: str = ""
    choices: dict[str, Any] = field(default_factory=dict)
    of: str = ""
    default: str = ""

    @property
    def headed(self) -> str:
        """The heading as it stands in the sheet."""
        return f"{self.heading} ({self.unit})" if self.unit else self.heading


@dataclass(frozen=True)
class PlantSheet:
    """A sheet with a row an id. table: its table in works.toml. examples: rows as they stand in the cells."""

    name: str
    table: str
    about: str
    columns: tuple[PlantColumn, ...]
    examples: tuple[tuple[Any, ...], ...]
    needed: bool = False


def _id(heading: str, about: str = "as your stations and logs name it; no blanks") -> PlantColumn:
    return PlantColumn(heading, "id", "id", needed=True, about=about)


def _number(heading: str, key: str, unit: str, about: str = "", needed: bool = False) -> PlantColumn:
    return PlantColumn(heading, key, "number", unit, needed, about)


FURNACES = PlantSheet(
    "Furnaces",
    "furnace",
    "A row a furnace.",
    (
        _id("Furnace"),
        PlantColumn("Colour of its glass", "colour", about="in words"),
        _number("Melter surface", "surface_m2", "m²", "for the correction by the glass level", True),
        _number("Density of its glass", "density_g_cm3", "g/cm³", "such as 2.498", True),
    ),
    (("F1", "flint", 50, 2.498),),
    True,
)
LINES = PlantSheet(
    "Lines",
    "line",
    "A row a line: one forming machine, its lehr, its stations.",
    (
        _id("Line"),
        PlantColumn("Furnace", "furnace", "id", needed=True, about="which feeds it", of="Furnaces"),
        PlantColumn("Sections", "sections", "whole", needed=True, about="of its machine"),
        PlantColumn("Gob positions", "gobs", "whole", needed=True, about="2 means A and B"),
        _number("Lehr time", "lehr_minutes", "minutes", "from the gob cut to the first station, about", True),
        _number("Weighings every", "weights_minutes", "minutes", "where this line differs from the sheet Settings"),
    ),
    (("A1", "F1", 8, 2, 95, None),),
    True,
)
STATIONS = PlantSheet(
    "Stations",
    "station",
    "A row a station: wherever ware is looked at or counted behind the lehr.",
    (
        _id("Station"),
        PlantColumn("Line", "line", "id", needed=True, about="on which it stands", of="Lines"),
        PlantColumn(
            "Order", "order", "whole", needed=True, about="1 for the first that ware meets; lanes beside share a number"
        ),
        _number("Behind the first station", "after_minutes", "minutes", "running time; blank: none"),
        PlantColumn("Sees", "sees", "ids", about="codes with a comma and a blank between them; blank: any defect"),
        PlantColumn("Totals begin again at", "counter_modulus", "whole", about="only where it gives running totals"),
    ),
    (("A1-wall", "A1", 1, 0, "CHF, STN", None), ("A1-base", "A1", 2, 1.5, None, None)),
    True,
)
DEFECTS = PlantSheet(
    "Defects",
    "defect",
    "A row a code: your own list of defects. Where stations have other codes: the sheet Codes by station.",
    (
        PlantColumn("Code", "code", "id", needed=True, about="your own; kept as text, so that 007 stays 007"),
        PlantColumn("Name", "name", needed=True, about="in words, as pages show it"),
        PlantColumn(
            "Severity", "severity", "choice", needed=True, about="critical: those that cut or choke", choices=SEVERITIES
        ),
        PlantColumn("Zone", "zone", "choice", needed=True, about="where on the container", choices=ZONES),
        PlantColumn("Origin", "origin", "choice", needed=True, about="where to look first", choices=ORIGINS),
        PlantColumn(
            "Kind",
            "kind",
            "choice",
            about="other than fault: thrown out for no fault of its own",
            choices=KINDS,
            default="fault",
        ),
    ),
    (
        ("CHF", "finish check", "critical", "finish", "mould", "fault"),
        ("STN", "stone", "major", "whole", "glass", None),
    ),
    True,
)
CODES = PlantSheet(
    "Codes by station",
    "code",
    "Only where a station has codes of its own: a row a code. Two stations may use one code for different defects.",
    (
        PlantColumn("Station", "station", "id", needed=True, of="Stations"),
        PlantColumn("Code at the station", "theirs", "id", needed=True, about="as the station writes it; kept as text"),
        PlantColumn("Your code", "ours", "id", needed=True, of="Defects"),
    ),
    (("A1-wall", "17", "CHF"), ("A1-base", "17", "STN")),
)
ITEMS = PlantSheet(
    "Items",
    "item",
    "A row a container that is made.",
    (
        _id("Item"),
        PlantColumn("Name", "name", needed=True, about="in words, as pages show it"),
        _number("Weight", "weight_g", "g", "nominal", True),
        _number("Least weight", "weight_min_g", "g"),
        _number("Greatest weight", "weight_max_g", "g"),
        _number("Capacity", "capacity_ml", "ml", "nominal, measured as Fill says"),
        _number("Least capacity", "capacity_min_ml", "ml"),
        _number("Greatest capacity", "capacity_max_ml", "ml"),
        PlantColumn("Fill", "fill", "choice", about="how capacity is measured", choices=FILLS, default="brimful"),
        _number("Marked capacity", "nominal_ml", "ml", "of a measuring container, where it is another"),
        PlantColumn("Containers on a pallet", "units_per_pallet", "whole", about="on a whole one"),
        PlantColumn(
            "Measuring container",
            "measuring_container",
            "yes",
            about="their capacity rules apply",
            choices=YES,
            default="no",
        ),
        _number("Thickness for temper", "temper_thickness_mm", "mm", "of the glass where temper numbers are read"),
    ),
    (("S330", "330 ml sauce bottle", 210, 205, 216, 345, 340, 350, "brimful", None, 2016, "no", None),),
    True,
)
TESTS = PlantSheet(
    "Tests",
    "test",
    "A row a measured property of ware, such as height. Its limits stand on the next sheet.",
    (
        _id("Test", "as the laboratory's files name it; no blanks"),
        PlantColumn("Name", "name", needed=True, about="in words, as pages show it"),
        PlantColumn("Unit", "unit", needed=True, about="of its values"),
    ),
    (("height", "height", "mm"),),
)
LIMITS = PlantSheet(
    "Test limits",
    "limit",
    "A row a test and item: what is least, what is greatest; either may be blank.",
    (
        PlantColumn("Test", "test", "id", needed=True, of="Tests"),
        PlantColumn("Item", "item", "id", needed=True, of="Items"),
        PlantColumn("Least", "least", "number"),
        PlantColumn("Greatest", "greatest", "number"),
    ),
    (("height", "S330", 228.5, 231.5),),
)
QUANTITIES = PlantSheet(
    "Readings",
    "quantity",
    "A row a reading of the process, such as a forehearth's temperature.",
    (
        _id("Reading", "as the files name it; no blanks"),
        PlantColumn("Name", "name", needed=True, about="in words, as pages show it"),
        PlantColumn("Unit", "unit", needed=True, about="of its values"),
        PlantColumn("Read at a", "where", "choice", needed=True, about="kind of place", choices=PLACES),
        PlantColumn("Least", "limits.least", "number", about="a limit; may be blank"),
        PlantColumn("Greatest", "limits.greatest", "number", about="a limit; may be blank"),
    ),
    (("forehearth_c", "forehearth temperature", "°C", "line", 1090, 1150),),
)
CUSTOMERS = PlantSheet(
    "Customers",
    "customer",
    "A row a customer that deliveries and complaints name.",
    (
        _id("Customer", "as deliveries and complaints name it; no blanks"),
        PlantColumn("Name", "name", needed=True, about="in words, as pages show it"),
        _number("AQL of major defects", "aql.major", "%", "where it is not that of the sheet Settings"),
        _number("AQL of minor defects", "aql.minor", "%", "where it is not that of the sheet Settings"),
        PlantColumn("Items", "items", "ids", about="that it takes; a comma and a blank between them"),
    ),
    (("C-NORTH", "your customer in the north", 0.65, 2.5, "S330"),),
)
CONTACTS = PlantSheet(
    "Contacts",
    "contact",
    "A row a person or post to ring where somebody must act.",
    (
        PlantColumn("Name", "name", needed=True, about="a person, or a post such as shift foreman"),
        PlantColumn(
            "For",
            "for",
            "choices",
            needed=True,
            choices=OCCASIONS,
            about="critical: a critical defect; hold: ware is held; silent: a station sends nothing",
        ),
        PlantColumn("Telephone", "phone", "id text", needed=True, about="as it is dialled in the works; kept as text"),
    ),
    (("shift foreman", "critical, hold", "412"),),
)
SHEETS = (
    FURNACES,
    LINES,
    STATIONS,
    DEFECTS,
    CODES,
    ITEMS,
    TESTS,
    LIMITS,
    QUANTITIES,
    CUSTOMERS,
    CONTACTS,
)
JOINED = ("code", "limit")  # sheets whose rows become part of other tables
SHEET_OF = {sheet.table: sheet for sheet in SHEETS}


def with_examples_marked(sheet: PlantSheet) -> PlantSheet:
    """The sheet with the column that marks examples before its own."""
    mark = PlantColumn(EXAMPLE, "", about="a row that says `example` here is not read; clear the cell to keep the row")
    return replace(sheet, columns=(mark, *sheet.columns))
