"""The exception tree. The command line turns it into one sentence and an exit status at one edge."""

from __future__ import annotations

from collections.abc import Sequence

from schemas.reasons import Reason

DONE, NEEDS_A_PERSON, WRONG_USE = 0, 1, 2
INTERRUPTED = 130  # as shells count an interrupt
STOPPED = "Stopped. Nothing received was lost, what is done is kept: the same command goes on from there.\n"


class ColdledgerError(Exception):
    """Anything this tool can say about what went wrong. `exit_status` is what the command ends with."""

    exit_status = NEEDS_A_PERSON


class WrongUse(ColdledgerError):
    """The command was given something that cannot be."""

    exit_status = WRONG_USE


class SiteError(ColdledgerError):
    """The site folder cannot be read or written."""

    exit_status = WRONG_USE


class PlantError(SiteError):
    """works.toml, or a workbook for it, is wrong; `mistakes` holds every one of them, each with its place."""

    def __init__(self, mistakes: Sequence[str], name: str = "works.toml"):
        self.mistakes = tuple(mistakes)
        count = len(self.mistakes)
        head = f"{name} has {count} mistake{'s' if count != 1 else ''}:"
        super().__init__("\n".join([head, *(f"  {mistake}" for mistake in self.mistakes)]))


class LedgerBusy(ColdledgerError):
    """Another program holds the ledger."""


class LedgerBroken(ColdledgerError):
    """The ledger cannot be opened for a reason that waiting does not mend."""


class FileRefused(ColdledgerError):
    """A feed file that cannot be read at all."""

    def __init__(self, reason: Reason, value: str = "", expected: str = "", column: str = ""):
        self.reason, self.value, self.expected, self.column = reason, value, expected, column
        super().__init__(f"{reason}: {value}")


def first_line(error: BaseException) -> str:
    """What an error says, in a line."""
    return str(error).splitlines()[0] if str(error) else "no words"


def named_line(error: BaseException) -> str:
    """The same, with the kind of error before it."""
    return f"{type(error).__name__}: {first_line(error)}"
