"""What stands once in a works: the rows of the sheets Works and Settings, filled downwards."""

from __future__ import annotations

from pipelines.plant.workbook.sheets import YES, PlantColumn

WORKS = "Works"
SETTINGS = "Settings"
ENTRY = "Your entry"  # heading of the column that is filled
WHAT = "What"
MOST_SHIFTS = 6
MARKS = {"point": ".", "comma": ","}
THOUSANDS = {"blank": " ", "comma": ",", "point": ".", "apostrophe": "'", "none": ""}
LANGUAGES = {"English": "en", "German": "de"}
LEVELS = {word: word for word in ("S-1", "S-2", "S-3", "S-4", "I", "II", "III")}
PAGES = {word: word for word in ("weights", "laboratory", "hour")}

WORKS_ROWS = (
    PlantColumn("Name of the works", "works.name", needed=True, about="as pages and reports are headed"),
    PlantColumn(
        "Time zone", "works.timezone", "text", needed=True, about="a name of the IANA list, such as Europe/Lisbon"
    ),
    PlantColumn(
        "The production day begins at", "works.day_starts", "time", needed=True, about="local time, such as 06:00"
    ),
    *(
        PlantColumn(
            f"Shift {n + 1} begins at",
            f"works.shifts.{n}",
            "time",
            needed=n == 0,
            about="when the production day begins" if n == 0 else "blank where there is none",
        )
        for n in range(MOST_SHIFTS)
    ),
)
WORKS_EXAMPLES = ("Your works", "Europe/Lisbon", "06:00", "06:00", "14:00", "22:00")


def _row(heading: str, key: str, kind: str = "number", unit: str = "", **more: object) -> PlantColumn:
    return PlantColumn(heading, key, kind, unit, **more)  # type: ignore[arg-type]


SETTINGS_ROWS = (
    _row("Sink-float slope of your own liquid", "laboratory.sink_float_g_cm3_per_c", unit="g/cm³ per °C"),
    _row("Greatest temper number, as read", "laboratory.temper_max"),
    _row("Greatest real temper number", "laboratory.real_temper_max"),
    _row("Uncertainty of what was melted", "uncertainty.melt", unit="%"),
    _row("Uncertainty of the gobs cut", "uncertainty.gobs_cut", unit="%"),
    _row("Uncertainty of what stations count", "uncertainty.station_counts", unit="%"),
    _row("Uncertainty of the containers packed", "uncertainty.packed", unit="%"),
    _row("Uncertainty of the scale", "uncertainty.weight", unit="%"),
    _row("Weighings of a line every", "checks.weights_minutes", unit="minutes", about="0: not asked for"),
    _row("Capacity checks every", "checks.capacity_hours", unit="hours", about="0: not asked for"),
    _row("Density of the glass every", "checks.density_hours", unit="hours", about="0: not asked for"),
    _row("Temper numbers every", "checks.temper_hours", unit="hours", about="0: not asked for"),
    _row("Samples looked at every", "checks.visual_hours", unit="hours", about="0: not asked for"),
    _row("Challenges of a station every", "checks.challenge_hours", unit="hours"),
    _row("A challenge must catch of critical defects", "checks.challenge_must_catch.critical", unit="share, to 1"),
    _row("A challenge must catch of major defects", "checks.challenge_must_catch.major", unit="share, to 1"),
    _row("A challenge must catch of minor defects", "checks.challenge_must_catch.minor", unit="share, to 1"),
    _row("Inspection level of samples", "sampling.level", "choice", choices=LEVELS, about="of ISO 2859-1"),
    _row("AQL of major defects", "sampling.aql_major", unit="%"),
    _row("AQL of minor defects", "sampling.aql_minor", unit="%"),
    _row("Pallets beside a breakage within", "warehouse.breakage_minutes", unit="minutes"),
    _row(
        "A released pallet has left the works",
        "warehouse.released_means_gone",
        "yes",
        choices=YES,
        about="no: it is cleared, and where it is nobody knows",
    ),
    _row("Price of a tonne of lost glass", "cost.glass_per_t", about="blank: losses are not shown in money"),
    _row("Currency of that price", "cost.currency", "text"),
    _row("Language of the pages", "pages.language", "choice", choices=LANGUAGES, about="each reader can choose"),
    _row("Decimal mark", "pages.decimal", "choice", choices=MARKS),
    _row("Mark between thousands", "pages.thousands", "choice", choices=THOUSANDS),
    _row(
        "Pages that open without a server",
        "reports.pages",
        "choices",
        choices=PAGES,
        about="beside the day's report, holds and traces; none: write none",
    ),
    _row("Address of the served pages", "reports.address", "text", about="such as https://ledger.works.example"),
    _row("Take files in at minute", "schedule.intake_minute", "whole", about="of every hour"),
    _row("Take files in as they come", "schedule.on_new_file", "yes", choices=YES, about="and not only then"),
    _row("Close a day at", "schedule.close_at", "time", about="blank: when its last feed has come"),
    _row("Close a day at the latest after its end", "schedule.close_latest_minutes", unit="minutes"),
    _row("Notice of a critical defect", "notices.critical", "yes", choices=YES),
    _row("Notice of a signal that costs", "notices.loss_per_hour", unit="containers an hour"),
    _row("Notice of a close that failed", "notices.failed_close", "yes", choices=YES),
    _row("Notice of a station that is silent for", "notices.silent_minutes", unit="minutes"),
    _row("Keep minutes of counts", "keep.minutes_days", "whole", "days", about="blank: for ever; 60 at the least"),
)
