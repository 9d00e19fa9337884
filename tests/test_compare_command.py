"""`bmp compare` as a person uses it."""

import json
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import pytest
from openpyxl import load_workbook

from bmp.cli import main
from tests.compare_feeds import write_trial

SPRING = {"goat bedding": (236.0, 0.09, 3), "horse manure": (200.0, 0.07, 3)}
AUTUMN = {"horse manure": (200.0, 0.07, 3), "old hay": (150.0, 0.05, 3), "leaves": (90.0, 0.05, 1)}


@pytest.fixture(scope="module")
def trials(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    folder = tmp_path_factory.mktemp("trials")
    return (
        write_trial(folder / "spring", SPRING, 1),
        write_trial(folder / "autumn", AUTUMN, 2, vigour=0.96),
    )


def read(place: Path) -> dict:
    return json.loads((place / "comparison.json").read_text(encoding="utf-8"))


class Page(HTMLParser):
    """Collects the names of elements, ids and links of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.links: list[str] = []
        self.open: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if name == "id":
                self.ids.append(value or "")
            if name in ("src", "href", "xlink:href"):
                self.links.append(value or "")
        if tag not in ("meta", "use", "path", "line", "rect"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag in self.open:
            assert self.open.pop() == tag


def test_one_trial(
    trials: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "one"
    assert main(["compare", str(trials[0]), "--out", str(out)]) == 0
    printed = capsys.readouterr()
    assert printed.out.startswith("Goat bedding gave 20 % more methane per gram of volatile solids")
    assert printed.out.endswith(f"The comparison is in {out / 'comparison.html'}\n")
    assert printed.err == ""
    record = read(out)
    assert record["format"] == "bmp-comparison-1"
    assert record["across"] is None
    first = record["trials"][0]["comparisons"][0]
    needed = {"a", "b", "quantity", "basis", "difference", "ci95", "ratio", "ratio_ci95"}
    assert needed | {"p_adjusted", "words"} <= set(first)
    assert first["words"] in printed.out
    assert sorted(p.name for p in out.iterdir()) == [
        "comparison.html",
        "comparison.json",
        "files.json",
    ]


def test_the_trials_own_report_tells_it_too(trials: tuple[Path, Path], tmp_path: Path) -> None:
    out = tmp_path / "report"
    assert main(["analyze", str(trials[0]), "--out", str(out)]) == 0
    results = json.loads((out / "results.json").read_text(encoding="utf-8"))
    first = results["comparisons"][0]
    assert (first["a"], first["b"], first["quantity"]) == ("goat bedding", "horse manure", "yield")
    assert first["verdict"] == "more"
    page = (out / "report.html").read_text(encoding="utf-8").replace("\xa0", " ")
    assert "Which feed is better" in page
    assert "Goat bedding gave 20 % more methane" in page
    assert 'id="comparison-differences-' in page
    assert (out / "figures" / "comparison-means.png").is_file()
    rows = list(load_workbook(out / "results.xlsx")["comparisons"].values)
    assert len(rows) == 1 + len(results["comparisons"])
    assert rows[1][-1] == first["words"]
    difference = [str(name).startswith("difference") for name in rows[0]].index(True)
    assert rows[1][difference] == pytest.approx(first["difference"])


def test_the_page_is_whole_and_needs_no_network(trials: tuple[Path, Path], tmp_path: Path) -> None:
    out = tmp_path / "two"
    assert main(["compare", *map(str, trials), "--out", str(out)]) == 0
    text = (out / "comparison.html").read_text(encoding="utf-8")
    page = Page(text)
    assert page.open == []
    assert len(page.ids) == len(set(page.ids))
    assert all(link.startswith("#") and link[1:] in page.ids for link in page.links)
    for words in ("Feeds of different trials", "per gram of volatile solids", "compared with"):
        assert words in text
    assert "NaN" not in text


def test_two_trials_over_the_control(trials: tuple[Path, Path], tmp_path: Path) -> None:
    out = tmp_path / "two"
    main(["compare", *map(str, trials), "--out", str(out)])
    across = read(out)["across"]
    pairs = {(c["a"], c["trial_a"], c["b"], c["trial_b"]) for c in across["comparisons"]}
    assert pairs == {
        ("goat bedding", "spring", "old hay", "autumn"),
        ("goat bedding", "spring", "leaves", "autumn"),
    }
    # The autumn trial gave 4 % less of everything; over the control the same manure agrees.
    plain, over = (one for one in across["repeated"] if one["feed"] == "horse manure")
    assert plain["values"][0]["value"] / plain["values"][1]["value"] == pytest.approx(
        1.04, abs=0.06
    )
    assert over["values"][0]["value"] / over["values"][1]["value"] == pytest.approx(1.0, abs=0.05)
    single = next(c for c in across["comparisons"] if c["b"] == "leaves")
    assert single["verdict"] == "no verdict"
    assert single["ci95"] is None


def test_the_same_trials_give_the_same_bytes(trials: tuple[Path, Path], tmp_path: Path) -> None:
    made = []
    for name in ("a", "b"):
        main(["compare", str(trials[0]), "--out", str(tmp_path / name)])
        made.append((tmp_path / name / "comparison.html").read_bytes())
    assert made[0] == made[1]


def test_against_one_feed(
    trials: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = str(tmp_path / "x")
    assert main(["compare", str(trials[1]), "--against", "old hay", "--out", out]) == 0
    comparisons = read(tmp_path / "x")["trials"][0]["comparisons"]
    assert {c["b"] for c in comparisons} == {"old hay"}
    capsys.readouterr()
    assert main(["compare", str(trials[1]), "--against", "cow", "--out", str(tmp_path / "y")]) == 2
    assert capsys.readouterr().err == (
        "--against: “cow” is no feed here; write one of: horse manure, leaves, old hay\n"
    )
    assert not (tmp_path / "y").exists()


def test_two_trials_of_one_name_are_told_apart(trials: tuple[Path, Path], tmp_path: Path) -> None:
    other = write_trial(tmp_path / "elsewhere" / "spring", SPRING, 5)
    out = tmp_path / "two"
    assert main(["compare", str(trials[0]), str(other), "--out", str(out)]) == 0
    assert [one["trial"] for one in read(out)["trials"]] == ["spring (1)", "spring (2)"]


def test_what_is_unusable_is_told_for_every_trial_and_nothing_is_written(
    trials: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    broken = write_trial(tmp_path / "broken", SPRING, 6)
    (broken / "jars.csv").unlink()
    out = tmp_path / "x"
    assert main(["compare", str(trials[0]), str(broken), "--out", str(out)]) == 2
    error = capsys.readouterr().err
    assert error.startswith(f"{broken}: there is no table “jars”")
    assert error.count("\n") == 1
    assert not out.exists()


def test_what_is_not_used_is_told_with_its_trial(
    trials: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    weather = write_trial(tmp_path / "weather", SPRING, 6)
    text = (weather / "jars.csv").read_text(encoding="utf-8")
    (weather / "jars.csv").write_text(text.replace("jar,", "smell,jar,", 1), encoding="utf-8")
    lines = (weather / "jars.csv").read_text(encoding="utf-8").splitlines()
    lines[1:] = ["none," + line for line in lines[1:]]
    (weather / "jars.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    told = "jars.csv: the column “smell” is not known and not used\n"
    out = str(tmp_path / "x")
    assert main(["compare", str(weather), "--out", out]) == 0
    assert capsys.readouterr().err == told
    assert main(["compare", str(trials[0]), str(weather), "--out", out]) == 0
    assert capsys.readouterr().err == f"{weather}: {told}"


def test_a_wrong_mixture_is_told_with_its_place(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for number, (text, what) in enumerate(
        {
            "half and half": "“half and half” is not a percentage and a material",
            "50 % straw + 50 % horse manure": "“straw” is not among the materials",
            "50 % horse manure + 50 % Horse manure": "“horse manure” stands twice in the mixture",
            "50 % goat bedding + 20 % horse manure": "the shares add up to 70 %",
        }.items()
    ):
        place = write_trial(
            tmp_path / str(number),
            {**SPRING, "mix": (218.0, 0.08, 3)},
            4,
            columns=",mixture",
            cells={"mix": text},
        )
        assert main(["compare", str(place), "--out", str(tmp_path / "x")]) == 2
        error = capsys.readouterr().err
        assert error.startswith(f"materials.csv, row 6, column “mixture”: {what}; write it such as")


def test_other_files_are_not_overwritten(
    trials: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "mine"
    out.mkdir()
    (out / "notes.txt").write_text("mine")
    assert main(["compare", str(trials[0]), "--out", str(out)]) == 2
    assert "the folder holds other files" in capsys.readouterr().err
    assert [p.name for p in out.iterdir()] == ["notes.txt"]


def test_one_feed_says_why_nothing_is_compared(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = write_trial(tmp_path / "lonely", {"old hay": (150.0, 0.05, 3)}, 7)
    assert main(["compare", str(place), "--out", str(tmp_path / "x")]) == 0
    assert "lonely: nothing is compared: the trial holds one feed only." in capsys.readouterr().out
    page = (tmp_path / "x" / "comparison.html").read_text(encoding="utf-8")
    assert "Nothing is compared: the trial holds one feed only." in page


def test_help_answers_without_heavy_libraries() -> None:
    code = (
        "import sys\nfrom bmp.cli import main\n"
        "try:\n    main(['compare', '--help'])\nexcept SystemExit:\n    pass\n"
        "print([m for m in ('scipy', 'pandas', 'matplotlib', 'lmfit') if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "--against" in out.stdout
    assert out.stdout.rstrip().endswith("[]")


def test_a_place_that_is_not_there_is_named_once(
    trials: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    gone = tmp_path / "gone"
    assert main(["compare", str(trials[0]), str(gone), "--out", str(tmp_path / "x")]) == 2
    error = capsys.readouterr().err
    assert error.startswith(f"{gone}: there is no such file or folder; ")
    assert error.count(str(gone)) == 1


def test_every_sentence_of_several_trials_names_its_trial(
    trials: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["compare", *map(str, trials), "--out", str(tmp_path / "two")]) == 0
    said = [line for line in capsys.readouterr().out.splitlines() if " gave " in line]
    assert said
    assert all("spring" in line or "autumn" in line for line in said)
    page = (tmp_path / "two" / "comparison.html").read_text(encoding="utf-8")
    assert "spring: which feed is better" in page
