"""Whoever mends what a run told is told nothing that the first run could have seen.

Problems of different kinds are planted together, in any combination; what each says when it stands
alone it must say beside the others. Else a second run, after mending, would show it.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable, Sequence
from itertools import combinations
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bmp.cli import main
from bmp.read.takeover.answers import answers_path
from tests import own_sheets
from tests.tables import Rows, tables, with_item, write_csv
from tests.test_read_takeover import GERMAN_ANSWERS, answer

Tables = dict[str, Rows]
Plant = Callable[[Tables], None]


def set_item(item: str, value: object) -> Plant:
    def plant(t: Tables) -> None:
        t["trial"] = with_item(item, value, t["trial"])

    plant.__name__ = f"trial: {item} = {value}"
    return plant


def cell(table: str, row: int, column: int, value: object) -> Plant:
    def plant(t: Tables) -> None:
        t[table][row][column] = value

    plant.__name__ = f"{table} {row},{column} = {value}"
    return plant


def row(table: str, *values: object) -> Plant:
    def plant(t: Tables) -> None:
        t[table].append(list(values))

    plant.__name__ = f"{table} + {values}"
    return plant


def column(table: str, header: str, *values: object) -> Plant:
    def plant(t: Tables) -> None:
        # a table is filled up before a column is added
        wide = len(t[table][0])
        for index, one in enumerate(t[table]):
            one += [None] * (wide - len(one))
            one.append(header if index == 0 else values[min(index, len(values)) - 1])

    plant.__name__ = f"{table} | {header}"
    return plant


def added(name: str, rows: Rows) -> Plant:
    def plant(t: Tables) -> None:
        t[name] = [list(one) for one in rows]

    plant.__name__ = f"+ {name}"
    return plant


# By the cell or item that it is about: two about one place are never planted together.
TRIAL_PLANTS: dict[str, Plant] = {
    "measured": set_item("measured", "by eye"),
    "readings are": set_item("readings are", "weekly"),
    "ambient": set_item("ambient [kPa]", 1000),
    "gas temperature": set_item("gas temperature [°C]", "warm"),
    "incubation": set_item("incubation temperature [°C]", 370),
    "methane": set_item("methane [%]", 160),
    "started": set_item("started", "after lunch"),
    "flush gas": set_item("flush gas", "smoke"),
    "show units": set_item("show units", "stone"),
    "altitude": set_item("altitude [m]", 90_000),
    "unit of an item": set_item("closing pressure [mugs]", 3),
    "blank": set_item("blank", "perhaps"),
}
TABLE_PLANTS: dict[str, Plant] = {
    "VS": cell("materials", 2, 3, 95),
    "TS": cell("materials", 1, 2, "some"),
    "role": cell("materials", 1, 1, "sludge?"),
    "material twice": row("materials", "oats", "substrate", 90, 80),
    "bulk density": column("materials", "bulk density [kg/L]", -1),
    "headspace": cell("jars", 1, 4, -5),
    "inoculum": cell("jars", 2, 2, "a cup"),
    "no sample": cell("jars", 4, 3, None),
    "jar twice": row("jars", "A1", "oats", 400, 5, 500),
    "no such material": row("jars", "B1", "barley", 400, 5, 500),
    "no readings": row("jars", "A3", "oats", 400, 5, 500),
    "volume": cell("readings", 2, 2, "about 40"),
    "no such jar": row("readings", "Z9", 3, 40),
    "twice": row("readings", "N1", 14, 20),
    "day": cell("readings", 12, 1, -3),
    "volume below nought": cell("readings", 15, 2, -410),
    "temperature of a reading": column("readings", "temperature [°C]", 20, 20, 400, 20),
    "share of a reading": column("readings", "methane [%]", 60, 60, 60, 60, 140, 60),
    "crucibles": added("crucibles", [
        ["material", "empty [g]", "wet [g]", "dried [g]", "burnt [g]"],
        ["oats", 20, 30, 31, 21], ["rye", 20, 30, 25, 21],
    ]),
    "tank": added("tank", [["item", "value"], ["liquid volume [L]", -20]]),
}  # fmt: skip
PLANTS = TRIAL_PLANTS | TABLE_PLANTS
FOLLOWS = {
    # told of what the other broke: mended with it
    ("no sample", "no such jar"), ("no readings", "no such jar"), ("tank", "crucibles"),
    # no one knows how the figures are to be read
    ("measured", "volume below nought"), ("readings are", "volume below nought"),
}  # fmt: skip
_ROW = re.compile(r"\brows? \d+(?:(?:, | and |-)\d+)*")


def said(place: Path, capsys: pytest.CaptureFixture[str]) -> list[str]:
    """Return what a run tells, without the rows, which others move."""
    main(["check", str(place)])
    return [_ROW.sub("row", line) for line in capsys.readouterr().err.splitlines()]


def planted(place: Path, names: Sequence[str], way: str = "volume") -> Path:
    content = tables()
    if way != "volume":
        content["trial"] = with_item("measured", way, content["trial"])
        content["readings"][0][2] = {"pressure": "gauge before [kPa]", "mass": "mass [g]"}[way]
        for one in content["readings"][1:]:
            one[2] = one[2] / 10.0 if way == "pressure" else 900.0 - one[1] - one[2] / 1000.0
    if way == "mass":
        content["readings"] += [[jar, 0, 900] for jar in ("N1", "N2", "A1", "A2")]
    for name in names:
        PLANTS[name](content)
    return write_csv(place, content)


def hidden(
    place: Path,
    names: Sequence[str],
    by_itself: dict[str, list[str]],
    capsys: pytest.CaptureFixture[str],
    way: str = "volume",
) -> list[str]:
    """Return what one of these says alone and not beside the others."""
    whole = "\n".join(said(planted(place, names, way), capsys))
    return [
        f"{' + '.join(names)}: {line}"
        for name in names for line in by_itself[name]
        if line not in whole and not any({name, other} == {*pair} for other in names
                                         for pair in FOLLOWS)
    ]  # fmt: skip


def test_each_is_a_problem_and_no_other_hides_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    by_itself = {name: said(planted(tmp_path / name, [name]), capsys) for name in PLANTS}
    assert not [name for name, lines in by_itself.items() if not lines]
    found = [
        line
        for a, b in [*combinations(PLANTS, 2)][::3]
        for line in hidden(tmp_path / f"{a} and {b}", (a, b), by_itself, capsys)
    ]
    assert found == [], "\n".join(found)


@settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    names=st.lists(st.sampled_from(sorted(PLANTS)), min_size=2, max_size=7, unique=True),
    way=st.sampled_from(["pressure", "mass", "volume"]),
)
def test_in_any_combination_nothing_is_hidden(
    names: list[str],
    way: str,
    tmp_path_factory: pytest.TempPathFactory,
    capsys: pytest.CaptureFixture[str],
) -> None:
    place = tmp_path_factory.mktemp("many")
    ordered = [name for name in PLANTS if name in names]
    by_itself = {name: said(planted(place / name, [name], way), capsys) for name in ordered}
    assert hidden(place / "all", ordered, by_itself, capsys, way) == []


# ---------------------------------------------------------------- a sheet of one's own

IN_THE_SHEET: dict[str, tuple[str, str]] = {
    "a word for a volume": ("08:00;985;22;", "08:00;985;22;viel;"),
    "air of the moon": ("05.03.2026;08:00;985;", "05.03.2026;08:00;98500;"),
    "a hot room": ("10.03.2026;08:00;985;22;", "10.03.2026;08:00;985;222;"),
    "a share of the methane": ("Rindergülle;8,5;80;58;", "Rindergülle;8,5;80;580;"),
    "organic above all": ("Schweinegülle;6;75;64;", "Schweinegülle;6;175;64;"),
    "a mass of text": ("F7;Rindergülle;400;45;", "F7;Rindergülle;etwas;45;"),
}
IN_THE_ANSWERS: dict[str, tuple[str, str]] = {
    "hotter than fire": ("incubation temperature [°C]", "370"),
    "flushed with smoke": ("flush gas", "smoke"),
    "gas neither wet nor dry": ("gas", "damp"),
}


def said_of_the_sheet(
    place: Path, names: Sequence[str], capsys: pytest.CaptureFixture[str]
) -> list[str]:
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir()
    sheet = place / "versuch.csv"
    own_sheets.write_german(sheet)
    text = sheet.read_bytes().decode("cp1252")
    assert main(["start", str(sheet)]) == 0
    answer(sheet, GERMAN_ANSWERS)
    path = answers_path(sheet)
    answers = path.read_text(encoding="utf-8-sig")
    for name in names:
        if name in IN_THE_SHEET:
            old, new = IN_THE_SHEET[name]
            assert old in text, name
            at = text.index(old)
            end = text.index(";", at + len(old)) + 1 if name == "a word for a volume" else 0
            text = text[:at] + new + text[end or at + len(old) :]
        else:
            item, value = IN_THE_ANSWERS[name]
            answers = re.sub(rf"(?m)^{re.escape(item)} = .*$", f"{item} = {value}", answers)
    sheet.write_bytes(text.encode("cp1252"))
    path.write_text(answers, encoding="utf-8")
    return said(sheet, capsys)


def test_in_a_sheet_of_ones_own_nothing_is_hidden(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plants = [*IN_THE_SHEET, *IN_THE_ANSWERS]
    assert said_of_the_sheet(tmp_path / "one", [], capsys) == []
    by_itself = {name: said_of_the_sheet(tmp_path / "one", [name], capsys) for name in plants}
    assert not [name for name, lines in by_itself.items() if not lines]
    hidden = []
    for names in (*combinations(plants, 2), plants):
        whole = "\n".join(said_of_the_sheet(tmp_path / "one", names, capsys))
        hidden += [f"{names}: {line}" for name in names for line in by_itself[name]
                   if line not in whole]  # fmt: skip
    assert hidden == [], "\n".join(hidden)


# ---------------------------------------------------------------- a plan

PLAN: Rows = [
    ["item", "value"], ["jar volume [mL]", 1000], ["days", 30], ["methane known by", "meter"],
]  # fmt: skip
PLAN_MATERIALS: Rows = [
    ["material", "role", "like", "available [g]"],
    ["sludge", "inoculum", None, 9000],
    ["bedding", "substrate", "sheep or goat manure", 900],
    ["scraps", "substrate", "food waste", 900],
]
PLAN_PLANTS: dict[str, tuple[str, object]] = {
    "vessel": ("vessel", "bucket"), "jar volume": ("jar volume [mL]", 3),
    "days": ("days", 4000), "outlet": ("outlet", "shut"), "fill": ("fill [%]", "half"),
    "ambient": ("ambient [kPa]", 1000), "jars": ("jars available", "a dozen"),
    "place": ("place", "barn"), "scale": ("scale [g]", 5000), "too few": ("jars available", 2),
    "closed": ("outlet", "closed"), "by pressure": ("measured", "pressure"),
    "absorber": ("methane known by", "absorber"), "coarse": ("scale [g]", 20),
    "much VS": ("substrate VS [g]", 400), "small collector": ("collector [mL]", 50),
    "brimful": ("fill [%]", 97), "little sludge": ("sludge", 5), "no such feed": ("like", "moon"),
}  # fmt: skip


def said_of_the_plan(
    place: Path, names: Sequence[str], capsys: pytest.CaptureFixture[str]
) -> tuple[list[str], str]:
    """Return the items that a plan is refused for, and all that is told."""
    rows, materials = ([list(row) for row in rows] for rows in (PLAN, PLAN_MATERIALS))
    for name in names:
        item, value = PLAN_PLANTS[name]
        if item == "sludge":
            materials[1][3] = value
        elif item == "like":
            materials[3][2] = value
        else:
            rows = [*(row for row in rows if row[0] != item), [item, value]]
    for folder in (place, place.with_name(f"{place.name}-plan")):
        shutil.rmtree(folder, ignore_errors=True)
    main(["plan", str(write_csv(place, {"plan": rows, "materials": materials}))])
    whole = capsys.readouterr().err
    lines = [_ROW.sub("row", line) for line in whole.splitlines()]
    # the item and what stands against it; figures follow from what else is changed
    return [re.sub(r"\d[\d.,]*", "#", line).partition("; ")[0] for line in lines
            if not line.startswith("nearest")], whole  # fmt: skip


def item_of(line: str) -> str:
    """Return the item that a line is about."""
    quoted = re.search(r"stands for “(.*?)”", line)
    return quoted[1] if quoted else line.partition(": ")[2].partition(":")[0]


def test_what_is_wrong_with_a_plan_is_told_at_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An item that is refused by itself is named beside any other's refusal."""
    plants = [*PLAN_PLANTS]
    place = tmp_path / "plan"
    assert said_of_the_plan(place, [], capsys)[0] == []
    by_itself = {name: said_of_the_plan(place, [name], capsys)[0] for name in plants}
    assert not [name for name, lines in by_itself.items() if not lines]
    hidden = []
    for a, b in combinations(plants, 2):
        if PLAN_PLANTS[a][0] == PLAN_PLANTS[b][0]:
            continue
        _, whole = said_of_the_plan(place, [a, b], capsys)
        hidden += [
            f"{a} + {b}: {line}" for name in (a, b) for line in by_itself[name]
            if item_of(line) not in whole and "with that changed" not in line
            and not {a, b} & {"vessel", "outlet"} & {n for n in (a, b) if n != name}
        ]  # fmt: skip
    assert hidden == [], "\n".join(hidden)
