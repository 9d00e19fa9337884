"""Errors that the gas under the lid shows: a cold jar that warmed up, a pressure that fell."""

from __future__ import annotations

import numpy as np

from bmp.judge.conditions import ASKED_FROM_K, typed_colder_K
from bmp.judge.reading_error import Seen, jar_names, named
from bmp.judge.rough_gas import RoughGas, dry_factor
from bmp.normalise.state import filled
from bmp.trial import Trial


def first_day_rise(trial: Trial, seen: RoughGas) -> tuple[Seen, ...] | None:
    """Find gas that a warming headspace pushed out, counted as made.

    A jar closed cold pushes out the same share of its headspace whatever it holds. In the blanks
    the first interval's gas, less what the next readings lead back to, shows it: 3 to 15 % of the
    headspace, alike in all. Stated closing temperatures are believed.
    """
    setup = trial.setup
    told = setup.closing_temperature_C
    if setup.measured in ("mass", "net yield"):
        return ()
    if setup.measured == "methane volume":
        # Flush gas passes the absorber whole, so the first volumes are larger there anyway.
        return None
    if typed_colder_K(trial) > ASKED_FROM_K:
        # a closing temperature would hide that the bottles were typed at room temperature
        return None
    if told is not None and abs(told - setup.incubation_temperature_C) > 3:
        return ()
    blanks = [j for j, jar in enumerate(trial.jars) if jar.role == "blank" and jar.headspace_mL]
    shares = [s for s in (_warming_share(trial, seen, j) for j in blanks) if s is not None]
    if len(shares) < 2:
        return None
    mean, spread = float(np.mean(shares)), float(np.std(shares, ddof=1))
    least, apart = (0.045, 0.4) if len(shares) > 2 else (0.055, 0.25)
    if not (least < mean < 0.16 and spread < apart * mean and min(shares) > 0.015):
        return ()
    rise = _expected_rise(setup.incubation_temperature_C)
    more = " Was there pressure under the lids at closing?" if mean > 2 * rise else ""
    text = (
        f"In the first interval each blank gave {100 * mean:.0f} % of its headspace more than its "
        f"later gas explains. Warming from 20 to {setup.incubation_temperature_C:g} °C alone "
        f"pushes out {100 * rise:.0f} %.{more}"
    )
    return (Seen(round(100 * mean, 1), jar_names(trial, blanks), text),)


def _expected_rise(incubation_C: float) -> float:
    cold = dry_factor(np.array(20.0), np.array(101.325), True)
    return float(1 - dry_factor(np.array(incubation_C), np.array(101.325), True) / cold)


def _warming_share(trial: Trial, seen: RoughGas, j: int) -> float | None:
    """Return the first interval's surplus over what readings 2 to 7 lead back to, per headspace."""
    one = seen.of_jar[j]
    length = seen.length_d(trial)[one]
    head = trial.jars[j].headspace_mL
    if len(one) < 5 or not 0 < length[0] <= 2.0 or not head or np.any(length[:7] <= 0):
        return None
    rate = seen.interval_NmL[one][:7] / length[:7]
    middle = trial.readings.time_d[one][:7] - length[:7] / 2
    if not np.isfinite(rate).all():
        return None
    later = rate[1:]
    slope, level = np.polyfit(middle[1:], later, 1)
    if np.all(later > 0.3 * later.mean()) and later.mean() > 0:
        slope, level = np.polyfit(middle[1:], np.log(later), 1)
        back = float(np.exp(level + slope * middle[0]))
    else:
        back = float(level + slope * middle[0])
    return float((rate[0] - max(back, 0.0)) * length[0] / head)


def pressure_fall(trial: Trial, seen: RoughGas) -> tuple[Seen, ...] | None:
    """Find pressures that fell in a closed jar by more than cooling explains (over 4 kPa)."""
    if trial.setup.measured != "pressure":
        return ()
    rooms = np.array([jar.headspace_mL or np.nan for jar in trial.jars])[trial.readings.jar]
    warm = filled(trial.readings.column("temperature_C"), trial.setup.incubation_temperature_C)
    unit = dry_factor(warm, np.full_like(warm, 102.0), True)
    unit = (unit - dry_factor(warm, np.full_like(warm, 101.0), True)) * rooms
    lost_kPa = -seen.interval_NmL / unit
    rows = np.flatnonzero((lost_kPa > 4.0) & ~seen.first)
    text = (
        "The pressure fell by {:.1f} kPa more than the temperature explains, with the jar closed."
    )
    return tuple(
        Seen(round(float(lost_kPa[i]), 1), named(trial, [int(i)]), text.format(lost_kPa[i]))
        for i in rows
    )
