"""Heavy libraries load only where they are used."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

DEMO = Path(__file__).parents[1] / "examples" / "cheese_dairy"


def test_importing_the_fits_loads_no_heavy_library() -> None:
    code = (
        "import sys, bmp.fit.material; "
        "print([m for m in ('lmfit', 'scipy', 'pandas', 'matplotlib') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_bulk_work_never_loads_lmfit() -> None:
    code = (
        "import sys, numpy as np; from bmp.fit.material import MaterialCurves, fit_materials; "
        "t = np.arange(1.0, 30.0); y = 300 * (1 - np.exp(-0.2 * t)); "
        "fit_materials([MaterialCurves([t], [y])], reported=False); print('lmfit' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


def test_a_check_loads_no_heavy_library() -> None:
    """It must answer in about a second: intervals of yields are left to the analysis."""
    code = (
        "import sys; from bmp.cli import main\n"
        "try: main(['check', sys.argv[1]])\n"
        "except SystemExit: pass\n"
        "print([m for m in ('lmfit', 'scipy', 'pandas', 'matplotlib') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(DEMO)], capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[-1] == "[]"
