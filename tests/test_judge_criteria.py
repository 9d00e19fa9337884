"""Edges of every criterion, the verdict in words, and a laboratory's own table."""

from pathlib import Path

import pytest

from bmp.judge.criteria import CURRENT, Facts, judge, read_criteria, verdict

PUBLISHED = read_criteria()


def outcome(fact: Facts, check: str, rule_set: str = CURRENT) -> str:
    chosen = [c for c in PUBLISHED if c.rule_set == rule_set and c.check == check]
    (finding,) = judge([fact], chosen)
    return finding.outcome


@pytest.mark.parametrize(
    ("value", "expected"), [(339.9, "fail"), (340.0, "pass"), (395.0, "pass"), (395.1, "fail")]
)
def test_edges_of_the_control_yield(value, expected):
    """Acceptance edges: document 100 v1.9, "between 340 and 395"."""
    assert outcome(Facts("c", "control", mean_yield=value), "yield of the control") == expected


@pytest.mark.parametrize(("value", "expected"), [(6.0, "pass"), (6.01, "fail")])
def test_edges_of_the_scatter(value, expected):
    """Document 100 v1.9: no more than 6 %."""
    assert outcome(Facts("c", "control", rsd_percent=value), "scatter of the control") == expected


@pytest.mark.parametrize("role", ["blank", "control", "substrate"])
def test_edges_of_the_number_of_jars(role):
    assert outcome(Facts("m", role, jars=2), f"jars of {role}") == "fail"
    assert outcome(Facts("m", role, jars=3), f"jars of {role}") == "pass"


@pytest.mark.parametrize(("value", "expected"), [(0.99, "pass"), (1.0, "fail"), (1.01, "fail")])
def test_exactly_one_percent_is_not_below(value, expected):
    fact = Facts("s", "substrate", three_day_rate_percent=value)
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
        Facts("trial", "trial", cellulose_controls=1, blank_jars=3),
        Facts("inoculum", "blank", jars=3),
        Facts("cellulose", "control", **control),
        Facts("silage", "substrate", jars=3, three_day_rate_percent=0.4, blank_shorter_d=0.0),
    ]


def current(facts):
    return verdict(judge(facts, [c for c in PUBLISHED if c.rule_set == CURRENT]))


def test_a_trial_that_keeps_all_is_validated():
    assert current(whole_trial()).validated
    assert current(whole_trial()).words == (
        "Validated by Standard BMP Methods, document 100 v1.9 (2021)."
    )


def test_the_verdict_names_each_reason():
    found = current(whole_trial(mean_yield=320.0, rsd_percent=7.5))
    assert not found.validated
    assert found.because == (
        "yield of the control (cellulose): 320 where 340 to 395 NmL CH4/g VS is asked",
        "scatter of the control (cellulose): 7.5 where at most 6 % is asked",
    )
    assert found.words.startswith("Not validated by Standard BMP Methods")


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
    (finding,) = judge([Facts("c", "control", mean_yield=345.0)], read_criteria(own))
    assert finding.outcome == "fail"
    own.write_text(own.read_text("utf-8").replace("mean_yield", "mean_yeild"), encoding="utf-8")
    with pytest.raises(ValueError, match="row 2: unknown value 'mean_yeild'"):
        read_criteria(own)


@pytest.mark.parametrize(
    ("fact", "words"),
    [
        (
            Facts("raw sludge", "substrate", three_day_rate_percent=2.4531),
            "raw sludge still made 2.45 % of its net methane a day, where below 1 % is asked",
        ),
        (
            Facts("blank of pit sludge", "blank", jars=1),
            "the blank of pit sludge has 1 jar, where at least 3 are asked",
        ),
        (
            Facts("sludge B", "trial", cellulose_controls=0),
            "there is no cellulose control on sludge B",
        ),
        (
            Facts("cellulose", "control", mean_yield=395.1),
            "yield of the control (cellulose): 395.1 where 340 to 395 NmL CH4/g VS is asked",
        ),
    ],
)
def test_a_reason_reads_as_a_person_would_say_it(fact, words):
    current = [c for c in PUBLISHED if c.rule_set == CURRENT]
    assert words in verdict(judge([fact], current)).because


def test_what_cannot_be_judged_is_said_once_a_criterion():
    facts = [Facts(name, "substrate", jars=3, blank_shorter_d=0.0) for name in ("a", "b")]
    words = verdict(judge(facts, [c for c in PUBLISHED if c.rule_set == CURRENT])).words
    assert words.endswith("because duration of the substrate could not be judged (a, b).")


def test_a_limit_that_is_kept_says_nothing_of_a_broken_one():
    kept = judge([Facts("s", "substrate", jars=3)], [c for c in PUBLISHED if "jars" in c.check])
    assert {finding.meaning for finding in kept} == {"The limit is kept."}
