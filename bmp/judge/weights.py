"""Weights that do not chain: what a jar weighs before venting follows from its last weighing.

Between a venting and the next weighing a shut jar loses nothing, so the two figures differ by the
drift of the balance, common to a round, and by its scatter. One wrong digit, or two bottles taken
for each other, stands out by itself; a leak comes back from round to round.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bmp.judge.cause import Cause, digits_exchanged, places, with_rows_exchanged, with_values
from bmp.judge.peers import median_of_rows
from bmp.judge.reading_error import named
from bmp.judge.rough_gas import RoughGas, median
from bmp.trial import BoolArray, FloatArray, Trial

NAME = "weights that do not chain"


@dataclass(frozen=True, eq=False)
class Chain:
    """What each weighing lacks beside the one before, the round's drift taken off [g]."""

    lost: FloatArray
    """Lost since the last venting: above zero lighter, below zero heavier. NaN at the start."""
    least_g: float
    """Below this nothing is told."""
    least_gain_g: float
    """A bottle that gains more at a venting cannot be: four divisions of the balance."""


def chain(trial: Trial, seen: RoughGas) -> Chain | None:
    """Return the chain of weights; `None` where jars are not weighed before and after venting."""
    r = trial.readings
    before, after = r.column("mass_before_g"), r.column("mass_after_g")
    if np.isfinite(before).sum() < 4 or np.isfinite(after).sum() < 4:
        return None
    last = np.where(seen.previous >= 0, after[seen.previous], np.nan)
    # a jar that only checks the weighing is not vented: its one figure stands for both
    alone = np.where(seen.previous >= 0, before[seen.previous], np.nan)
    last = np.where(np.isnan(last), alone, last)
    lost = last - before
    lost -= _drift(seen, lost)
    known = lost[np.isfinite(lost)]
    if known.size < 4:
        return None
    steps = np.diff(np.unique(np.round(before[np.isfinite(before)], 5)))
    step = float(steps[steps > 1e-6].min()) if (steps > 1e-6).any() else 0.0
    scatter = 1.4826 * float(median(np.abs(known - median(known))))
    return Chain(lost, max(6.0 * scatter, 3.5 * step, 0.02), max(4.0 * step, 0.03, 6.0 * scatter))


def _drift(seen: RoughGas, lost: FloatArray) -> FloatArray:
    """Return what the balance moved since each jar's weighing before; NaN where nobody knows."""
    came_from = np.where(seen.previous >= 0, seen.round[seen.previous], -1)
    drift, unknown = np.zeros(len(seen.time_d)), np.zeros(len(seen.time_d))
    for k in range(1, drift.size):
        here = (seen.round == k) & (came_from == k - 1) & np.isfinite(lost)
        if here.sum() >= 3:
            drift[k] = median(lost[here])
        else:
            unknown[k] = 1.0
    level, gaps = np.cumsum(drift), np.cumsum(unknown)
    before = np.maximum(came_from, 0)
    moved = level[seen.round] - level[before]
    if unknown[1:].mean() > 0.5:
        return np.asarray(moved)  # jars so few that no drift can be known
    return np.where(gaps[seen.round] > gaps[before], np.nan, moved)


def weights_exchanged(trial: Trial, seen: RoughGas) -> Cause | None:
    """Return two jars that were weighed in each other's place in one round."""
    links = chain(trial, seen)
    if links is None:
        return None
    r = trial.readings
    for k in range(len(seen.time_d)):
        here = np.flatnonzero((seen.round == k) & (np.abs(links.lost) > links.least_g))
        for n, a in enumerate(here):
            for b in here[n + 1 :]:
                gap = float(r.column("mass_before_g")[a] - r.column("mass_before_g")[b])
                left = max(abs(links.lost[a] + gap), abs(links.lost[b] - gap))
                if left < links.least_g and abs(gap) > 2 * links.least_g:
                    without = with_rows_exchanged(
                        trial, {int(a): int(b)}, ("mass_before_g", "mass_after_g", "volume_mL")
                    )
                    text = (
                        "In this round each of the two weighs what the other one should: they "
                        "were probably taken for each other."
                    )
                    where = named(trial, [int(a), int(b)])
                    return Cause(NAME, round(abs(gap), 3), where, text, without)
    return None


def weight_off(trial: Trial, seen: RoughGas, claimed: BoolArray) -> Cause | None:
    """Return one weight that does not fit the one before or after it."""
    links = chain(trial, seen)
    if links is None:
        return None
    r = trial.readings
    before, after = r.column("mass_before_g"), r.column("mass_after_g")
    vented = before - after
    usual = _usual(seen, vented)
    checks = np.array([jar.role == "weight check" for jar in trial.jars], dtype=bool)[r.jar]
    gained = (vented < -links.least_gain_g) & ~checks
    size = np.nan_to_num(np.abs(links.lost))
    for i in np.argsort(-size - 1e3 * gained, kind="stable"):
        lost = float(links.lost[i])
        if not (size[i] > links.least_g or (gained[i] and np.isfinite(lost))):
            break
        p = int(seen.previous[i])
        # either this figure before venting is wrong, or the last one after venting
        here = abs(vented[i] + lost - usual[i]) - abs(vented[i] - usual[i])
        there = abs(vented[p] - lost - usual[p]) - abs(vented[p] - usual[p])
        explained = bool(gained[i]) or min(here, there) < -0.4 * abs(lost)
        if lost > 0 and not explained and not checks[i]:
            continue  # lighter, and nothing makes up for it: gas that leaked
        if not (np.isfinite(here) or np.isfinite(there)):
            continue
        wrong_before = not np.isfinite(there) or here <= there
        at, name = (int(i), "mass_before_g") if wrong_before else (p, "mass_after_g")
        if claimed[at]:
            continue
        figure = float(r.column(name)[at])
        if not np.isfinite(figure):
            continue
        meant = figure + lost if wrong_before else figure - lost
        swapped = digits_exchanged(figure, meant, links.least_g / 2, places(before))
        what = "before" if wrong_before else "after"
        sure = explained or lost < 0
        way = "heavier" if lost < 0 else "lighter"
        text = (
            f"The jar is {abs(lost):.3g} g {way} before venting than after the venting before; the "
            f"other jars are not. Probably the mass {what} venting is wrong: {figure:g}, where "
            f"about {meant:.6g} fits."
        )
        text += f" Two digits exchanged: {swapped:g}." if swapped is not None else ""
        rows = [at] if sure else [p, int(i)]
        return Cause(NAME, round(lost, 4), named(trial, rows), text,
                     with_values(trial, name, {at: meant}))  # fmt: skip
    return None


def _usual(seen: RoughGas, vented: FloatArray) -> FloatArray:
    """Return what a jar loses at a venting, by the ventings before and after it."""
    around = np.full((2, vented.size), np.nan)
    later = np.flatnonzero(seen.previous >= 0)
    around[0, later] = vented[seen.previous[later]]
    around[1, seen.previous[later]] = vented[later]
    return median_of_rows(around)
