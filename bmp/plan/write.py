"""Write a plan's three files."""

from __future__ import annotations

import json
from pathlib import Path

from bmp.plan.logbook import write_logbook
from bmp.plan.plan import FORMAT, Plan, to_dict
from bmp.plan.wall_sheet import wall_sheet_html

PLAN_FILES = ("logbook.xlsx", "wall-sheet.html", "plan.json")
__all__ = ["FORMAT", "PLAN_FILES", "write_plan"]


def write_plan(plan: Plan, folder: Path) -> None:
    """Write `PLAN_FILES` into a folder that is there."""
    write_logbook(plan, folder / "logbook.xlsx")
    (folder / "wall-sheet.html").write_text(wall_sheet_html(plan), encoding="utf-8")
    text = json.dumps(to_dict(plan), indent=1, ensure_ascii=False, allow_nan=False)
    (folder / "plan.json").write_text(text + "\n", encoding="utf-8")
