"""Settings that hold for every test."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from filelock import FileLock
from hypothesis import settings

ROOT = Path(__file__).parents[1]

# In CI the examples are the same at every run, so that a red run can be repeated.
settings.register_profile("ci", derandomize=True, deadline=None)
settings.register_profile("here", deadline=None)
settings.load_profile("ci" if os.environ.get("CI") else "here")


@pytest.fixture(scope="session")
def guide() -> Path:
    """Return the rendered guide; an installation made it, unless a page was written since."""
    from bmp.page.guide import RENDERED

    sources = [
        ROOT / "README.md",
        ROOT / "DEVELOPERS.md",
        ROOT / "bmp" / "interface.py",
        *(p for p in (ROOT / "bmp" / "guide").rglob("*") if RENDERED not in p.parents),
    ]
    newest = max(path.stat().st_mtime for path in sources if path.is_file())
    with FileLock(Path(tempfile.gettempdir(), "bmp-guide.lock")):
        first = RENDERED / "index.html"
        if not first.is_file() or first.stat().st_mtime < newest:
            pytest.importorskip("mkdocstrings", reason="renders the guide")
            command = [sys.executable, "-m", "bmp.guide.render"]
            subprocess.run(command, cwd=ROOT, check=True, capture_output=True)
    return RENDERED
