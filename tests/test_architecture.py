"""The one-way flow, read off the imports themselves."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

PACKAGE = Path(__file__).parents[1] / "bmp"

# Each room may import from rooms at its own level or above it in this list, never below.
LEVELS: list[set[str]] = [
    {
        "constants",
        "moving",
        "problem",
        "estimate",
        "finding",
        "trial",
        "units",
        "shown_units",
        "runs",
        "atmosphere",
        "statistics",
        "borrowed_scatter",
        "error_sources",
        "rounds",
    },
    {"stop_rule", "limits", "jar_columns", "published_errors"},
    {"theory", "solids", "cautions", "wall"},
    {"read"},
    {"normalise"},
    {"net"},
    {"fit"},
    {"judge"},
    {"compare", "tank"},
    {"plan"},
    {"assumptions", "results"},
    {"analyze", "check"},
    {"tables"},
    {"data_frames"},
    {"archive"},
    {"report"},
    {"interface"},
    {"page"},
    {"commands"},
    {"cli", "__main__"},
]

# What computes knows nothing of files, the terminal or HTML.
PURE = {"normalise", "net", "fit", "compare", "tank", "theory", "runs", "analyze", "assumptions"}
PURE |= {"stop_rule", "limits", "jar_columns", "tables"}
NOT_IN_PURE = {"openpyxl", "jinja2", "argparse", "csv", "json", "sys", "subprocess", "matplotlib"}


def room(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imports(path: Path) -> set[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
    return names


def level(name: str) -> int:
    found = [index for index, names in enumerate(LEVELS) if name in names]
    assert found, f"bmp/{name} has no place in the flow: add it to LEVELS"
    return found[0]


def test_no_module_imports_one_that_comes_later() -> None:
    for path in PACKAGE.rglob("*.py"):
        here = room(path)
        if here == "__init__":
            continue
        for name in imports(path):
            parts = name.split(".")
            if parts[0] == "bmp" and len(parts) > 1 and parts[1][:2] != "__":
                assert level(parts[1]) <= level(here), f"{path.name} imports {name}"


def test_what_computes_touches_no_file_terminal_or_page() -> None:
    for path in PACKAGE.rglob("*.py"):
        if room(path) in PURE:
            used = {name.split(".")[0] for name in imports(path)}
            assert not used & NOT_IN_PURE, f"{path.name} imports {used & NOT_IN_PURE}"
            calls = [
                node.func.id
                for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
                if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
            ]
            assert not {"print", "open", "input"} & set(calls), path.name


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys; from bmp.cli import parser; parser().format_help(); "
        "print([m for m in ('numpy', 'pandas', 'scipy', 'lmfit', 'matplotlib', 'openpyxl', 'pint',"
        " 'jinja2') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_functions_fit_on_a_screen() -> None:
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef):
                doc = ast.get_docstring(node, clean=False)
                lines = (node.end_lineno or node.lineno) - node.lineno + 1
                lines -= len(doc.split("\n")) if doc else 0
                assert lines <= 60, f"{path.name}: {node.name} has {lines} lines"
