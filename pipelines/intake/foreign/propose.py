"""A guess at the [[mapping]] of an unknown export: from its text, its headings and works.toml. It says that it guesses,
and what it could not tell.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from pipelines.errors import WrongUse
from pipelines.intake.by_bytes import what_it_is
from pipelines.intake.foreign.headings import OTHER_NAMES, plain
from pipelines.intake.foreign.reshape import matching
from pipelines.intake.foreign.sheet_traits import look_at_sheets
from pipelines.intake.foreign.text_traits import (
    DATE_FORMATS,
    GROUPED,
    SUMS,
    TIME_FORMATS,
    Text,
    format_of,
    look,
    text_keys,
)
from pipelines.intake.foreign.vocabulary import GENERIC
from pipelines.intake.foreign.workbook import is_workbook
from pipelines.plant.mapping import Mapping, Wide
from pipelines.plant.works import Plant
from schemas.feeds import ALL_FEEDS, Feed

_PLACE_WORD = re.compile(r"(?i)^(mould|mold|form|m)\W*(\d{1,4})$")
_LEAST_FIT, _LEAST_USED = 0.6, 0.5  # of what a feed needs, by what it tells; of the headings
# how much a column tells of what a list is about
_TELLS = {
    **dict.fromkeys(("window_start", "sampled_at", "checked_at", "read_at", "fitted_at", "started_at"), 0.3),
    **dict.fromkeys(("line", "station", "furnace", "item", "sample", "window_s", "note", "by", "cause"), 0.4),
    **dict.fromkeys(("packed_from", "packed_to", "state", "section", "part", "number", "looked_at", "linked_at"), 0.5),
    **dict.fromkeys(
        ("pallet", "weight_g", "density_g_cm3", "temper", "complaint", "gobs_cut", "total", "delivery"), 3.0
    ),
    **dict.fromkeys(("inspected", "rejected", "defect", "units", "empty_g", "filled_g", "batch_kg", "cullet_kg"), 2.0),
    **dict.fromkeys(("stopped_at", "job"), 2.0),
}
_GIVEN = ("line", "station", "furnace", "sample")  # an export seldom says them; its name or the mapping does


@dataclass
class Proposal:
    """A mapping as TOML, and what is still missing or only guessed, in sentences. mapping: only where it fills every
    column that must be.
    """

    toml: str
    mapping: Mapping | None
    missing: list[str] = field(default_factory=list)
    guessed: list[str] = field(default_factory=list)


def propose(data: bytes, name: str, plant: Plant, feed: str | None = None) -> Proposal:
    """A mapping for the text of one export. feed: which it is to become, where a person said so; else the one its
    headings fit best.
    """
    binary = what_it_is(data)
    if binary is not None and not binary.workbook:
        raise WrongUse(f"{name} is {binary.what}; {binary.do}")
    text = look_at_sheets(data) if is_workbook(data) else look(data)
    wanted = _feed_for(text, plant, feed)
    row: dict[str, object] = {"files": _glob(name), "feed": wanted.name}
    row |= text_keys(text)
    columns = _columns(text, wanted)
    wide = _wide(text, wanted, plant, set(columns))
    filled = {part[key] for part in wide for key in ("name", "value")}
    columns = {heading: column for heading, column in columns.items() if column not in filled}
    if columns:
        row["columns"] = columns
    if wide:
        row["wide"] = wide
    guessed = _time_keys(text, columns, wanted, plant, row)
    counted = [word for h, c in columns.items() if wanted.quantity(c).kind == "count" for word in text.words(h)]
    marks = Counter(found[1] for word in counted if (found := GROUPED.match(word)))
    if marks and "thousands" not in row and marks.most_common(1)[0][0] != row.get("decimal"):
        row["thousands"] = marks.most_common(1)[0][0]
    if "thousands" in row:
        guessed.append(f"'{row['thousands']}' is taken to stand between thousands")
    lacking = _constants(text, wanted, plant, name, row)
    missing = lacking + _values(text, wanted, plant, row)
    left = [h for h in text.headings if h not in columns and not _taken(h, wide)]
    if left:
        guessed.append("left out, as nothing of the feed is called so: " + ", ".join(left[:15]))
    try:
        mapping = Mapping.model_validate(row)
    except ValueError as error:
        return Proposal(as_toml(row), None, [*missing, str(error)], guessed)
    return Proposal(as_toml(row), None if lacking else mapping, missing, guessed)


def _feed_for(text: Text, plant: Plant, feed: str | None) -> Feed:
    if feed is not None:
        if feed not in ALL_FEEDS:
            raise WrongUse(f"'{feed}' is no feed; one of {', '.join(ALL_FEEDS)}")
        return ALL_FEEDS[feed]

    found = fitting(text, plant)
    if found is None:
        raise WrongUse(
            "cannot tell what the file is: too little of it is called as a feed's columns are; say which feed it is to "
            f"become with --as, one of {', '.join(ALL_FEEDS)}"
        )
    return found


def fitting(text: Text, plant: Plant) -> Feed | None:
    """The feed that a text fits; None where nothing distinctive of one is there, or most headings would be unused.

    A column counts by how much it tells: a pallet, a weight, a defect much, a time or a line little, and one that was
    found by a word that many lists have hardly anything.
    """

    def fits(feed: Feed) -> tuple[float, float, float]:
        columns = _columns(text, feed)
        wide = _wide(text, feed, plant, set(columns))
        there = {column: _tells(heading, column) for heading, column in columns.items()}
        there |= {str(part[key]): _TELLS.get(str(part[key]), 1.0) for part in wide for key in ("name", "value")}
        needed = [c for c in feed.columns if c not in feed.omittable and c not in _GIVEN]
        least = sum(_TELLS.get(c, 1.0) for c in needed if not feed.quantity(c).choices) or 1.0
        has = sum(there.get(c, 0.0) for c in needed if not feed.quantity(c).choices)
        used = sum(h in columns or _taken(h, wide) for h in text.headings) / len(text.headings)
        fit = has / least
        if least < 1.0 and max(there.values(), default=0.0) >= 2.0:  # what tells most of it may be missing
            fit = 1.0
        return fit + used + 0.05 * sum(there.values()), fit, used

    scored = {name: fits(feed) for name, feed in ALL_FEEDS.items()}
    best = max(scored, key=lambda name: scored[name])
    _, has, used = scored[best]
    return ALL_FEEDS[best] if has >= _LEAST_FIT and used > _LEAST_USED else None


def _tells(heading: str, column: str) -> float:
    """How much a heading tells that is taken for a column."""
    word = plain(heading)
    share = 0.15 if word in GENERIC else 1.0
    return share * _TELLS.get(column, 1.0)


def _columns(text: Text, feed: Feed) -> dict[str, str]:
    """Headings onto columns, by the names that the trade gives them; each column once, a day and a time of day both
    onto the moment.
    """
    found: dict[str, str] = {}
    for column in feed.columns:
        also = (plain(column), *OTHER_NAMES.get(column, ()))
        ranked = [(rank, h) for h in text.headings if h not in found and (rank := _rank(plain(h), also)) is not None]
        if ranked:
            found[min(ranked)[1]] = column
    moment = feed.when
    if moment is not None and feed.quantity(moment).kind == "time" and moment not in found.values():
        days = [h for h in text.headings if format_of(text.words(h), (*DATE_FORMATS, "%Y-%m-%d"))]
        times = [h for h in text.headings if format_of(text.words(h), ("%H:%M:%S", "%H:%M"))]
        both = [h for h in text.headings if format_of(text.words(h), TIME_FORMATS)]
        for heading in both[:1] or [*days[:1], *times[:1]]:
            found[heading] = moment
    elif moment is not None and moment in found.values():
        _join_day_and_time(text, found, moment)
    return {h: found[h] for h in text.headings if h in found}


def _rank(heading: str, names: Sequence[str]) -> int | None:
    """How well a heading is one of these names: the whole of it, else its beginning (a unit follows)."""
    if heading in names:
        return names.index(heading)
    begun = [
        n
        for n, name in enumerate(names)
        if heading.startswith(f"{name} ") and len(name) > 2 and not heading.removeprefix(name).strip().isdigit()
    ]
    return 100 + begun[0] if begun else None


def _join_day_and_time(text: Text, found: dict[str, str], moment: str) -> None:
    heading = next(h for h, column in found.items() if column == moment)
    words = text.words(heading)
    other = (
        ("%H:%M:%S", "%H:%M")
        if format_of(words, (*DATE_FORMATS, "%Y-%m-%d"))
        else (*DATE_FORMATS, "%Y-%m-%d")
        if format_of(words, ("%H:%M:%S", "%H:%M"))
        else ()
    )
    second = next((h for h in text.headings if h not in found and other and format_of(text.words(h), other)), None)
    if second is not None:
        found[second] = moment


def _wide(text: Text, feed: Feed, plant: Plant, taken: set[str]) -> list[dict[str, object]]:
    """Headings that are defects of works.toml or mould numbers."""
    free = [h for h in text.headings if h not in taken]
    known = {plain(code) for code in plant.defects} | {plain(d.name) for d in plant.defect}
    defects = [h for h in free if plain(h) in known]
    groups = Counter(h.split(" ")[0] for h in free if " " in h and plain(h.split(" ")[0]) in OTHER_NAMES["defect"])
    if (
        "defect" in feed.columns
        and "rejected" in feed.columns
        and (len(defects) > 1 or max(groups.values(), default=0) > 1)
    ):
        named = defects if len(defects) > 1 else [f"{groups.most_common(1)[0][0]} *"]
        return [{"columns": named, "name": "defect", "value": "rejected"}]
    moulds = [h for h in free if _PLACE_WORD.match(h)]
    value = next((c for c in ("weight_g", "inspected", "rejected") if c in feed.columns), None)
    if "mould" in feed.columns and value and len(moulds) > 1:
        first = _PLACE_WORD.match(moulds[0])
        assert first is not None
        return [{"columns": [f"{moulds[0][: first.start(2)]}*"], "name": "mould", "value": value}]
    return []


def _taken(heading: str, wide: list[dict[str, object]]) -> bool:
    globs = [str(glob).removesuffix("*") for part in wide for glob in part["columns"]]  # type: ignore[attr-defined]
    return any(heading.startswith(glob) for glob in globs)


def _time_keys(text: Text, columns: dict[str, str], feed: Feed, plant: Plant, row: dict[str, object]) -> list[str]:
    """The format of times and dates; sentences on what was only guessed."""
    guessed = []
    for column in dict.fromkeys(columns.values()):
        kind = feed.quantity(column).kind
        if kind not in ("time", "date"):
            continue
        headings = [h for h, c in columns.items() if c == column]
        words = [" ".join(parts) for parts in zip(*(text.words(h) for h in headings), strict=False)]
        words = [word for word in words if not SUMS.match(word)]
        joint = tuple(f"{d} {t}" for d in (*DATE_FORMATS, "%Y-%m-%d") for t in ("%H:%M:%S", "%H:%M"))
        form = format_of(words, DATE_FORMATS if kind == "date" else (*TIME_FORMATS, *joint))
        if form is not None:
            row["date_format" if kind == "date" else "time_format"] = form
            day_first, month_first = form.startswith("%d"), form.startswith("%m")
            if (day_first or month_first) and format_of(words, [_swapped(form)]):
                guessed.append(
                    f"{', '.join(headings)}: the day is taken to stand {'first' if day_first else 'second'}; these "
                    "rows would also read the other way"
                )
        if kind == "time" and not all(re.search(r"([Zz]|[+-]\d\d:?\d\d)$", word) for word in words):
            row["timezone"] = plant.works.timezone
            guessed.append(f"times without an offset are taken as local times of {plant.works.timezone}")
    return list(dict.fromkeys(guessed))


def _swapped(form: str) -> str:
    return form.replace("%d", "%_").replace("%m", "%d").replace("%_", "%m")


def _constants(text: Text, feed: Feed, plant: Plant, name: str, row: dict[str, object]) -> list[str]:
    """Columns that no heading gives: from the file's name or the only one there is; else they are missing."""
    filled = {*row.get("columns", {}).values()}  # type: ignore[attr-defined]
    for part in row.get("wide", []):  # type: ignore[attr-defined]
        filled |= {part["name"], part["value"]}
    lists: dict[str, tuple[str, ...]] = {
        "station": plant.ids("station"),
        "line": plant.ids("line"),
        "furnace": plant.ids("furnace"),
        "item": plant.ids("item"),
    }
    constants: dict[str, object] = {}
    missing = []
    for column in feed.columns:
        if column in filled or column in feed.omittable:
            continue
        ids = lists.get(column, ())
        named = [each for each in ids if re.search(rf"(?<![A-Za-z0-9]){re.escape(each)}(?![A-Za-z0-9])", name)]
        if len(ids) == 1 or len(named) == 1:
            constants[column] = (named or ids)[0]
        elif column == "line" and "station" in constants:
            constants[column] = plant.stations[str(constants["station"])].line
        elif column == "sample":
            constants[column] = 1
        else:
            choices = ids or feed.quantity(column).choices
            missing.append(
                f"{column} ({feed.quantity(column).meaning}): give the heading that holds it in `columns`, or one "
                "value in `constants`" + (f": {', '.join(choices[:12])}" if choices else "")
            )
    if "station" in constants and "line" in feed.columns and "line" not in filled:
        constants["line"] = plant.stations[str(constants["station"])].line
        missing = [m for m in missing if not m.startswith("line (")]
    if constants:
        row["constants"] = constants
    return missing


def _values(text: Text, feed: Feed, plant: Plant, row: dict[str, object]) -> list[str]:
    """Codes that works.toml does not know: by the defect's name where it is one, else asked for."""
    values: dict[str, dict[str, str]] = {}
    missing = []
    columns: dict[str, str] = row.get("columns", {})  # type: ignore[assignment]
    codes = {c: set(text.words(h)) for h, c in columns.items() if feed.quantity(c).kind == "code"}
    for part in row.get("wide", []):  # type: ignore[attr-defined]
        if feed.quantity(part["name"]).kind == "code":
            shape = Mapping(files=("*",), feed=feed.name, columns=columns)
            codes[part["name"]] = set(matching(Wide.model_validate(part), text.headings, shape).values())
    names = {plain(d.name): d.code for d in plant.defect} | {plain(i.name): i.id for i in plant.item}
    for column, words in codes.items():
        quantity = feed.quantity(column)
        known = plant.codes(quantity)
        strange = sorted(words - set(known))
        found = {word: names[plain(word)] for word in strange if names.get(plain(word)) in known}
        found |= {w: k for w in strange for k in known if plain(w) == plain(k)}
        if found:
            values[column] = found
        asked = [word for word in strange if word not in found]
        if asked:
            missing.append(
                f"{column}: say in `values` what these mean: {', '.join(asked[:20])} (known: {', '.join(known[:20])})"
            )
    if values:
        row["values"] = values
    return missing


def _glob(name: str) -> str:
    """The name with what changes from file to file (dates, numbers) as `*`."""
    return re.sub(r"\d{4,}([T_\-.:]?\d+)*Z?|(?<=[_-])\d+(?=\.)", "*", name) or "*"


def as_toml(row: dict[str, object]) -> str:
    """A [[mapping]] table as it is written in works.toml."""
    lines = ["[[mapping]]"]
    for key, value in row.items():
        lines.append(f"{key} = {_toml(value)}")
    return "\n".join(lines) + "\n"


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_toml(each) for each in value) + "]"
    assert isinstance(value, dict)
    bare: Callable[[str], bool] = lambda key: bool(re.fullmatch(r"[A-Za-z0-9_-]+", key))  # noqa: E731
    return "{ " + ", ".join(f"{k if bare(k) else _quoted(k)} = {_toml(v)}" for k, v in value.items()) + " }"


def _quoted(text: str) -> str:
    escaped = (
        text.replace("\\", "\\\\").replace('"', '\\"').replace("\t", "\\t").replace("\n", "\\n").replace("\r", "\\r")
    )
    return '"' + re.sub(r"[\x00-\x1f\x7f]", lambda found: f"\\u{ord(found[0]):04x}", escaped) + '"'
