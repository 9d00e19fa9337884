"""A headless Chromium for the tests that look at the page as a person does."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.page.client import PROJECT, Served, served, small_trial

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)
# no sandbox: the tests may run as root; no service of the browser's maker is asked
OPTIONS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    if CHROMIUM is None:
        pytest.skip("there is no chromium on this machine")
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with playwright.sync_playwright() as engine:
        browser = engine.chromium.launch(executable_path=CHROMIUM, args=list(OPTIONS))
        yield browser
        browser.close()


@pytest.fixture
def telephone(chromium: Any) -> Iterator[Any]:
    """A browser window as wide as a telephone."""
    with chromium.new_context(viewport={"width": 390, "height": 800}) as context:
        context.set_default_timeout(20_000)
        yield context.new_page()


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A served folder with the demo, a trial without readings, and a broken workbook."""
    root = tmp_path_factory.mktemp("trials")
    shutil.copytree(PROJECT / "examples" / "cheese_dairy", root / "cheese_dairy")
    small_trial(root / "empty", jars=4)
    broken_workbook(root / "broken.xlsx")
    with served(root) as page:
        yield page


def broken_workbook(path: Path) -> Path:
    """Write the demo as a workbook with a word for a number in the cell C5 of its readings."""
    import openpyxl

    from bmp.page.planning import as_workbook

    path.write_bytes(as_workbook(PROJECT / "examples" / "cheese_dairy"))
    book = openpyxl.load_workbook(path)
    book["readings"]["C5"] = "a lot"
    book.save(path)
    book.close()
    return path
