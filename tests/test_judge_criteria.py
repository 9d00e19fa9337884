"""Edges of every criterion, the verdict in words, and a laboratory's own table."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from bmp.judge.criteria import CURRENT, Facts, judge, name_of, read_criteria, verdict
from bmp.problem import UnusableInput

PUBLISHED = read_criteria()


def fact_of(name: str, role: str, **values: float | None) -> Facts:
    """Return the facts of a single thing."""
    known = {key: np.array([float(one)]) for key, one in values.items() if one is not None}
    return Facts(role, [name], known)


def outcome(fact: Facts, check: str, rule_set: str = CURRENT) -> str:
    chosen = [c for c in PUBLISHED if c.rule_set == rule_set and c.check == check]
    (finding,) = judge([fact], chosen)
    return finding.outcome


@pytest.mark.parametrize(
    ("value", "expected"), [(339.9, "fail"), (340.0, "pass"), (395.0, "pass"), (395.1, "fail")]
)
def test_edges_of_the_control_yield(value, expected):
    """Acceptance edges: document 100 v1.9, "between 340 and 395"."""
    assert outcome(fact_of("c", "control", mean_yield=value), "yield of the control") == expected


@pytest.mark.parametrize(("value", "expected"), [(6.0, "pass"), (6.01, "fail")])
def test_edges_of_the_scatter(value, expected):
    """Document 100 v1.9: no more than 6 %."""
    assert outcome(fact_of("c", "control", rsd_percent=value), "scatter of the control") == expected


@pytest.mark.parametrize("role", ["blank", "control", "substrate"])
def test_edges_of_the_number_of_jars(role):
    assert outcome(fact_of("m", role, jars=2), f"jars of {role}") == "fail"
    assert outcome(fact_of("m", role, jars=3), f"jars of {role}") == "pass"


@pytest.mark.parametrize(("value", "expected"), [(0.99, "pass"), (1.0, "fail"), (1.01, "fail")])
def test_exactly_one_percent_is_not_below(value, expected):
    fact = fact_of("s", "substrate", three_day_rate_percent=value)
    assert outcome(fact, "duration of the substrate") == expected


@pytest.mark.parametrize("criterion", PUBLISHED, ids=lambda c: f"{c.rule_set}: {c.check}")
def test_both_sides_of_every_limit(criterion):
    """A value on the limit, a shade inside and a shade outside."""
    for edge, inward in ((criterion.low, 1), (criterion.high, -1)):
        if edge is None:
            continue
        step = max(abs(edge), 1.0) * 1e-6
        assert criterion.holds(edge + inward * step)
        assert not criterion.holds(edge - inward * step)
        assert criterion.holds(edge) == criterion.inclusive


@pytest.mark.parametrize("criterion", PUBLISHED, ids=lambda c: f"{c.rule_set}: {c.check}")
def test_every_criterion_says_source_and_meaning(criterion):
    assert criterion.source
    assert criterion.meaning.endswith(".")
    assert criterion.unit


def whole_trial(**changes):
    control = {"jars": 3, "mean_yield": 370.0, "rsd_percent": 3.0}
    control |= {"three_day_rate_percent": 0.5, "blank_shorter_d": 0.0} | changes
    return [
        fact_of("", "trial", cellulose_controls=1, blank_jars=3),
        fact_of("inoculum", "blank", jars=3),
        fact_of("cellulose", "control", **control),
        fact_of("silage", "substrate", jars=3, three_day_rate_percent=0.4, blank_shorter_d=0.0),
    ]


def current(facts):
    return verdict(judge(facts, [c for c in PUBLISHED if c.rule_set == CURRENT]))


def test_a_trial_that_keeps_all_is_validated():
    assert current(whole_trial()).validated
    assert current(whole_trial()).words == (
        "Meets all criteria of Standard BMP Methods, document 100 v1.9 (2021), as computed here."
    )


def test_the_verdict_names_each_reason():
    found = current(whole_trial(mean_yield=320.0, rsd_percent=7.5))
    assert not found.validated
    assert found.because == (
        "yield of the control (cellulose): 320 where 340 to 395 NmL CH4/g VS is asked",
        "scatter of the control (cellulose): 7.5 where at most 6 % is asked",
    )
    assert found.words.startswith("Does not meet the criteria of Standard BMP Methods")


def test_what_is_not_known_does_not_validate():
    found = current(whole_trial(rsd_percent=None))
    assert not found.validated
    assert "could not be judged" in found.because[0]


def test_no_findings_is_no_validation():
    assert not verdict([]).validated


def test_a_laboratory_brings_its_own_table(tmp_path: Path):
    own = tmp_path / "criteria.csv"
    own.write_text(
        "rule set,check,of,value,low,high,edges,if broken,unit,source,meaning,advice\n"
        "ours,control,control,mean_yield,350,390,inclusive,fail,NmL/g,our handbook,Tighter.,\n",
        encoding="utf-8",
    )
    (finding,) = judge([fact_of("c", "control", mean_yield=345.0)], read_criteria(own))
    assert finding.outcome == "fail"


HEADER = "rule set,check,of,value,low,high,edges,if broken,unit,source,meaning,advice\n"
ROW = "ours,control,control,mean_yield,350,390,inclusive,fail,NmL/g,our handbook,Tighter.,\n"


def own_table(tmp_path, text):
    path = tmp_path / "own.csv"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (ROW.replace(",control,mean", ",contrl,mean"), "row 2, column “of”: “contrl” is not known"),
        (ROW.replace("fail", "fial"), "row 2, column “if broken”: “fial” is not known; did you"),
        (ROW.replace("mean_yield", "mean_yeild"), "column “value”: “mean_yeild” is not known"),
        (ROW.replace("mean_yield", "name"), "column “value”: “name” is not known"),
        (ROW.replace("inclusive", "inclusiv"), "column “edges”: “inclusiv” is not known"),
        (ROW.replace("350,390", "390,350"), "low 390 and high 350 leave nothing between"),
        (ROW.replace("350,390", ","), "neither low nor high is given"),
        (ROW.replace("350", "much"), "column “low”: “much” is not a number"),
        (ROW.replace("ours", "curent"), "row 2, column “rule set”: the rule set “curent” looks"),
        (ROW + ROW, "row 3, column “check”: “control” of control stands in row 2 too"),
        (ROW.replace("ours", "cautions"), "only cautions stand here"),
        ("", "the table holds no criterion"),
    ],
)
def test_a_row_that_cannot_be_meant_is_told_with_its_place(text, words, tmp_path):
    """A slip in `of` once validated a control at half its yield."""
    with pytest.raises(UnusableInput) as told:
        read_criteria(own_table(tmp_path, HEADER + text))
    assert words in str(told.value)


def test_all_bad_rows_are_told_at_once(tmp_path):
    bad = ROW.replace("fail", "fial") + ROW.replace("350,390", "390,350").replace(
        "control,", "b,", 1
    )
    with pytest.raises(UnusableInput) as told:
        read_criteria(own_table(tmp_path, HEADER + bad))
    assert [problem.row for problem in told.value.problems] == [2, 3]


def test_semicolons_decimal_commas_and_a_mark_at_the_start_are_read(tmp_path):
    text = (HEADER + ROW.replace("350", "350.5")).replace(",", ";").replace("350.5", "350,5")
    path = tmp_path / "own.csv"
    path.write_text(text, encoding="utf-8-sig")
    (row,) = read_criteria(path)
    assert (row.rule_set, row.low, row.high) == ("ours", 350.5, 390.0)


def test_changed_limits_are_not_called_by_the_published_name():
    """A table with 300 in place of 340 was once "Standard BMP Methods"."""
    assert name_of(CURRENT, PUBLISHED) == "Standard BMP Methods, document 100 v1.9 (2021)"
    wider = [replace(row, low=300.0) if row.low == 340.0 else row for row in PUBLISHED]
    assert "Standard BMP Methods" not in name_of(CURRENT, wider)
    shorter = [row for row in PUBLISHED if row.check != "scatter of the control"]
    assert "Standard BMP Methods" not in name_of(CURRENT, shorter)
    assert name_of("ours", wider) == "ours"


@pytest.mark.parametrize(
    ("fact", "words"),
    [
        (
            fact_of("raw sludge", "substrate", three_day_rate_percent=2.4531),
            "raw sludge still made 2.45 % of its net methane a day, where below 1 % is asked",
        ),
        (
            fact_of("blank of pit sludge", "blank", jars=1),
            "the blank of pit sludge has 1 jar, where at least 3 are asked",
        ),
        (
            fact_of("sludge B", "trial", cellulose_controls=0),
            "there is no cellulose control on sludge B",
        ),
        (
            fact_of("cellulose", "control", mean_yield=395.1),
            "yield of the control (cellulose): 395.1 where 340 to 395 NmL CH4/g VS is asked",
        ),
    ],
)
def test_a_reason_reads_as_a_person_would_say_it(fact, words):
    current = [c for c in PUBLISHED if c.rule_set == CURRENT]
    assert words in verdict(judge([fact], current)).because


def test_what_cannot_be_judged_is_said_once_a_criterion():
    facts = [fact_of(name, "substrate", jars=3, blank_shorter_d=0.0) for name in ("a", "b")]
    words = verdict(judge(facts, [c for c in PUBLISHED if c.rule_set == CURRENT])).words
    assert words.endswith(": duration of the substrate could not be judged (a, b).")


def test_a_limit_that_is_kept_says_nothing_of_a_broken_one():
    kept = judge([fact_of("s", "substrate", jars=3)], [c for c in PUBLISHED if "jars" in c.check])
    assert {finding.meaning for finding in kept} == {"The limit is kept."}
