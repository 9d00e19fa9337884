"""A trial without its readings: how it is measured, and which jars stand on the shelf."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from bmp.problem import Problem, UnusableInput
from bmp.read.records import read_jars, read_materials
from bmp.read.setup import read_setup
from bmp.read.tables import read_tables
from bmp.trial import Jar, Setup

TABLES = ("trial", "materials", "jars")


@dataclass(frozen=True)
class Setting:
    """What the tables other than the readings say."""

    setup: Setup
    jars: tuple[Jar, ...]
    """In the order of the table jars, which is that of the shelf."""
    problems: tuple[Problem, ...] = ()

    def shelf(self, names: Sequence[str]) -> tuple[Jar, ...]:
        """Return the jars of these names; one whose row has a problem by its name alone."""
        known = {jar.name: jar for jar in self.jars}
        blank = Jar("", "", "substrate", "", measured=self.setup.measured)
        return tuple(known.get(name) or replace(blank, name=name) for name in names)


def setting(folder: Path) -> Setting:
    """Return what the tables of a folder say, read anew when one of them changed."""
    stamps = []
    for path in sorted(folder.glob("*.[cC][sS][vV]")):
        if path.stem.strip().lower() in TABLES:
            stat = path.stat()
            stamps.append((stat.st_mtime_ns, stat.st_size, stat.st_ino))
    return _read(folder, tuple(stamps))


@lru_cache(32)
def _read(folder: Path, stamps: tuple[tuple[int, int, int], ...]) -> Setting:
    problems: list[Problem] = []
    ignored: list[str] = []
    empty = Setup(title=folder.name)
    try:
        tables = read_tables(folder, TABLES)
        missing = [name for name in TABLES if name not in tables]
        if missing:
            what = f"there is no table “{missing[0]}”"
            return Setting(empty, (), (Problem(folder.name, what, "add it as a .csv file"),))
        setup = read_setup(tables["trial"], folder.name, problems, ignored, [])
        materials = read_materials(tables["materials"], problems, ignored)
        jars = read_jars(tables["jars"], materials, setup, problems, ignored)
    except UnusableInput as unusable:
        return Setting(empty, (), unusable.problems)
    return Setting(setup, jars, tuple(problems))
