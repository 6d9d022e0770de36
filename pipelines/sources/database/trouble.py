"""Why a database could not be read, in words that hold no password."""

from __future__ import annotations

import re
from collections.abc import Sequence
from urllib.parse import quote, quote_plus

from pipelines.errors import ColdledgerError
from pipelines.words import say, sentence_of

LONGEST = 200
_USERINFO = re.compile(r"(\w+://)[^\s/@]*@")
_NAMED = re.compile(r"(?i)\b(password|passwd|pwd)(\s*[=:]\s*)(?:\{[^}]*\}|'[^']*'|\"[^\"]*\"|[^\s;,)]+)")
_DRIVERS = re.compile(r"^(?:\[[^\]]*\]\s*)+")  # [28000] [unixODBC] before what an ODBC driver says


class SourceTrouble(ColdledgerError):
    """A source that was not read this time; nothing of it is lost."""

    @property
    def words(self) -> str:
        """What is the matter, as a message where it has one."""
        return sentence_of(self)


def scrubbed(text: str, secrets: Sequence[str]) -> str:
    """A driver's words in one line, without passwords, as they are and as addresses write them."""
    for secret in secrets:
        for form in sorted({secret, quote(secret), quote(secret, safe=""), quote_plus(secret)}, key=len, reverse=True):
            text = text.replace(form, "…") if form else text
    text = _NAMED.sub(r"\1\2…", _USERINFO.sub(r"\1…@", text))
    line = " ".join(text.split())
    return line[: LONGEST - 1] + "…" if len(line) > LONGEST else line


def trouble_of(
    error: BaseException, secrets: Sequence[str], most_seconds: float, broken_off: bool = False
) -> SourceTrouble:
    """The trouble that an error while rows are read is. broken_off: by us, for its length."""
    if isinstance(error, SourceTrouble):
        return error
    original = getattr(error, "orig", None) or error
    if broken_off or _is_slow(original):
        return SourceTrouble(say("the database was busy for more than {seconds} s", seconds=f"{most_seconds:g}"))
    args = original.args
    raw = str(args[1]) if len(args) > 1 and isinstance(args[1], str) else str(original)
    words = scrubbed(_DRIVERS.sub("", raw).strip().split("\n")[0], secrets) or type(original).__name__
    return SourceTrouble(say("the database says: {words}", words=words))


def _is_slow(error: BaseException) -> bool:
    """A query that was broken off for its length: PostgreSQL and SQLite say so each in their way, ODBC by HYT00."""
    if getattr(error, "sqlstate", None) == "57014" or str(error) == "interrupted":
        return True
    return bool(error.args) and str(error.args[0]) in ("HYT00", "57014")
