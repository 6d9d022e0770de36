"""What a route shows: a page, and how the application shows it."""

from __future__ import annotations

from dataclasses import dataclass

from pipelines.reports.frame.page import Page
from schemas.texts import Text


@dataclass(frozen=True)
class View:
    """A page in the application's frame. kind: the place in the navigation; refresh_s: how often it renews itself, 0
    for never; notes: said above its content; sometimes: tables that are not always there; first: what the first stop of
    the keyboard leads to.
    """

    kind: str
    page: Page
    refresh_s: int = 0
    notes: tuple[Text, ...] = ()
    sometimes: tuple[str, ...] = ()
    first: str = "content"
