"""The tables `tank` and `tank feeds`, read strictly: where, what stands there, what would do."""

from pathlib import Path

import pytest

from bmp.read.tables import CellTable
from bmp.read.tank import CHOICES, FEEDS, NUMBERS, TEXTS, read_tank, read_tank_feeds
from bmp.tank.from_tables import tank_setup
from bmp.trial import MONTHS, Jar, Material

LEAST = (("liquid volume [L]", "200"), ("temperature [°C]", "35"))
MATERIALS = (Material("Scraps", "substrate"), Material("sludge", "inoculum"))
JARS = (
    Jar("A1", "Scraps", "substrate", "sludge", group="raw"),
    Jar("A2", "Scraps", "substrate", "sludge", group="boiled"),
)
FEED_HEADER = ("material", "amount today [kg/d]", "amount planned [kg/d]")


def table(name, header, rows):
    return CellTable(name, header, tuple(rows), tuple(range(2, 2 + len(rows))))


def read(*items):
    problems, ignored = [], []
    found = read_tank(table("tank.csv", ("item", "value"), items), problems, ignored)
    return found, [str(problem) for problem in problems], ignored


def read_feeds(*rows, header=FEED_HEADER):
    problems, ignored = [], []
    found = read_tank_feeds(
        table("tank feeds.csv", header, rows), MATERIALS, JARS, problems, ignored
    )
    return found, [str(problem) for problem in problems], ignored


def test_units_are_converted():
    found, problems, _ = read(
        ("Liquid Volume [m^3]", "0.2"),
        ("temperature [°F]", "95"),
        ("methane [%]", "62"),
        ("heater use [W]", "50"),
        ("burner efficiency [fraction]", "0.5"),
        ("mixing", "Plug Flow"),
    )
    assert problems == []
    assert found["liquid_volume_L"] == pytest.approx(200.0)
    assert found["temperature_C"] == pytest.approx(35.0)
    assert found["methane_share"] == pytest.approx(0.62)
    assert found["heater_use_kWh_per_d"] == pytest.approx(1.2)
    assert found["mixing"] == "plug flow"


@pytest.mark.parametrize("item", NUMBERS, ids=lambda item: item.known.field)
def test_every_number_is_held_to_its_span_and_taken_by_the_tank(item):
    unit = {None: "", "dimensionless": " [fraction]"}.get(item.known.unit, f" [{item.known.unit}]")
    name = item.known.name + unit
    others = [row for row in LEAST if not row[0].startswith(f"{item.known.name} [")]
    for value in (item.low, item.high):
        found, problems, _ = read(*others, (name, value))
        months = [text for text in problems if "of the twelve months" in text]
        assert problems == months
        assert found[item.known.field] == pytest.approx(value)
        if not months:
            assert tank_setup(found) is not None
    for value in (item.low - 1, item.high * 1.01 + 1):
        _, problems, _ = read(*others, (name, value))
        assert f"it must be {item.words}" in problems[0]
        assert f"tank.csv, row {len(others) + 2}: " in problems[0]


@pytest.mark.parametrize(
    ("items", "words"),
    [
        (LEAST[:1], "tank.csv: there is no item “temperature”; add it with its unit"),
        ((("liquid volume", "200"), LEAST[1]), "there is no unit"),
        ((("liquid volume [kg]", "200"), LEAST[1]), "“kg” measures a mass, not a volume"),
        ((("liquid volume [L]", "a lot"), LEAST[1]), "“a lot” stands for “liquid volume”"),
        ((*LEAST, LEAST[0]), "tank.csv, row 4: the item “liquid volume” stands twice; keep one"),
        ((*LEAST, ("mixing", "shaken")), "write one of: well mixed, plug flow"),
        ((*LEAST, ("layers", "feathers 3 mm")), "like “polystyrene 50 mm”"),
        (
            (*LEAST, ("air temperature May [°C]", "12")),
            "1 of the twelve months have an air temperature; add “air temperature January”",
        ),
    ],
)
def test_bad_items(items, words):
    _, problems, _ = read(*items)
    assert len(problems) == 1
    assert words in problems[0]


def test_bad_header():
    problems = []
    assert read_tank(table("tank.csv", ("name", "value"), LEAST), problems, []) == {}
    assert "the first row must read: item, value" in str(problems[0])


def test_unknown_item_is_ignored_with_a_suggestion():
    found, problems, ignored = read(*LEAST, ("storage volum [L]", "300"))
    assert problems == []
    assert "did you mean “storage volume”?" in ignored[0]
    assert "storage_volume_L" not in found


def test_twelve_months():
    months = [(f"air temperature {month} [°C]", str(place)) for place, month in enumerate(MONTHS)]
    found, problems, _ = read(*LEAST, *months)
    assert problems == []
    assert tank_setup(found).air_temperatures_by_month_C == tuple(float(x) for x in range(12))


def test_feeds_are_matched_by_name_group_or_water():
    found, problems, _ = read_feeds(
        ("scraps", "1", "2"), ("Scraps (boiled)", None, "1"), ("Water", "3", None)
    )
    assert problems == []
    assert [row["material"] for row in found] == ["Scraps", "Scraps (boiled)", "water"]
    assert [row["amount_today_kg_per_d"] for row in found] == [1.0, 0.0, 3.0]


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([("hay", "1", "1")], "row 2, column “material”: “hay” is not among the materials"),
        ([(None, "1", "1")], "an empty cell is not among the materials"),
        ([("scraps", "1", "1"), ("SCRAPS", "1", "1")], "row 3, column “material”"),
        (
            [("scraps", "-1", "1")],
            "-1 kg/d cannot be; a daily amount is nothing, or from 1 mg to 10,000 t",
        ),
        ([("scraps", "some", "1")], "column “amount today [kg/d]”: “some” is not a number"),
        ([("scraps", None, None)], "tank feeds.csv: nothing is fed"),
    ],
)
def test_bad_feeds(rows, words):
    _, problems, _ = read_feeds(*rows)
    assert words in problems[0]


def test_missing_amount_column():
    _, problems, _ = read_feeds(("scraps", "1"), header=FEED_HEADER[:2])
    assert problems == [
        "tank feeds.csv, row 1: there is no column “amount planned”; add it with its unit"
    ]


def test_every_item_and_choice_stands_in_the_guide():
    guide = (Path(__file__).parents[1] / "bmp/guide/trial_files.md").read_text(encoding="utf-8")
    section = guide[guide.index("## The main tank") :]
    for known in (*(item.known for item in NUMBERS), *TEXTS, *FEEDS):
        middle = any(month in known.name for month in MONTHS[1:-1])
        written = (f"`{known.name}`", f"{known.name} [")
        assert middle or any(text in section for text in written), known.name
    for words in CHOICES.values():
        assert all(f"`{word}`" in section for word in words)
