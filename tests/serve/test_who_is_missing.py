"""What is said before the pages go beyond this computer: who is missing is named."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pipelines.errors import WrongUse
from pipelines.people.access import People
from pipelines.people.books import Books
from pipelines.serve.supervise import ServeOptions, checked
from tests.conftest import NOW, Place

BEYOND = ServeOptions(port=0, address="https://ledger.works.example")
PASSWORD = "nine moulds in a row"


def refusal(place: Place) -> str:
    with pytest.raises(WrongUse) as exception_info:
        checked(BEYOND, place.opened, Books(place.site.serve))
    return str(exception_info.value)


def test_without_anybody_nobody_can_sign_in_and_without_an_admin_that_one_is_missing(place: Place) -> None:
    assert "nobody can sign in; run `coldledger people add NAME --role admin" in refusal(place)
    people = People(Books(place.site.serve))
    people.add("M. Lis", ["supervisor"], PASSWORD, NOW)
    said = refusal(place)
    assert "an admin is missing" in said and "nobody can sign in" not in said and "people add NAME --role admin" in said
    people.add("A. Nowak", ["admin"], PASSWORD, NOW)
    assert checked(replace(BEYOND, address="https://x.example"), place.opened, Books(place.site.serve)) == [
        "Every page needs a sign-in."
    ]
