"""The guide's pages on validity and reading errors against the tables they speak of."""

from pathlib import Path

import pytest

from bmp.judge.criteria import COLUMNS, FACTS, read_criteria
from bmp.judge.reading_errors import READING_ERRORS

GUIDE = Path(__file__).parents[1] / "bmp" / "guide"
VALIDITY = (GUIDE / "validity.md").read_text(encoding="utf-8")
ERRORS = (GUIDE / "reading_errors" / "index.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("criterion", read_criteria(), ids=lambda c: f"{c.rule_set}: {c.check}")
def test_every_criterion_stands_in_the_guide(criterion):
    row = f"| {criterion.check} | {criterion.of} | {criterion.limit} | {criterion.if_broken} |"
    assert row in VALIDITY


def test_every_column_and_fact_stands_in_the_guide():
    for name in (*COLUMNS, *FACTS):
        assert f"`{name}`" in VALIDITY


@pytest.mark.parametrize("kind", READING_ERRORS, ids=lambda kind: kind.name)
def test_every_reading_error_stands_in_the_guide_with_its_rates(kind):
    assert f"| {kind.name} | {kind.limit} | [{kind.page}]({kind.page}.md) |" in ERRORS
    rates = [line for line in ERRORS.splitlines() if line.startswith(f"| {kind.name} | ")]
    assert len(rates) >= 2
