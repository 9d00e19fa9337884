"""Write a plan's three files into a folder, all or nothing."""

from __future__ import annotations

import json
import shutil
import tempfile
from pathlib import Path

from bmp.plan.logbook import write_logbook
from bmp.plan.plan import Plan, to_dict
from bmp.plan.wall_sheet import wall_sheet_html

PLAN_FILES = ("logbook.xlsx", "wall-sheet.html", "plan.json")


def write_plan(plan: Plan, folder: Path) -> tuple[Path, ...]:
    """Write `PLAN_FILES` into a folder and return their paths.

    All three are made beside the folder first, so that a failure leaves nothing half done.
    """
    folder.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=folder.parent) as made:
        making = Path(made)
        write_logbook(plan, making / "logbook.xlsx")
        (making / "wall-sheet.html").write_text(wall_sheet_html(plan), encoding="utf-8")
        text = json.dumps(to_dict(plan), indent=1, ensure_ascii=False, allow_nan=False)
        (making / "plan.json").write_text(text + "\n", encoding="utf-8")
        folder.mkdir(exist_ok=True)
        for name in PLAN_FILES:
            shutil.move(making / name, folder / name)
    return tuple(folder / name for name in PLAN_FILES)
