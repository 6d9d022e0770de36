"""Meters, losses, balances and causes by their names: each is a message, and in English what answers keep."""

from __future__ import annotations

from datetime import date

import pytest

from pipelines.measures.yields.meter_sentences import could_be_sentences, suspect_sentences, unusual_sentences
from pipelines.measures.yields.names import balance_name, meter_name, place_name, plain_word
from pipelines.words import Message, catalogue
from schemas.answers.meters import CouldBe, SuspectMeter

GERMAN = catalogue("de")


@pytest.mark.parametrize(
    ("name", "german"),
    [
        ("F1 melt log", "F1 Schmelzbuch"),
        ("K1 gobs cut", "K1 geschnittene Tropfen"),
        ("K1-a rejected", "K1-a aussortiert"),
        ("K1 packed", "K1 gepackt"),
        ("F1, furnace to shears", "F1, Wanne bis Schere"),
        ("K1, lehr", "K1, Kühlofen"),
        ("K1, before K1-foot", "K1, vor K1-foot"),
        ("K1, packing in J370", "K1, Packen in J370"),
        ("K1-a, part of its lanes in J370", "K1-a, Anteil ihrer Bahn in J370"),
    ],
)
def test_a_meter_or_loss_is_named_in_the_readers_language(name: str, german: str) -> None:
    assert (
        meter_name(name) == name and isinstance(meter_name(name), Message) and GERMAN.write(meter_name(name)) == german
    )


def test_balances_places_and_kinds_are_named_too() -> None:
    assert (
        GERMAN.write(balance_name("F1: melted = held back + cut")) == "F1: geschmolzen = zurückgehalten + geschnitten"
    )
    assert GERMAN.write(balance_name("K1: before K1-foot")) == "K1: vor K1-foot"
    assert GERMAN.write(place_name("section 7")) == "Station 7" and place_name("K1-foot") == "K1-foot"
    assert GERMAN.write(plain_word("job change")) == "Auftragswechsel" and plain_word("jam") == "jam"


def test_what_is_said_of_a_meter_is_ordered_as_the_language_orders_it() -> None:
    suspect = SuspectMeter(
        meter="K1-a inspected",
        reading=12345.0,
        reconciled=12000.0,
        z=4.2,
        unit="containers",
        rivals=("K1, lehr", "K1 packed"),
        since=date(2026, 3, 8),
        since_low=date(2026, 3, 7),
        since_high=date(2026, 3, 9),
        days=3,
        off_pct=2.875,
        off_low=2.1,
        off_high=None,
        probability=0.83,
    )
    (said,) = suspect_sentences([suspect])
    assert said == (
        "K1-a inspected reads 12 345 containers; all explanations together make it 12 000 (83 % sure, z +4.2); where "
        "it is this one, +2.88 % off, 95 % +2.10 to anything % of what was there, since 2026-03-08 (3 days; the first "
        "lies between 2026-03-07 and 2026-03-09). Have it checked; it may as well be more than usual lost at K1, lehr "
        "or K1 packed."
    )
    assert GERMAN.write(said) == (
        "K1-a geprüft: zeigt 12 345 Stück; alle Erklärungen zusammen ergeben 12 000 (zu 83 % sicher, z +4.2); ist es "
        "dieser, dann um +2.88 % falsch, 95 % +2.10 bis beliebig % des Vorhandenen, seit 2026-03-08 (3 Tage; der erste "
        "liegt zwischen 2026-03-07 und 2026-03-09). Prüfen lassen; ebenso möglich: mehr als üblich verloren: K1, "
        "Kühlofen oder K1 gepackt."
    )
    loss = suspect.model_copy(update={"meter": "K1, lehr", "rivals": (), "days": 1})
    assert GERMAN.write(unusual_sentences([loss])[0]) == (
        "K1, Kühlofen: 12 000 Stück ungesehen verloren, üblich sind 12 345 (zu 83 % sicher), nur an diesem Tag."
    )


def test_explanations_that_remain_are_told_in_one_sentence() -> None:
    honest = CouldBe(furnace="F1", causes=(), kinds=(), probability=0.6, pack_to_melt=0.93, low=0.92, high=0.94)
    off = CouldBe(
        furnace="F1",
        causes=("K1 gobs cut",),
        kinds=("cut",),
        probability=0.4,
        pack_to_melt=None,
        low=0.9,
        high=0.95,
        off_pct=-1.25,
    )
    (said,) = could_be_sentences([honest, off])
    assert said == (
        "F1, one of these two: every meter is honest (60 %), pack-to-melt 93.0 % (95 %: 92.0 to 94.0); K1 gobs cut "
        "counts low by 1.2 % of what was there (40 %), pack-to-melt 90.0 to 95.0 %, no one number."
    )
    assert GERMAN.write(said) == (
        "F1, eines von diesen beiden: jeder Zähler stimmt (60 %), gepackt zu geschmolzen 93.0 % (95 %: 92.0 bis 94.0); "
        "K1 geschnittene Tropfen: zählt um 1.2 % des Vorhandenen zu wenig (40 %), gepackt zu geschmolzen 90.0 bis 95.0 "
        "%, keine einzelne Zahl."
    )
