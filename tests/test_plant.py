"""works.toml: every mistake at once, each with its place."""

from __future__ import annotations

import pytest
from pydantic import BaseModel

from pipelines.errors import PlantError
from pipelines.plant import mapping as mappings_of_plant
from pipelines.plant import tables as tables_of_plant
from pipelines.plant.works import Plant, read_plant, restored
from pipelines.site.folder import template
from tests.conftest import WORKS


def mistakes(text: str) -> list[str]:
    with pytest.raises(PlantError) as caught:
        read_plant(text)
    return list(caught.value.mistakes)


def spoilt(old: str, new: str) -> str:
    assert old in WORKS
    return WORKS.replace(old, new, 1)


def line_of(text: str, piece: str) -> int:
    return next(n for n, line in enumerate(text.splitlines(), start=1) if piece in line)


@pytest.mark.parametrize(
    ("old", "new", "place", "says"),
    [
        ('colour = "flint"', 'color = "flint"', "[[furnace]] F1, color", "unknown key"),
        ('furnace = "F1"', 'furnace = "F7"', "[[line]] K1, furnace", "'F7' is not a furnace here (F1, F2)"),
        ('id = "K1-side-b"', 'id = "K1-side-a"', "[[station]] K1-side-a, id", "given twice"),
        ('severity = "critical"\n', "", "[[defect]] BSW, severity", "missing"),
        (
            'severity = "critical"',
            'severity = "grave"',
            "[[defect]] BSW, severity",
            "'critical', 'major' or 'minor'",
        ),
        ('"14:00", "22:00"', '"22:00", "14:00"', "[works], shifts", "out of order"),
        ('"06:00", "14:00"', '"05:00", "14:00"', "[works], shifts", "must start when the day starts"),
        ("Europe/Warsaw", "Europe/Atlantis", "[works], timezone", "not a time zone of the IANA list"),
        ('"06:00"', '"26:00"', "[works], day_starts", "not a time of day"),
        ("sections = 8", "sections = 0", "[[line]] K1, sections", "greater than or equal to 1"),
        (
            "weight_min_g = 176.0",
            "weight_min_g = 190.0",
            "[[item]] J370, weight_min_g",
            "190.0 is above weight_g 182.0",
        ),
        ('sees = ["OVP"', 'sees = ["OVQ"', "[[station]] K1-mouth, sees", "'OVQ' is not a defect here"),
        ("lehr_minutes = 92.0", "lehr_minutes = inf", "[[line]] K1, lehr_minutes", "finite"),
        (
            'origin = "mould"\n',
            'origin = "mould"\nkind = "divert"\n',
            "[[defect]] BSW, kind",
            "'fault', 'mould_rejection', 'sample', 'setting' or 'diverted'",
        ),
        (
            'origin = "mould"\n',
            'origin = "mould"\nkind = "setting"\n',
            "[[defect]] BSW, kind",
            "'setting' is no fault of the ware and is watched by nothing, so it cannot be critical",
        ),
        ("J370 = [139.2", "J371 = [139.2", "[[test]] height, limits", "'J371' is not an item here (J370, W750"),
        (
            "[139.2, 140.8]",
            "[140.8, 139.2]",
            "[[test]] height, limits",
            "the least, 140.8, is above the greatest, 139.2",
        ),
        ('where = "furnace"', 'where = "works"', "[[quantity]] seeds_100g, where", "'furnace', 'line' or 'station'"),
        ('id = "wall"', 'id = "height"', "[[test]] height, id", "given twice"),
        ('items = ["J370"]', 'items = ["J37O"]', "[[customer]] C-ORCHARD, items", "'J37O' is not an item here"),
        ("{ major = 0.4 }", "{ critical = 0.4 }", "[[customer]] C-ORCHARD, aql", "'major' or 'minor'"),
        (
            "[[furnace]]",
            '[reports]\npages = ["hours"]\n[[furnace]]',
            "[reports], pages",
            "'weights', 'laboratory' or 'hour'",
        ),
        (
            "[[furnace]]",
            '[reports]\naddress = "ledger"\n[[furnace]]',
            "[reports], address",
            "no address such as https://",
        ),
        ('id = "J370"', 'id = "J/370"', "[[item]] J/370, id", "no blanks, quotes, commas or slashes"),
        ('id = "F2"', 'id = "F#2"', "[[furnace]] F#2, id", "no ? # %"),
        ('id = "F2"', 'id = ".."', "[[furnace]] .., id", "not of dots alone"),
    ],
)
def test_one_mistake_is_named_with_its_place(old: str, new: str, place: str, says: str) -> None:
    text = spoilt(old, new)
    found = mistakes(text)
    assert any(place in each and says in each for each in found), found


CONTACT = '[[contact]]\nname = "foreman"\nfor = ["critical", "hold"]\nphone = "+48 32 555 01 00"\n'


def test_a_contact_says_whom_to_ring_for_what() -> None:
    contact = read_plant(f"{WORKS}\n{CONTACT}").contact[0]
    assert (contact.name, contact.for_, contact.phone) == ("foreman", ("critical", "hold"), "+48 32 555 01 00")
    assert read_plant(WORKS).contact == () and read_plant(WORKS + CONTACT.replace("+48 32 555 01 00", "412"))


@pytest.mark.parametrize(
    ("old", "new", "key", "says"),
    [
        ('"hold"', '"fire"', "for", "'critical', 'hold' or 'silent'"),
        ('["critical", "hold"]', "[]", "for", "at least 1 item"),
        ("+48 32 555 01 00", "ring the gate", "phone", "'ring the gate' is no telephone number such as +351 21 555"),
        ("+48 32 555 01 00", "+", "phone", "is no telephone number"),
        ('phone = "+48 32 555 01 00"\n', "", "phone", "missing"),
        ("phone =", "fon =", "fon", "unknown key"),
        ('name = "foreman"', 'name = ""', "name", "at least 1 character"),
    ],
)
def test_a_mistake_of_a_contact_is_named_with_its_place(old: str, new: str, key: str, says: str) -> None:
    assert old in CONTACT
    found = mistakes(f"{WORKS}\n{CONTACT.replace(old, new)}")
    assert any("[[contact]]" in each and f", {key}: " in each and says in each for each in found), found


def test_a_contact_stands_once() -> None:
    assert any("[[contact]] foreman, name: name 'foreman' is given twice" in m for m in mistakes(WORKS + 2 * CONTACT))


def test_the_place_holds_the_line_of_the_file() -> None:
    text = spoilt("sections = 8", "sections = -8")
    assert mistakes(text)[0].startswith(f"line {line_of(text, 'sections = -8')}, ")


def test_all_mistakes_are_named_at_once() -> None:
    text = WORKS
    for old, new in (
        ('furnace = "F2"', 'furnace = "F9"'),
        ("Europe/Warsaw", "Mars/Base"),
        ("sections = 6", "sections = 600"),
        ('colour = "amber"', 'tint = "amber"'),
    ):
        text = text.replace(old, new, 1)
    found = "\n".join(mistakes(text))
    assert all(word in found for word in ("F9", "Mars/Base", "600", "tint") if word != "600")
    assert "[[line]] K2, sections" in found


def test_a_line_without_a_station_is_a_mistake() -> None:
    text = WORKS.replace('line = "K2"', 'line = "K1"')
    assert any(
        "[[line]] K2" in mistake and "no [[station]] stands on this line" in mistake for mistake in mistakes(text)
    )


def test_what_is_not_toml_is_said_with_its_line() -> None:
    assert "line 2" in mistakes("[works]\nname = \n")[0]


def test_the_template_of_a_new_site_is_right() -> None:
    assert read_plant(template()).lines["A1"].gob_positions == ("A", "B")


def test_stations_come_in_the_order_of_the_ware(plant: Plant) -> None:
    assert [s.id for s in plant.stations_of("K1")] == ["K1-side-a", "K1-side-b", "K1-mouth", "K1-foot"]
    assert plant.first_stations("K1") == ("K1-side-a", "K1-side-b")


def test_lost_ids_are_restored_from_former_plants(plant: Plant) -> None:
    text = WORKS.replace('id = "O250"', 'id = "O251"').replace('code = "SUN"', 'code = "SNK"').replace('"SUN"', '"SNK"')
    this_plant = restored(read_plant(text), [plant])
    assert "O250" in this_plant.items and this_plant.defects["SUN"].name == "sunken side"
    assert set(this_plant.lines) == set(plant.lines)


def test_a_defect_is_a_fault_unless_it_says_otherwise() -> None:
    added = '\n[[defect]]\ncode = "DIV"\nname = "diverted"\nseverity = "minor"\nzone = "whole"\norigin = "handling"\n'
    plant = read_plant(WORKS + added + 'kind = "diverted"\n')
    assert plant.no_faults == ("DIV",) and plant.defects["DIV"].kind == "diverted"
    assert plant.faults == read_plant(WORKS).defects and not read_plant(WORKS + added).no_faults


def test_not_every_defect_can_be_no_fault() -> None:
    text = WORKS.replace('severity = "critical"', 'severity = "major"')
    head, *defects = text.split("[[defect]]")
    text = "[[defect]]".join([head, *(part.replace("origin =", 'kind = "sample"\norigin =', 1) for part in defects)])
    assert any("no [[defect]] is a fault" in mistake for mistake in mistakes(text))


def test_lists_without_an_end_are_said() -> None:
    with pytest.raises(PlantError, match="lists within lists"):
        read_plant("a = " + "[" * 100_000)


def test_every_key_of_works_toml_says_what_it_is() -> None:
    tables = [Plant, *vars(tables_of_plant).values(), *vars(mappings_of_plant).values()]
    models = {
        table for table in tables if isinstance(table, type) and issubclass(table, BaseModel) and table is not BaseModel
    }
    assert len(models) >= 22
    assert not [
        f"{model.__name__}.{name}"
        for model in models
        for name, key in model.model_fields.items()
        if not key.description
    ]
