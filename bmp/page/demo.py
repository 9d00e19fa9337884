"""The invented trial to look at."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import bmp
from bmp.page.trial_folders import free_place, new_folder


def demo_folder() -> Path:
    """Return where the invented trial stands: beside the package, or inside it once installed."""
    package = Path(bmp.__file__).parent
    inside = package / "examples" / "cheese_dairy"
    return inside if inside.is_dir() else package.parent / "examples" / "cheese_dairy"


def lay_demo(root: Path) -> Path:
    """Lay the invented trial into a folder of trials, and return it."""
    folder = new_folder(root)
    try:
        for path in demo_folder().glob("*.csv"):
            shutil.copyfile(path, folder / path.name)
        place = free_place(root, "demo-cheese-dairy")
        os.rename(folder, place)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return place
