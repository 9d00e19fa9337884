"""What a cause is: the smallest change to the tables that makes the readings fit together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bmp.judge.reading_error import named
from bmp.trial import Readings, Trial


@dataclass(frozen=True, eq=False)
class Cause:
    """One error that explains what is seen, and the trial without it.

    The trial without it is for looking further only: so that no other jar is accused of what this
    error did. No result ever comes from it.
    """

    name: str
    """The reading error's name in the table of reading errors."""
    value: float | str
    where: str
    detail: str
    without: Trial
    effect_percent: float | None = None
    """Part of the jar's gas that the error adds or takes away."""


ONE_OF = "one of: "
"""Stands before places of which one is wrong and the readings do not tell which."""


def one_of(trial: Trial, cause: Cause, readings: Sequence[int]) -> Cause:
    """Return the cause with every reading that explains what is seen as well."""
    first, *others = (named(trial, [i]) for i in readings)
    text = f"{cause.detail} It may as well be {' or '.join(others)}: the readings do not tell."
    return replace(cause, where=f"{ONE_OF}{', '.join([first, *others])}", detail=text)


def with_values(trial: Trial, name: str, cells: Mapping[int, float]) -> Trial:
    """Return the trial with some cells of a column of readings replaced."""
    values = trial.readings.column(name).copy()
    values[list(cells)] = list(cells.values())
    return with_column(trial, name, values)


def with_column(trial: Trial, name: str, values: np.ndarray) -> Trial:
    """Return the trial with a column of readings replaced."""
    columns = {**trial.readings.columns, name: values}
    return replace(trial, readings=replace(trial.readings, columns=columns))


def with_jar(trial: Trial, j: int, **changes: object) -> Trial:
    """Return the trial with one jar's record changed."""
    jars = list(trial.jars)
    jars[j] = replace(jars[j], **changes)  # type: ignore[arg-type]
    return replace(trial, jars=tuple(jars))


def with_rows_exchanged(trial: Trial, pairs: Mapping[int, int], columns: tuple[str, ...]) -> Trial:
    """Return the trial with the figures of pairs of readings exchanged."""
    one, two = np.array(list(pairs)), np.array(list(pairs.values()))
    changed = dict(trial.readings.columns)
    for name in columns:
        if name in changed:
            values = changed[name].copy()
            values[one], values[two] = changed[name][two], changed[name][one]
            changed[name] = values
    return replace(trial, readings=replace(trial.readings, columns=changed))


def places(values: np.ndarray) -> int:
    """Return how many digits after the point figures were typed with, at most 4."""
    known = values[np.isfinite(values)][:400]
    for count in range(4):
        if np.allclose(known, np.round(known, count), rtol=0, atol=1e-7):
            return count
    return 4


def digits_exchanged(typed: float, meant: float, near: float, count: int) -> float | None:
    """Return the figure near `meant` that is `typed` with two of its digits exchanged.

    Parameters
    ----------
    near
        How near it must lie.
    count
        Digits after the point that were typed.
    """
    text = f"{abs(typed):.{count}f}"
    spots = [k for k, letter in enumerate(text) if letter != "."]
    best = None
    for a in range(len(spots)):
        for b in range(a + 1, len(spots)):
            letters = list(text)
            letters[spots[a]], letters[spots[b]] = letters[spots[b]], letters[spots[a]]
            figure = float("".join(letters)) * (-1.0 if typed < 0 else 1.0)
            closer = best is None or abs(figure - meant) < abs(best - meant)
            if figure != typed and abs(figure - meant) <= near and closer:
                best = figure
    return best


def readings_by_row(readings: Readings, j: int) -> np.ndarray:
    """Return the indices of a jar's readings in the order of the table."""
    own = np.flatnonzero(readings.jar == j)
    return own[np.argsort(readings.row[own], kind="stable")]
