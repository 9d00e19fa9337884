"""Groups of jars, such as a class's teams: each one's gas and answer beside those of the whole."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from bmp.analyze import analyze
from bmp.problem import UnusableInput
from bmp.report.first_screen import first_screen
from bmp.report.quantities import yield_number, yield_unit_short
from bmp.report.rounding import number, short
from bmp.results import Results


@dataclass(frozen=True)
class GroupJar:
    """One jar of a group: its gas so far and its yield."""

    name: str
    feed: str
    methane_NmL: float | None
    day: str
    """Of its last reading."""
    value: float | None
    """Yield on the common day of its series; `None`: the jar does not count."""
    left_out: str


@dataclass(frozen=True)
class Group:
    """A group with its jars, and what they say in sentences."""

    name: str
    jars: tuple[GroupJar, ...]
    words: tuple[str, ...]


def has_groups(results: Results) -> bool:
    """Tell whether two groups or more have jars of their own."""
    return len({jar.group for jar in results.trial.jars if jar.group}) > 1


def groups(results: Results) -> Mapping[str, Any] | None:
    """Return what the section of the groups shows; `None` where there are none."""
    if not has_groups(results) or not results.yields:
        return None
    together = without_groups(results)
    jars = {name: tuple(_jars(results, name)) for name in _names(results)}
    known = [jar.methane_NmL for some in jars.values() for jar in some if jar.methane_NmL]
    screen = None if together is None else first_screen(together)
    return {
        "groups": [
            Group(name, some, tuple(_words(name, some, results, together)))
            for name, some in jars.items()
        ],
        "most": max(known, default=1.0),
        "unit": yield_unit_short(results.yields[0]),
        "one_unit": len({one.unit for one in results.yields}) == 1,
        "feeds": () if screen is None else screen.feeds,
        "answer": () if screen is None else screen.better,
        "gross": results.gross,
    }


def without_groups(results: Results) -> Results | None:
    """Return what all groups' jars say together; `None` where their inocula differ."""
    jars = tuple(replace(jar, group=None) for jar in results.trial.jars)
    try:
        return analyze(replace(results.trial, jars=jars))
    except UnusableInput:
        return None


def _names(results: Results) -> list[str]:
    return list(dict.fromkeys(jar.group for jar in results.trial.jars if jar.group))


def _jars(results: Results, group: str) -> Iterator[GroupJar]:
    values = {
        jar: value for one in results.yields
        for jar, value in zip(one.jars, one.jar_values, strict=True)
    }  # fmt: skip
    for index, jar in enumerate(results.trial.jars):
        if jar.group != group:
            continue
        own = results.trial.readings.jar == index
        made, days = results.gas.methane_NmL[own], results.trial.readings.time_d[own]
        read = np.flatnonzero(np.isfinite(made))
        last = int(read[-1]) if read.size else None
        yield GroupJar(
            jar.name,
            jar.material,
            None if last is None else float(made[last]),
            "" if last is None else short(float(days[last])),
            values.get(index),
            jar.left_out or "",
        )


def _words(
    group: str, jars: tuple[GroupJar, ...], results: Results, together: Results | None
) -> Iterator[str]:
    """Yield what the jars of a group gave, next to the whole, and which of its feeds gave more."""
    whole = {} if together is None else {one.material: one for one in together.yields}
    means: dict[str, float] = {}
    for one in results.yields:
        first = results.trial.jars[one.jars[0]]
        if first.group != group:
            continue
        means[first.material] = float(np.mean(one.jar_values))
        unit = yield_unit_short(one)
        words = f"{first.material.capitalize()}: {number(means[first.material])} {unit}"
        words += f" in {_jar_count(len(one.jars))}."
        all_of_it = whole.get(first.material)
        if all_of_it is not None and len(all_of_it.jars) > len(one.jars):
            count = _jar_count(len(all_of_it.jars))
            words += f" All groups: {yield_number(all_of_it)} {unit} in {count}."
        yield words
    if len(means) > 1:
        most, least = max(means, key=means.__getitem__), min(means, key=means.__getitem__)
        yield f"In these jars {most} gave most and {least} gave least."


def _jar_count(count: int) -> str:
    return "1 jar" if count == 1 else f"{count} jars"
