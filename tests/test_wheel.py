"""The wheel holds all that is needed: it runs where the source tree is not."""

from __future__ import annotations

import ast
import os
import re
import shutil
import subprocess
import sys
import tomllib
import zipfile
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

from bmp import __version__

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build the wheel and unpack it into a folder of its own, as pip does.

    It is built from a copy: building renders the guide into the source tree, where the page's
    tests read it, and another process may be building at the same time.
    """
    for builder in ("hatchling", "mkdocstrings"):
        pytest.importorskip(builder, reason="needs what pyproject.toml names for building")
    place = tmp_path_factory.mktemp("wheel")
    source = place / "source"
    unwanted = shutil.ignore_patterns(".*", "tests", "__pycache__", "rendered", "*-results")
    shutil.copytree(ROOT, source, ignore=unwanted)
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "-q"]
    options = ["--no-deps", "--no-build-isolation", "--no-index"]
    subprocess.run(
        [*pip, "wheel", *options, "-w", str(place), str(source)], check=True, capture_output=True
    )
    (wheel,) = place.glob("bmp-*.whl")
    target = place / "site"
    subprocess.run(
        [*pip, "install", "--no-deps", "--no-index", "--target", str(target), str(wheel)],
        check=True, capture_output=True,
    )  # fmt: skip
    return target


def run(installed: Path, *words: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    return subprocess.run(
        [sys.executable, "-m", "bmp", *words], cwd=cwd, capture_output=True, text=True, check=False,
        env={**environment, "PYTHONPATH": str(installed)},
    )  # fmt: skip


def test_the_wheel_runs_without_the_source(installed: Path, tmp_path: Path) -> None:
    where = subprocess.run(
        [sys.executable, "-c", "import bmp; print(bmp.__file__)"], cwd=tmp_path, text=True,
        capture_output=True, check=True, env={**os.environ, "PYTHONPATH": str(installed)},
    )  # fmt: skip
    assert Path(where.stdout.strip()).is_relative_to(installed)
    out = tmp_path / "out"
    done = run(
        installed, "analyze", str(ROOT / "examples" / "cheese_dairy"), "--out", str(out),
        cwd=tmp_path,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert (out / "report.html").stat().st_size > 10_000
    archive = tmp_path / "trials"
    archive.mkdir()
    (archive / "dairy").symlink_to(ROOT / "examples" / "cheese_dairy", target_is_directory=True)
    done = run(installed, "archive", str(archive), "--out", str(tmp_path / "table"), cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "Trials analysed: 1;" in done.stdout


def test_the_wheel_holds_every_file_that_the_code_reads(installed: Path) -> None:
    (wheel,) = installed.parent.glob("bmp-*.whl")
    with zipfile.ZipFile(wheel) as archive:
        names = set(archive.namelist())
    ours = {
        path.relative_to(ROOT).as_posix()
        for path in (ROOT / "bmp").rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    sources = {name for name in ours if name.startswith("bmp/guide/") and "/rendered/" not in name}
    assert ours - sources <= names
    assert not sources & names
    assert not any(name.startswith("tests/") for name in names)


def test_the_wheel_holds_the_guide(installed: Path, tmp_path: Path) -> None:
    done = run(installed, "guide", "--no-browser", cwd=tmp_path)
    place = Path(done.stdout.removeprefix("The guide is ").strip())
    assert place.is_relative_to(installed)
    assert "How to add" in place.with_name("developers.html").read_text(encoding="utf-8")


def test_the_wheel_holds_the_reference_data_that_a_plan_reads_and_no_other(
    installed: Path,
) -> None:
    sources = {path.name for path in (installed / "bmp" / "reference_data").iterdir()}
    assert sources == {"literature_yields", "solids_ranges"}


def test_the_wheel_tells_its_licence_version_and_types(installed: Path) -> None:
    (about,) = installed.glob("bmp-*.dist-info")
    told = (about / "METADATA").read_text(encoding="utf-8")
    assert f"\nVersion: {__version__}\n" in told
    assert "\nLicense-Expression: MIT\n" in told
    assert "Permission is hereby granted" in (about / "licenses" / "LICENSE").read_text(
        encoding="utf-8"
    )
    assert (installed / "bmp" / "py.typed").is_file()


def test_every_package_that_the_code_imports_is_declared() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    lines = [*project["dependencies"], *project["optional-dependencies"]["archive"]]
    declared = {
        re.match(r"[\w-]+", line)[0].lower().replace("-", "_")  # type: ignore[index]
        for line in lines
    }
    owner = packages_distributions()
    imported: set[str] = set()
    # what renders the guide runs where the wheel is built
    builder = ROOT / "bmp" / "guide" / "render.py"
    for path in {*(ROOT / "bmp").rglob("*.py")} - {builder}:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                imported |= {alias.name.partition(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                imported.add(node.module.partition(".")[0])
    ours = imported - set(sys.stdlib_module_names) - {"bmp"}
    missing = {
        name
        for name in ours
        if not {dist.lower().replace("-", "_") for dist in owner.get(name, [name])} & declared
    }
    assert not missing
