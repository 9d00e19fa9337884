"""Make the pictures that the README shows, from the demo and, where it is there, a real trial.

Run `python examples/make_pictures.py [REAL_TRIAL]` from the project's root. Chromium takes the
screenshots; without it only the figures are renewed.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from bmp.cli import main as bmp

PICTURES = Path(__file__).parent / "pictures"
DEMO = Path(__file__).parent / "cheese_dairy"
CHROMIUM = [
    "chromium",
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--hide-scrollbars",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def screenshot(page: Path, picture: Path, width: int, height: int) -> None:
    """Take a picture of the top of a page."""
    if shutil.which("chromium") is None:
        return
    with tempfile.TemporaryDirectory() as profile:
        subprocess.run(
            [
                *CHROMIUM,
                f"--user-data-dir={profile}",
                f"--window-size={width},{height}",
                f"--screenshot={picture}",
                page.resolve().as_uri(),
            ],
            check=True,
            capture_output=True,
        )


def main(real_trial: str | None) -> None:
    """Analyse, and copy what the README shows."""
    with tempfile.TemporaryDirectory() as place:
        out = Path(place) / "demo"
        bmp(["analyze", str(DEMO), "--out", str(out)])
        for name in ("net-curves", "comparison-bases-1", "tank-gas"):
            shutil.copy(out / "figures" / f"{name}.png", PICTURES / f"demo-{name}.png")
        screenshot(out / "report.html", PICTURES / "demo-report.png", 900, 1150)
        if real_trial is not None:
            out = Path(place) / "real"
            bmp(["analyze", real_trial, "--out", str(out)])
            shutil.copy(out / "figures" / "net-curves.png", PICTURES / "real-net-curves.png")
        bmp(["plan", str(DEMO.with_name("cheese_dairy_request")), "--out", f"{place}/plan"])
        screenshot(Path(place) / "plan" / "wall-sheet.html", PICTURES / "wall-sheet.png", 900, 900)


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else None)
