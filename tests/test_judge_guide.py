"""The guide's pages on validity and slips against the tables they speak of."""

from pathlib import Path

import pytest

from bmp.judge.criteria import COLUMNS, FACTS, read_criteria
from bmp.judge.traps import TRAPS

GUIDE = Path(__file__).parents[1] / "bmp" / "guide"
VALIDITY = (GUIDE / "validity.md").read_text(encoding="utf-8")
SLIPS = (GUIDE / "traps" / "index.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("criterion", read_criteria(), ids=lambda c: f"{c.rule_set}: {c.check}")
def test_every_criterion_stands_in_the_guide(criterion):
    row = f"| {criterion.check} | {criterion.of} | {criterion.limit} | {criterion.if_broken} |"
    assert row in VALIDITY


def test_every_column_and_fact_stands_in_the_guide():
    for name in (*COLUMNS, *FACTS):
        assert f"`{name}`" in VALIDITY


@pytest.mark.parametrize("trap", TRAPS, ids=lambda trap: trap.name)
def test_every_slip_stands_in_the_guide_with_its_rates(trap):
    assert f"| {trap.name} | {trap.limit} | [{trap.page}]({trap.page}.md) |" in SLIPS
    rates = [line for line in SLIPS.splitlines() if line.startswith(f"| {trap.name} | ")]
    assert len(rates) >= 2
