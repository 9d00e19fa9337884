"""Several trials in, a row a series out. Nothing here touches a file.

Trials that were read cell by cell come one by one (`analyze_trials`) and are refused in plain words
where anything is wrong; those that were read as arrays come joined (`analyze_together`), and where
anything is wrong they are left out, to be read cell by cell.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any, Final

import numpy as np

from bmp.archive.join import alike, join, plainer
from bmp.archive.joined import JoinedTrials
from bmp.archive.kinetics import PARAMETERS, TIMES, Kinetics, fit_series
from bmp.archive.reading_errors import reading_errors, with_counts
from bmp.jar_columns import JarColumns, own_name, yield_unit
from bmp.judge.criteria import CURRENT, Criterion, read_criteria, reasons_by_trial
from bmp.judge.facts import SERIES_FACTS, Measured, facts_of
from bmp.net import blank_means, net_curves, series_yields
from bmp.normalise import JarGas, normalise
from bmp.normalise.gas_problems import impossible_falls, unknown_gas
from bmp.problem import Problem
from bmp.read.complete import check_complete
from bmp.read.reader import TABLES
from bmp.stop_rule import finished
from bmp.tables import ONE, TEXT, WHOLE, YIELDS, Column
from bmp.trial import Trial

VALIDATED, NOT_VALIDATED = "validated", "not validated"
FINISHED = {True: "yes", False: "no", None: None}
_OF_YIELDS = {column.name: column for column in YIELDS}
TABLE: Final = (
    Column("trial", "trial", TEXT, 14),
    *(_OF_YIELDS[name] for name in ("material", "role", "jars", "bmp", "sd", "u")),
    *(_OF_YIELDS[name] for name in ("ci95_low", "ci95_high", "time_d")),
    Column("ci95_borrowed_low", "95 % interval with borrowed scatter from", ONE, 9),
    Column("ci95_borrowed_high", "to", ONE, 9),
    Column("rsd_percent", "standard deviation [% of the yield]", ONE, 9),
    *(_OF_YIELDS[name] for name in ("blank_percent", "finished")),
    Column("reading_errors", "reading errors", WHOLE, 9),
    *(
        Column(f"{name}{end}", name if not end else f"{name}, 95 % {end[1:]}")
        for name in (*PARAMETERS, *TIMES)
        for end in ("", "_low", "_high")
    ),
    _OF_YIELDS["chosen_model"],
    Column("verdict", "verdict", TEXT, 14),
    *(_OF_YIELDS[name] for name in ("series", "unit")),
)
"""Columns of the table of materials."""
COLUMNS = tuple(column.name for column in TABLE)


@dataclass(frozen=True)
class Outcome:
    """What came of some trials."""

    rows: tuple[tuple[Any, ...], ...]
    """A row a trial and series, see `COLUMNS`; `None` where a figure is not known."""
    because: dict[str, tuple[str, ...]]
    """By trial that was analysed: why it is not validated; empty where it is."""
    refused: dict[str, tuple[str, ...]]
    """By trial that could not be used: a line a problem."""
    errors: tuple[tuple[Any, ...], ...] = ()
    """A row a reading error and jar, see `ERROR_COLUMNS`."""

    def __add__(self, other: Outcome) -> Outcome:
        """Return both."""
        return Outcome(
            (*self.rows, *other.rows),
            self.because | other.because,
            self.refused | other.refused,
            (*self.errors, *other.errors),
        )


NOTHING = Outcome((), {}, {})


def analyze_trials(names: Sequence[str], trials: Sequence[Trial], look: bool = True) -> Outcome:
    """Return yields, kinetics and verdicts of sound trials.

    Parameters
    ----------
    names, trials
        Names are all different. What is wrong with a trial refuses that one alone.
    look
        For reading errors too, which takes several times as long as all the rest.
    """
    groups: dict[Any, list[tuple[str, Trial]]] = {}
    for name, trial in zip(names, trials, strict=True):
        plain = plainer(trial)
        key = alike(plain)
        groups.setdefault(("alone", name) if key is None else key, []).append((name, plain))
    total = NOTHING
    for group in groups.values():
        total = total + _group([name for name, _ in group], [trial for _, trial in group])
    own = dict(zip(names, trials, strict=True))
    return _looked(total, own.__getitem__) if look else total


def _looked(outcome: Outcome, trial_of: Callable[[str], Trial]) -> Outcome:
    """Return the outcome with the reading errors of every trial that was analysed."""
    errors: list[tuple[Any, ...]] = []
    counts = {}
    for name in outcome.because:
        rows, counts[name] = reading_errors(name, trial_of(name))
        errors += rows
    filled = with_counts(outcome.rows, COLUMNS, counts)
    return replace(outcome, rows=filled, errors=tuple(errors))


def _group(names: list[str], trials: list[Trial]) -> Outcome:
    jars = join(names, trials)
    gas = normalise(jars.of)
    broken = _broken(jars, gas)
    if not broken:
        return _outcome(jars, gas)
    if len(names) == 1:
        return Outcome((), {}, {names[0]: tuple(map(str, broken))})
    bad = _trials_with_problems(jars, gas) or set(range(len(names)))
    total = NOTHING
    for number in sorted(bad):
        total = total + _group([names[number]], [trials[number]])
    good = [number for number in range(len(names)) if number not in bad]
    if good:
        total = total + _group([names[i] for i in good], [trials[i] for i in good])
    return total


def analyze_together(whole: JoinedTrials, look: bool = True) -> tuple[Outcome, set[str]]:
    """Return what came of trials that were read together, and the names of those left out.

    Left out is a trial with which anything is wrong, for a closer look at its cells.
    """
    groups: dict[Hashable, list[int]] = {}
    for number in np.flatnonzero(whole.sound).tolist():
        kind = whole.kinds[number]
        groups.setdefault(("alone", number) if kind is None else kind, []).append(number)
    names = whole.descriptions.names
    left_out = {name for name, sound in zip(names, whole.sound.tolist(), strict=True) if not sound}
    total = NOTHING
    for numbers in groups.values():
        outcome, odd = _as_far_as_sound(whole, numbers)
        total = total + outcome
        left_out |= {names[number] for number in odd}
    if not look:
        return total, left_out
    place = {name: number for number, name in enumerate(names)}
    return _looked(total, lambda name: whole.trial(place[name])), left_out


def _as_far_as_sound(whole: JoinedTrials, numbers: list[int]) -> tuple[Outcome, list[int]]:
    """Return what came of trials of one kind, and those with which anything is wrong."""
    if not numbers:
        return NOTHING, []
    jars = whole.joined(numbers)
    if check_complete(jars.of, {kind: kind for kind in TABLES}):
        if len(numbers) == 1:
            return NOTHING, numbers
        middle = len(numbers) // 2
        outcome, odd = _as_far_as_sound(whole, numbers[:middle])
        more, more_odd = _as_far_as_sound(whole, numbers[middle:])
        return outcome + more, odd + more_odd
    gas = normalise(jars.of)
    if not _broken(jars, gas):
        return _outcome(jars, gas), []
    bad = {numbers[index] for index in _trials_with_problems(jars, gas)} or set(numbers)
    outcome, odd = _as_far_as_sound(whole, [number for number in numbers if number not in bad])
    return outcome, [*sorted(bad), *odd]


def _broken(jars: JarColumns, gas: JarGas) -> list[Problem]:
    return [*impossible_falls(jars.of, gas), *unknown_gas(jars.of, gas)]


def _trials_with_problems(jars: JarColumns, gas: JarGas) -> set[int]:
    unknown = ~np.isfinite(gas.methane_NmL) & ~jars.typed[gas.jar]
    wrong = (gas.fall & ~gas.fall_explained) | unknown
    return set(jars.trial[gas.jar[wrong]].tolist())


def _outcome(jars: JarColumns, gas: JarGas) -> Outcome:
    blanks = blank_means(gas, jars)
    curves = net_curves(gas, jars, blanks)
    yields = series_yields(gas, jars, curves, blanks)
    kinetics = fit_series(curves, yields, (gas, jars))
    measured = Measured(jars, gas, blanks, curves, yields)
    facts = facts_of(measured, _deciding())
    because = reasons_by_trial(facts, _deciding(), len(jars.trials))
    words = [NOT_VALIDATED if reasons else VALIDATED for reasons in because]
    return Outcome(
        rows=_rows(measured, kinetics, words),
        because=dict(zip(jars.trials, because, strict=True)),
        refused={},
    )


@cache
def _deciding() -> tuple[Criterion, ...]:
    return tuple(one for one in read_criteria() if one.rule_set == CURRENT)


def _rows(measured: Measured, kinetics: Kinetics, words: list[str]) -> tuple[tuple[Any, ...], ...]:
    jars, yields = measured.jars, measured.yields
    rsd_percent = SERIES_FACTS["rsd_percent"](measured)
    trials = jars.series_trial.tolist()
    columns: dict[str, list[Any]] = {
        "trial": [jars.trials[number] for number in trials],
        "material": [own_name(material.name) for material in jars.material_of],
        "role": [material.role for material in jars.material_of],
        "jars": yields.count.tolist(),
        "bmp": _known(yields.value),
        "sd": _known(yields.sd),
        "u": _known(yields.u),
        "ci95_low": _known(yields.low),
        "ci95_high": _known(yields.high),
        "ci95_borrowed_low": _known(yields.borrowed_low),
        "ci95_borrowed_high": _known(yields.borrowed_high),
        "time_d": _known(yields.time_d),
        "rsd_percent": _known(rsd_percent),
        "blank_percent": _known(yields.blank_percent),
        "finished": [FINISHED[finished(rate)] for rate in _known(yields.three_day_rate_percent)],
        "reading_errors": [None] * len(trials),
        **{
            name + end: _known(column)
            for name, columns in kinetics.columns.items()
            for end, column in zip(("", "_low", "_high"), columns, strict=True)
        },
        "chosen_model": kinetics.chosen,
        "verdict": [words[number] for number in trials],
        "series": list(jars.series_names),
        "unit": [yield_unit(per) for per in jars.per],
    }
    rows = zip(*(columns[name] for name in COLUMNS), strict=True)
    return tuple(row for row, count in zip(rows, columns["jars"], strict=True) if count)


def _known(values: np.ndarray) -> list[float | None]:
    known = np.isfinite(values).tolist()
    return [value if sure else None for value, sure in zip(values.tolist(), known, strict=True)]
