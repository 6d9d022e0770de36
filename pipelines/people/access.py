"""Who may do what: roles and what each allows, passwords, sign-ins."""

from __future__ import annotations

import hashlib
import secrets
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import TYPE_CHECKING

from pipelines.clock import utc_text
from pipelines.errors import WrongUse
from pipelines.people.books import Books

if TYPE_CHECKING:
    from argon2 import PasswordHasher

ACTS: dict[str, frozenset[str]] = {
    "reader": frozenset({"read"}),
    "laboratory": frozenset({"read", "enter"}),
    "supervisor": frozenset({"read", "enter", "acknowledge", "repair", "place"}),
    "quality": frozenset({"read", "enter", "acknowledge", "place", "decide"}),
    "admin": frozenset({"read", "people"}),
}
MEANS = {  # what each act is, in words
    "read": "read, where reading needs a sign-in",
    "enter": "type in what a feed holds",
    "acknowledge": "acknowledge signals",
    "repair": "correct refused rows and retry",
    "place": "propose, place and extend holds",
    "decide": "confirm, dismiss, release and scrap holds",
    "people": "say who may do what, read the audit trail",
}
ROLES = tuple(ACTS)
SHORTEST = 10  # letters of a password
LONGEST = 200
IDLE_S, OLD_S = 12 * 3600.0, 7 * 86400.0
_TOUCH_S = 60.0
LAST_ADMIN = "{name} is the last admin: give another person that role first, or nobody could change who may do what"
_HASHING = threading.BoundedSemaphore(2)  # passwords looked at together: each takes 64 MiB for as long (Argon2id)


@dataclass(frozen=True)
class Person:
    """Somebody who is signed in. form_token: what every form of theirs must carry."""

    name: str
    roles: tuple[str, ...]
    form_token: str = ""

    def may(self, act: str) -> bool:
        return any(act in ACTS[role] for role in self.roles if role in ACTS)


@cache
def _hasher() -> PasswordHasher:
    from argon2 import PasswordHasher

    return PasswordHasher()  # Argon2id with the library's current parameters (RFC 9106)


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


class People:
    """The people of a works who may sign in, and who is."""

    def __init__(self, books: Books):
        self.books = books

    def add(self, name: str, roles: Sequence[str], password: str, at: datetime) -> None:
        """Let a person sign in; a known one gets the new password and roles and is signed out everywhere. WrongUse for
        what cannot be.
        """
        text = name.strip()
        if not text or len(text) > 80 or any(ord(c) < 32 for c in text):
            raise WrongUse("a name has 1 to 80 letters")
        self._check(roles, text, password)
        with _HASHING:
            hashed = _hasher().hash(password)
        if not self.books.tell("add_person", name=text, roles=" ".join(roles), password_hash=hashed, at=utc_text(at))[
            0
        ]:
            raise WrongUse(LAST_ADMIN.format(name=text))
        self.books.tell("end_sessions_of", name=text)

    def _check(self, roles: Sequence[str], name: str, password: str) -> None:
        if not roles or any(role not in ACTS for role in roles):
            raise WrongUse(f"a role is one of {', '.join(ROLES)}; a person can have several")
        if not SHORTEST <= len(password) <= LONGEST or len(set(password)) < 5 or name.lower() in password.lower():
            raise WrongUse(
                f"a password has {SHORTEST} to {LONGEST} letters, at least five different ones, and does not hold "
                "the name; several words make a good one"
            )

    def end(self, name: str, at: datetime) -> None:
        """Take a person out and sign them out; WrongUse where nobody has the name, and for the last admin."""
        if not self.books.tell("end_person", name=name, at=utc_text(at))[0]:
            if self.books.ask("person", name=name):
                raise WrongUse(LAST_ADMIN.format(name=name))
            raise WrongUse(f"nobody is called '{name}'; see `coldledger people`")
        self.books.tell("end_sessions_of", name=name)

    def everybody(self) -> list[dict[str, str | None]]:
        """name, roles, made_at, ended_at of all; those taken out last."""
        return [{k: v for k, v in row.items() if k != "password_hash"} for row in self.books.ask("all_people")]

    def has(self, role: str) -> bool:
        """Whether somebody who may sign in has a role."""
        return any(role in str(texts["roles"]).split() for texts in self.everybody() if texts["ended_at"] is None)

    def sign_in(self, name: str, password: str) -> str | None:
        """A new session's token, or None where name and password do not fit. Takes as long for an unknown name as for a
        known one.
        """
        from argon2.exceptions import InvalidHashError, VerificationError

        rows = self.books.ask("person", name=name.strip())
        row = rows[0] if rows and rows[0]["ended_at"] is None else None
        try:
            with _HASHING:
                _hasher().verify(row["password_hash"] if row else _nobody(), password[: LONGEST + 1])
        except (VerificationError, InvalidHashError):
            return None
        if row is None:
            return None
        token, now = secrets.token_urlsafe(32), time.time()
        self.books.tell("drop_old_sessions", seen_after=now - IDLE_S, begun_after=now - OLD_S)
        self.books.tell(
            "begin_session", token_hash=_hash(token), name=row["name"], form_token=secrets.token_urlsafe(24), at=now
        )
        return token

    def of(self, token: str | None) -> Person | None:
        """Who a browser's token stands for, if it still does."""
        if not token:
            return None
        now = time.time()
        rows = self.books.ask("session", token_hash=_hash(token), seen_after=now - IDLE_S, begun_after=now - OLD_S)
        if not rows:
            return None
        if now - rows[0]["seen"] > _TOUCH_S:
            self.books.tell("touch_session", token_hash=_hash(token), at=now)
        return Person(rows[0]["name"], tuple(rows[0]["roles"].split()), rows[0]["form_token"])

    def sign_out(self, token: str) -> None:
        self.books.tell("end_session", token_hash=_hash(token))


@cache
def _nobody() -> str:
    return _hasher().hash(secrets.token_urlsafe(16))
