"""The page of moulds and the signals agree: works with known faults, taken in, followed, and shown."""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta

import pytest
from scipy import stats

from pipelines.answers.moulds import MachineNow, answer_moulds
from pipelines.clock import Span
from pipelines.jobs.signals import refresh_signals
from pipelines.measures.pareto.cavities import MORE, OWN
from pipelines.plant.works import Plant
from sample_feeds.simulator import Simulated, make_plan, write_feeds
from sample_feeds.simulator.plan import RUN_IN_MIN, PlannedFault
from tests.conftest import Place
from tests.pages.conftest import Browser, served
from tests.shared import Shared

DAY = date(2026, 3, 10)
BEGIN, END = RUN_IN_MIN + 14 * 60, RUN_IN_MIN + 22 * 60
K1, K3 = (tuple(f"{line}/{s}{g}" for s in range(1, n) for g in "AB") for line, n in (("K1", 9), ("K3", 11)))
FAULTS = {
    "section": PlannedFault("section", "K1", "THN", ("K1/5A", "K1/5B"), BEGIN, END, 15.0),
    "furnace": PlannedFault("furnace", "K1", "STN", K1 + tuple(f"K2/{s}A" for s in range(1, 7)), BEGIN, END, 8.0),
    "line": PlannedFault("line", "K3", "BLI", K3, BEGIN, END, 7.0),
    "gob": PlannedFault("gob", "K4", "LAP", tuple(f"K4/{s}C" for s in range(1, 7)), BEGIN, END, 12.0),
    "mould": PlannedFault("mould", "K3", "CHF", ("K3/4B",), BEGIN, END, 40.0),
}
UNTIL = datetime(2026, 3, 11, 2, tzinfo=UTC)  # while all of them go on, at the cold end


@pytest.fixture(scope="module")
def faulty(plant: Plant, shared: Shared) -> Simulated:
    plan = make_plan(plant, DAY, 1, seed=52_031, lag_offset=0.0, faults=0)
    plan.faults.extend(FAULTS.values())
    return shared.simulated(plan)


@pytest.fixture(scope="module")
def site(faulty: Simulated, new_site: Callable[..., Place]) -> Place:
    def fill(place: Place) -> None:
        write_feeds(faulty, place.site.inbox)
        place.take()
        refresh_signals(place.opened, [DAY])

    return new_site("faulty", fill)


def begins(site: Place, line: str) -> datetime:
    """When the first faulty ware comes to the first station: the lehr of these works takes its nominal time."""
    formed = make_plan(site.plant, DAY, 1, seed=52_031, lag_offset=0.0, faults=0).at(BEGIN)
    return formed + timedelta(minutes=site.plant.lines[line].lehr_minutes)


def asked(site: Place, line: str, hours: float, end: datetime = UNTIL, defect: str | None = None) -> MachineNow:
    with site.opened.ledger.reading() as reader:
        return answer_moulds(reader, site.plant, line, Span(end - timedelta(hours=hours), end), defect)


@pytest.mark.parametrize("hours", [3, 8])
@pytest.mark.parametrize(
    ("line", "kind"),
    [("K1", "section"), ("K1", "furnace"), ("K2", "furnace"), ("K3", "line"), ("K4", "gob"), ("K3", "mould")],
)
def test_a_fault_is_shown_as_its_signal_and_no_cavity_inside_it_is_named_for_it(
    site: Place, line: str, kind: str, hours: int
) -> None:
    """Against the truth of the simulated works: place, defect, and begin at the cold end (one lehr time after
    forming).
    """
    machine, fault = asked(site, line, hours), FAULTS[kind]
    assert machine.against == "past"
    (number,) = [
        n for n, s in enumerate(machine.signals) if (s.defect, s.scope) == (fault.defect, kind) and s.ended is None
    ]
    signal = machine.signals[number]
    mine = {member.split("/")[1] for member in fault.members if member.startswith(line)}
    assert abs(signal.onset - begins(site, line)) < timedelta(minutes=20)
    assert {f"{c.section}{c.gob}" for c in machine.cavities if number in c.signals} == mine
    for cavity in machine.cavities:
        assert fault.defect not in {cell.defect for cell in cavity.cells}, cavity
        assert cavity.level == "signal" or cavity.cells or f"{cavity.section}{cavity.gob}" not in mine


def test_quiet_hours_name_cavities_on_no_more_maps_than_is_said(site: Place) -> None:
    """Before the faults: maps of two hours from six hours of past on. The limit is the 0.995 quantile of
    scipy.stats.binom at the stated share.
    """
    ends = [datetime(2026, 3, 10, hour, tzinfo=UTC) for hour in (13, 15, 17, 19)]
    maps = [asked(site, line, 2, end) for line in ("K1", "K2", "K3", "K4") for end in ends]
    assert {machine.against for machine in maps} == {"past"}
    named = sum(any(c.level in OWN for c in machine.cavities) for machine in maps)
    assert named <= stats.binom.ppf(0.995, len(maps), MORE)


def test_a_page_of_one_defect_agrees_with_that_of_all(site: Place) -> None:
    every, machine = asked(site, "K3", 6), asked(site, "K3", 6, defect="CHF")
    assert [s.defect for s in machine.signals] == ["CHF"] and "BLI" in {s.defect for s in every.signals}
    assert [c.signals for c in machine.cavities if c.signals] == [(0,)]
    assert machine.calls < every.calls and all(
        c.calls <= e.calls for c, e in zip(machine.cavities, every.cavities, strict=True)
    )


def test_the_shares_of_calls_add_up_and_what_is_not_judged_is_said(site: Place) -> None:
    machine = asked(site, "K1", 4)
    assert machine.placed is not None and machine.unread is not None and machine.unfitted is not None
    assert machine.placed + machine.unread + machine.unfitted == pytest.approx(1.0) and machine.unread > 0.05
    before = asked(site, "K1", 2, datetime(2026, 3, 10, 6, tzinfo=UTC))
    assert before.against == "others" and "compared with the others" in before.doubts[0]


@pytest.fixture(scope="module")
def browser(site: Place) -> Iterator[Browser]:
    client = served(site.site.root)
    with client:
        yield Browser(client)
    client.app.state.web.desk.close()  # type: ignore[attr-defined]


def address(line: str) -> str:
    return f"/moulds/{line}?from=2026-03-10T22:00&to=2026-03-11T02:00"


def text_of(page: str) -> str:
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", page)))


def test_the_page_names_the_place_of_the_signal_and_frames_it(browser: Browser) -> None:
    page = browser.get(address("K1"))
    text = text_of(page)
    assert "section 5: THN thin wall since" in text and "furnace F1, all of K1, K2: STN stone" in text
    frames = re.findall(r'<li class="(framed[^"]*|)"><p class="section">Section (\d)</p>', page)
    assert [number for kind, number in frames if kind == "framed"] == ["5"]
    assert 'class="machine framed"' in page and "part of section 5" in text
    gobs = browser.get(address("K4"))
    assert re.findall(r'class="cavity \w+ in-gob"><p class="place">(?:<a [^>]*>)?<b>(\w+)</b>', gobs) == [
        f"{s}C" for s in range(1, 7)
    ]
    assert "4B" in re.findall(
        r'class="cavity \w+ in-mould"><p class="place">(?:<a [^>]*>)?<b>(\w+)</b>', browser.get(address("K3"))
    )


def test_a_signal_on_the_map_leads_to_its_card(browser: Browser) -> None:
    page = browser.get(address("K3"))
    leads = re.findall(r'<a href="(/hour/K3\?at=[^"#]+)#([^"]+)">', page)
    assert len(leads) >= 2
    for hour, card in leads:
        assert f'id="{card}"' in browser.get(html.unescape(hour))


def lit_places(page: str) -> set[str]:
    """The cavities in whose strip something is filled as beyond expectation."""
    drawn = re.split(r'<li class="cavity ', page)[1:]
    return {re.search(r"<b>(\w+)</b>", each)[1] for each in drawn if 'class="beyond"' in each}  # type: ignore[index]


def test_only_what_signals_explain_is_coloured(browser: Browser) -> None:
    lit = lit_places(browser.get(address("K4")))
    assert lit == {f"{section}C" for section in range(1, 7)}, "no cavity outside the place is named on this map"


def test_the_page_speaks_german_from_top_to_bottom(browser: Browser) -> None:
    browser.client.post("/language", data={"language": "de", "to": "/now"})
    text = text_of(browser.get(address("K1")))
    assert (
        "Station 5: THN" in text and "Teil von: Station 5" in text and "das" in text and "laufende Signale hier" in text
    )
    for english in ("since", "part of", "expected", "as usual", "no number read", "How it is judged"):
        assert english not in text.split("Quellen")[0].split("Woher die Zahlen")[0], english
    browser.client.post("/language", data={"language": "en", "to": "/now"})


OTHERS = {
    "section": PlannedFault("section", "K3", "SUN", ("K3/7A", "K3/7B"), BEGIN, END, 16.0),
    "gob": PlannedFault("gob", "K1", "LAP", tuple(f"K1/{s}B" for s in range(1, 9)), BEGIN, END, 10.0),
    "line": PlannedFault("line", "K2", "BLI", tuple(f"K2/{s}A" for s in range(1, 7)), BEGIN, END, 9.0),
    "mould": PlannedFault("mould", "K4", "CHF", ("K4/2B",), BEGIN, END, 40.0),
}


@pytest.fixture(scope="module")
def other_site(plant: Plant, shared: Shared, new_site: Callable[..., Place]) -> Place:
    """The same kinds of fault at other places, on other lines, by another seed."""

    def fill(place: Place) -> None:
        plan = make_plan(plant, DAY, 1, seed=52_077, lag_offset=0.0, faults=0)
        plan.faults.extend(OTHERS.values())
        write_feeds(shared.simulated(plan), place.site.inbox)
        place.take()
        refresh_signals(place.opened, [DAY])

    return new_site("faulty elsewhere", fill)


@pytest.fixture(scope="module")
def other_browser(other_site: Place) -> Iterator[Browser]:
    client = served(other_site.site.root)
    with client:
        yield Browser(client)
    client.app.state.web.desk.close()  # type: ignore[attr-defined]


CASES = [
    *[(True, line, kind) for line, kind in (("K1", "section"), ("K1", "furnace"), ("K2", "furnace"), ("K3", "line"))],
    *[(True, line, kind) for line, kind in (("K4", "gob"), ("K3", "mould"))],
    *[(False, line, kind) for line, kind in (("K3", "section"), ("K1", "gob"), ("K2", "line"), ("K4", "mould"))],
]


def told_as(fault: PlannedFault, kind: str, machine: MachineNow) -> str:
    """The words with which the page begins the sentence of such a fault."""
    section, gob = fault.members[0].split("/")[1][:-1], fault.members[0][-1]
    number = next((s.members[0] for s in machine.signals if s.scope == "mould" and s.defect == fault.defect), "")
    return {
        "section": f"section {section}: {fault.defect}",
        "gob": f"gob position {gob}: {fault.defect}",
        "line": f"the whole machine: {fault.defect}",
        "furnace": f"furnace F1, all of K1, K2: {fault.defect}",
        "mould": f"mould {number} ({section}{gob}): {fault.defect}",
    }[kind]


@pytest.mark.parametrize(("mine", "line", "kind"), CASES)
def test_ten_faults_are_told_and_drawn_as_what_they_are(
    mine: bool,
    line: str,
    kind: str,
    site: Place,
    other_site: Place,
    browser: Browser,
    other_browser: Browser,
) -> None:
    """Against the truth of the simulated works: the sentence names section, gob position, mould, machine or furnace;
    the picture frames just that, fills the excess there and nowhere else, and names no cavity inside a wider one.
    """
    fault = (FAULTS if mine else OTHERS)[kind]
    page = (browser if mine else other_browser).get(f"{address(line)}&defect={fault.defect}")
    machine = asked(site if mine else other_site, line, 4, defect=fault.defect)
    assert told_as(fault, kind, machine) in text_of(page)
    assert 'class="number">' in page and "lost an hour" in text_of(page)
    cells = re.findall(r'<li class="(cavity [^"]*)"><p class="place">(?:<a [^>]*>)?<b>(\w+)</b>', page)
    by_place = {place: kinds.split() for kinds, place in cells}
    held = {member.split("/")[1] for member in fault.members if member.startswith(line)}
    framed = {
        number
        for kinds, number in re.findall(r'<li class="([^"]*)"><p class="section">Section (\d+)</p>', page)
        if kinds == "framed"
    }
    assert cells and not [place for place, kinds in by_place.items() if {"far", "more"} & set(kinds)]
    wide = kind in ("line", "furnace")
    assert ('class="machine framed"' in page) == wide and ('class="whole"' in page) == wide
    other = {c for s in machine.signals if s.scope != kind for c in s.cavities}  # what chance told beside it
    assert lit_places(page) == (set() if wide else held) | other and len(other) <= 1
    assert framed == ({next(iter(held))[:-1]} if kind == "section" else set())
    assert {place for place, kinds in by_place.items() if "in-gob" in kinds} == (held if kind == "gob" else set())
    assert {place for place, kinds in by_place.items() if "in-mould" in kinds} == (held if kind == "mould" else set())


def test_each_cavity_has_its_parts_with_their_age_and_leads_to_its_mould(browser: Browser, site: Place) -> None:
    page, machine = browser.get(address("K3")), asked(site, "K3", 4)
    first = machine.cavities[0]
    parts = {part.part: part for part in machine.parts[first.section, first.gob]}
    assert set(parts) == {"blank", "mould", "neck_ring"} and all(part.age > timedelta(0) for part in parts.values())
    assert f'<a href="/mould/K3/{first.moulds[-1]}"><b>1A</b>' in page
    hours = parts["mould"].age / timedelta(hours=1)
    age = f"{hours:.0f} h" if hours < 48 else f"{hours / 24:.0f} d"
    assert f"mould {parts['mould'].number}, {age}" in text_of(page)
    bar = page[page.index('class="choices"') :]
    choices = re.findall(r'href="(/moulds/K3[^"]*)"[^>]*>([^<]+)</a></li>', bar[: bar.index("</nav>")])
    assert [words for _, words in choices][:2] in (
        ["BLI blister", "CHF finish check"],
        ["CHF finish check", "BLI blister"],
    )
    assert choices[-1][1] == "all defects" and "&amp;defect=" in choices[0][0]
