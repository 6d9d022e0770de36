"""Texts for people, as a field of a shape."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import ValidatorFunctionWrapHandler, WrapValidator


def _as_it_is(value: Any, check: ValidatorFunctionWrapHandler) -> Any:
    return value if isinstance(value, str) else check(value)


# a text that stays the object it is: one that also knows how it is said in another language still does
Text = Annotated[str, WrapValidator(_as_it_is)]
