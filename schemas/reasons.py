"""Why a row or a file was refused: a code each, with its sentence for the person who must mend it."""

from __future__ import annotations

from enum import Enum


class Reason(Enum):
    """Code and sentence. `{value}` is the text as it came, `{expected}` what would have been right."""

    # rows
    MISSING = "the value is missing; it is not optional here{expected}"
    NOT_A_COUNT = "{value} is not a whole number"
    NOT_A_NUMBER = "{value} is not a number with a decimal point"
    NOT_A_TIME = "{value} is not a time such as 2026-03-02T09:00:00+01:00"
    YEAR_OUTSIDE = (
        "{value} lies outside the years that are taken, {expected}; check the clock or the default value of whoever "
        "wrote it"
    )
    NOT_A_DATE = "{value} is not a date such as 2026-03-02"
    NO_OFFSET = "{value} has no offset (Z or +01:00), and works.toml gives this feed no time zone"
    TIME_IN_GAP = "{value} does not exist: the clock of {expected} was put forward over it"
    TIME_TWICE = "{value} came twice that night in {expected}; only an offset can say which is meant"
    IN_FUTURE = "{value} lies ahead of the moment of receipt; check the clock of whoever wrote it"
    FAR_AHEAD = "{value} lies more than {expected} ahead; check the year"
    LONG_AGO = "{value} lies before 1971, where a clock without power begins; check the clock of whoever wrote it"
    TOO_LOW = "{value} is below the least value allowed, {expected}"
    TOO_HIGH = "{value} is above the greatest value allowed, {expected}"
    TOO_LONG = "the text is longer than {expected} characters"
    NOT_ONE_OF = "{value} is not one of {expected}"
    UNKNOWN_LINE = "{value} is not a line in works.toml ({expected})"
    UNKNOWN_FURNACE = "{value} is not a furnace in works.toml ({expected})"
    UNKNOWN_STATION = "{value} is not a station in works.toml ({expected})"
    UNKNOWN_DEFECT = "{value} is not a defect in works.toml ({expected})"
    UNKNOWN_ITEM = "{value} is not an item in works.toml ({expected})"
    UNKNOWN_TEST = "{value} is not a test in works.toml ({expected}); add it there as [[test]]"
    UNKNOWN_QUANTITY = "{value} is not a quantity in works.toml ({expected}); add it there as [[quantity]]"
    UNKNOWN_PLACE = "{value} is no place that can be meant here ({expected})"
    QUANTITY_ELSEWHERE = "{value} is no place of the kind at which works.toml says that this quantity is read"
    STATION_OF_OTHER_LINE = "station {value} stands on another line in works.toml"
    STATION_CANNOT_SEE = "works.toml says this station cannot call {value}; mend its `sees` or the export"
    SECTION_BEYOND_MACHINE = "{value} is more than the machine's sections in works.toml"
    GOB_BEYOND_MACHINE = "{value} is beyond the machine's gob positions in works.toml"
    REJECTED_ABOVE_INSPECTED = "more containers rejected than inspected"
    REFED_ABOVE_INSPECTED = "more containers that had been through before than were inspected"
    CAUGHT_ABOVE_PASSES = "more passes caught than made"
    HOT_REJECTED_ABOVE_GOBS = "more rejected at the hot end than gobs cut"
    FILLED_BELOW_EMPTY = "the filled container weighs no more than the empty one"
    DENSITY_INCOMPLETE = "neither a density nor a whole sink-float comparison (standard and both settling temperatures)"
    FOUND_ABOVE_SAMPLE = "more containers found faulty than looked at"
    FOUND_WITHOUT_DEFECT = "containers were found faulty, but no defect is named"
    CALLED_THOUGH_PASSED = (
        "ware that passed was called by no station: leave `station` and `called` empty, or say that the stream was "
        "`rejected`"
    )
    LINKED_TO_ITSELF = "the containers went from a pallet onto the same pallet"
    ENDS_BEFORE_START = "the end lies before the start"
    MINUTES_ROLLED = (
        "{value} lies in days whose minutes were rolled into hours; where it must count, put its file into archive/ "
        "and run `coldledger rebuild --from-archive`"
    )
    WINDOW_OVERLAPS = (
        "the window at {value} lies over {expected} of the same key that are there already, and its ware would count "
        "twice or take the place of theirs; a length alone is corrected by the same counts at the same start"
    )
    NOT_TEXT = "{value} holds bytes that are not UTF-8; save the file as UTF-8"
    NUL_BYTE = "{value} holds a NUL byte (shown as \ufffd), which no text has; mend what writes it"
    FIELD_COUNT = "the row has {expected}; the file may have been cut off"
    LINE_TOO_LONG = "the line is longer than {expected} characters"
    NOT_JSON = "the line is not a JSON object; the file may have been cut off"
    NESTED_JSON = "{value} is not a plain value"
    UNKNOWN_KEY = "{value} is no column of this feed ({expected})"
    NOT_ONE_LINE = "{value} has a line break or another control character in it"

    # whole files
    EMPTY_FILE = "the file is empty; a file with nothing to say still has its header line"
    UNKNOWN_FEED = "the name does not begin with a feed ({expected})"
    UNKNOWN_FORMAT = "the name does not end in .csv, .csv.gz, .parquet or .jsonl"
    WRONG_HEADER = "the header has {expected}"
    OTHER_ENCODING = "the file is not text of the encoding that [[mapping]] gives it ({expected})"
    NAME_LACKS = "the file's name does not fit the from_name of its [[mapping]], {value}"
    MAPPING_FEED = "its [[mapping]] names {value}, which is no feed ({expected})"
    MAPPING_COLUMN = "its [[mapping]] in works.toml is wrong: {expected}"
    WRONG_ENCODING = "the file is not UTF-8 text ({expected}); save it as UTF-8"
    LINES_LACK = "no line of the file fits the from_lines of its [[mapping]], {value}"
    NO_KINDS = "none of its rows is of a kind that the pivot of its [[mapping]] names, {value}"
    NO_WORKBOOK = (
        "its [[mapping]] names a sheet or a range, but the file is text and no workbook; give text a mapping of its own"
    )
    WORKBOOK = "the workbook {expected}"
    BROKEN_WORKBOOK = (
        "the file is not a readable workbook ({expected}); it may have been cut off: save it and send it again"
    )
    EMPTY_SHEET = "nothing stands on the sheet {value}; name the sheet of the table in its [[mapping]]"
    OTHER_KIND = "by its first bytes the file is {expected}"
    TOO_LARGE = "the file unpacks to more than {expected}; split it"
    NO_ROWS = "something stands behind the header, but no row could be made out; its line ends may be no line ends"
    TOO_MANY_WRONG = "more than {expected} of its rows are wrong; mend what writes it"
    OUR_FAULT = (
        "reading it went wrong in a way that nobody foresaw ({expected}): that is a fault of this program and not of "
        "the file; send both to whoever looks after it"
    )
    BROKEN_GZ = "the file cannot be unpacked ({expected}); it may have been cut off: send it again"
    BROKEN_PARQUET = "the file is not a readable Parquet file ({expected}); it may have been cut off: send it again"
    PARQUET_TYPE = "the column has the Parquet type {value}; expected {expected}"

    @property
    def code(self) -> str:
        return self.name.lower()

    def sentence(self, value: str | None = None, expected: str | None = None) -> str:
        """The sentence with its value and what was expected filled in."""
        return self.value.format(value=f"'{shortened(value)}'", expected=expected or "")


def shortened(value: str | None) -> str:
    """A value as a sentence shows it."""
    return "" if value is None else value if len(value) <= 80 else value[:77] + "..."


def reason_of(code: str) -> Reason:
    """The reason with this code; KeyError for a code that was never one."""
    return Reason[code.upper()]


def refusal_sentence(
    file: str,
    line: int,
    column: str,
    reason: Reason,
    value: str | None = None,
    expected: str | None = None,
    place: str = "",
) -> str:
    """What, where, what was expected and what to do, in one sentence. Line 0 is the file itself. place: the cell of a
    workbook, such as Shift!F17.
    """
    where = (f" {place}" if place else f" line {line}" if line else "") + (f", column {column}" if column else "")
    mend = (
        "The row was set aside; correct it in quarantine/ and run `coldledger feeds retry`."
        if line
        else "The file was set aside whole; mend it in quarantine/ and run `coldledger feeds retry`."
    )
    return f"{file}{where}: {reason.sentence(value, expected)}. {mend}"
