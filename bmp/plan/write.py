"""Write a plan's three files."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

from bmp.plan.logbook import write_logbook
from bmp.plan.plan import FORMAT, Plan, to_dict
from bmp.plan.wall_sheet import wall_sheet_html

PLAN_FILES = ("logbook.xlsx", "wall-sheet.html", "plan.json")
__all__ = ["FORMAT", "PLAN_FILES", "write_plan"]


def write_plan(plan: Plan, folder: Path, shown: Callable[[str], str] = str) -> None:
    """Write `PLAN_FILES` into a folder that is there.

    Parameters
    ----------
    shown
        Makes the page for people of the wall sheet: with other units beside the SI ones.
    """
    write_logbook(plan, folder / "logbook.xlsx")
    (folder / "wall-sheet.html").write_text(shown(wall_sheet_html(plan)), encoding="utf-8")
    text = json.dumps(to_dict(plan), indent=1, ensure_ascii=False, allow_nan=False)
    (folder / "plan.json").write_text(text + "\n", encoding="utf-8")
