"""The wall sheet as a printer gives it, on A4 and on Letter."""

from __future__ import annotations

import re
from typing import Any

import pytest

from bmp.plan.plan import plan_trial
from bmp.plan.plan_request import PlanRequest
from bmp.plan.wall_sheet import sheets_of, wall_sheet_html
from tests.plan_requests import CLOSED, LITERATURE, OPEN, but

# 8 pt in CSS pixels.
LEAST_PX = 8 * 96 / 72
SMALL = f"""() => [...document.querySelectorAll("body *")].filter(
  e => parseFloat(getComputedStyle(e).fontSize) < {LEAST_PX - 0.01}).map(e => e.tagName)"""
CUT = """() => [...document.querySelectorAll(".grid th, .grid td")].filter(
  e => e.scrollWidth > e.clientWidth + 1).map(e => e.textContent)"""


@pytest.mark.parametrize(
    "plan_request",
    [
        OPEN,
        CLOSED,
        but(OPEN, measured="mass"),
        but(OPEN, jars_per_material=8),
        but(OPEN, days=400),
    ],
)
def test_doses_and_readings_take_the_pages_planned_for_them(
    chromium: Any, plan_request: PlanRequest
) -> None:
    plan = plan_trial(plan_request, LITERATURE)
    with chromium.new_context(viewport={"width": 994, "height": 800}) as context:
        page = context.new_page()
        page.set_content(wall_sheet_html(plan))
        page.emulate_media(media="print")
        assert page.evaluate(SMALL) == []
        assert page.evaluate(CUT) == []
        for paper in ("A4", "Letter"):
            pdf = page.pdf(format=paper, prefer_css_page_size=True)
            sizes = re.findall(rb"/MediaBox *\[0 0 ([\d.]+) ([\d.]+)\]", pdf)
            landscape = [float(wide) > float(high) for wide, high in sizes]
            assert landscape.count(True) == len(sheets_of(plan)), (paper, landscape)
            assert landscape.count(False) <= 2
            assert landscape == sorted(landscape)
