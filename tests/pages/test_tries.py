"""Guesses wait ever longer, by name and address and by address; nobody is locked out by another."""

from __future__ import annotations

import pytest

from pipelines.pages.tries import FREE, FREE_OF_ADDRESS, Tries


class Clock:
    at = 1000.0

    def __call__(self) -> float:
        return self.at


def test_a_stranger_who_guesses_keeps_the_owner_out_of_nothing() -> None:
    clock = Clock()
    tries = Tries(clock)
    assert [tries.begin("A. Admin", "10.0.0.9") for _ in range(FREE)] == [0.0] * FREE
    assert tries.begin("a. admin ", "10.0.0.9") > 0, "the same name, written otherwise"
    assert tries.begin("A. Admin", "10.0.0.1") == 0, "the owner comes from elsewhere"


def test_the_delay_grows_and_an_end_is_an_end() -> None:
    clock = Clock()
    tries, waits = Tries(clock), []
    for _ in range(FREE + 6):
        while (wait := tries.begin("x", "10.0.0.9")) > 0:
            waits.append(wait)
            clock.at += wait
    assert waits == sorted(waits) and waits[0] == 60 and waits[1] == 120 and max(waits) == 900


def test_one_address_cannot_try_many_names_without_end() -> None:
    clock = Clock()
    tries = Tries(clock)
    values = [tries.begin(f"name {n}", f"2001:db8:1:2::{n:x}") for n in range(FREE_OF_ADDRESS + 5)]
    assert values[:FREE_OF_ADDRESS] == [0.0] * FREE_OF_ADDRESS and min(values[FREE_OF_ADDRESS:]) > 0, (
        "one /64 is one address"
    )
    assert tries.begin("other", "2001:db8:1:3::1") == 0
    clock.at += 61
    assert tries.begin("later", "2001:db8:1:2::1") == 0


def test_the_delay_of_an_address_grows_whatever_the_names() -> None:
    clock = Clock()
    tries, waits = Tries(clock), []
    for n in range(FREE_OF_ADDRESS + 6):
        while (wait := tries.begin(f"name {n}", "10.0.0.9")) > 0:
            waits.append(wait)
            clock.at += wait
    assert waits == sorted(waits) and waits[:2] == [60, 120] and max(waits) == 900
    assert FREE_OF_ADDRESS < 14 and tries.begin("name", "10.0.0.8") == 0
    clock.at += 3601
    assert tries.begin("name", "10.0.0.9") == 0, "after an hour of peace the address starts anew"


def test_who_has_signed_in_well_from_an_address_is_not_shut_out_there_by_a_stranger() -> None:
    clock = Clock()
    tries = Tries(clock)
    assert tries.begin("A. Admin", "10.0.0.9") == 0
    tries.good("A. Admin", "10.0.0.9")
    for n in range(FREE_OF_ADDRESS + 5):
        tries.begin(f"name {n}", "10.0.0.9")
    assert tries.begin("one more", "10.0.0.9") > 0
    for _ in range(3):
        assert tries.begin("a. admin", "10.0.0.9") == 0
        tries.good("A. Admin", "10.0.0.9")
    assert tries.begin("A. Admin", "10.0.0.9") == 0 < tries.begin("one more", "10.0.0.9")
    assert [tries.begin("A. Admin", "10.0.0.9") > 0 for _ in range(FREE)] == [False] * (FREE - 1) + [True], (
        "guesses of a known name wait by that name"
    )


def test_a_good_sign_in_takes_back_its_own_try_and_no_other() -> None:
    clock = Clock()
    tries = Tries(clock)
    for n in range(FREE_OF_ADDRESS - 1):
        assert tries.begin(f"name {n}", "10.0.0.9") == 0
    for n in range(5):
        assert tries.begin(f"owner {n}", "10.0.0.9") == 0
        tries.good(f"owner {n}", "10.0.0.9")
    assert tries.begin("name", "10.0.0.9") == 0 < tries.begin("other", "10.0.0.9")


def test_what_is_remembered_of_guesses_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipelines.pages.tries.MOST_KEPT", 50)
    tries = Tries()
    for n in range(500):
        tries.begin(f"n{n}", f"10.1.{n // 250}.{n % 250}")
    assert len(tries._pairs) <= 51 and len(tries._places) <= 51
