"""Mistakes of units and meaning: pressures, air pressure, shares, dry matter, yields, volumes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bmp.atmosphere import standard_atmosphere_kPa
from bmp.judge.reading_error import Seen, finite_max, has_gas, jar_names, named
from bmp.judge.rough_gas import (
    TYPICAL_CELLULOSE_YIELD,
    RoughGas,
    control_settled,
    control_yield,
    dry_factor,
    final_methane_NmL,
    look,
    median,
)
from bmp.limits import USUAL
from bmp.normalise.state import filled
from bmp.trial import FloatArray, Material, Trial

AIR_LOW_KPA, AIR_HIGH_KPA = USUAL["ambient_kPa"].low, USUAL["ambient_kPa"].high

# What a pressure comes out as when one unit is read as another: factor, typed, read as.
PRESSURE_MISTAKES: tuple[tuple[float, str, str], ...] = (
    (10.0, "mbar (hPa)", "kPa"),
    (0.1, "kPa", "mbar (hPa)"),
    (14.504, "psi", "bar"),
    (1 / 14.504, "bar", "psi"),
    (6.895, "kPa", "psi"),
    (1 / 6.895, "psi", "kPa"),
    (100.0, "kPa", "bar"),
    (0.01, "bar", "kPa"),
    (7.5006, "mmHg", "kPa"),
    (1 / 7.5006, "kPa", "mmHg"),
    (0.2953, "inHg", "kPa"),
    (3.386, "kPa", "inHg"),
)


def pressure_mistake(ratio: float, within: float) -> str | None:
    """Return which unit was typed for which, for a pressure `ratio` times what it should be."""
    if not ratio > 0:
        return None
    distance = [(abs(np.log(ratio / f)), typed, read) for f, typed, read in PRESSURE_MISTAKES]
    best = min(distance)
    return f"{best[1]} typed where {best[2]} was said" if best[0] < np.log(within) else None


def gauge_and_absolute(trial: Trial, seen: RoughGas) -> tuple[Seen, ...] | None:
    """Find gauge pressures said to be absolute and the reverse."""
    if trial.setup.measured != "pressure":
        return ()
    value = seen.value
    ambient = filled(filled(trial.readings.column("ambient_kPa"), trial.setup.ambient_kPa), 101.325)
    if not np.isfinite(value).any():
        return None
    ratio = value / ambient
    if seen.value_name.startswith("absolute"):
        low = np.flatnonzero(ratio < 0.75)
        many = low.size > 0.1 * np.isfinite(value).sum()
        if many and (np.nanmin(ratio) < 0.06 or _right_as_gauge(trial)):
            text = "Pressures said to be absolute lie far below that of the air outside."
            return (Seen(float(np.nanmin(value)), named(trial, low), text),)
    elif 0.9 < np.nanmin(ratio) < 1.6:
        text = "Pressures said to be above the air outside never fall below that of the air itself."
        return (Seen(float(np.nanmin(value)), "all pressures", text),)
    return ()


def _right_as_gauge(trial: Trial) -> bool:
    """Tell whether absolute pressures give a credible control when they are taken as gauge."""
    columns = {k.replace("absolute", "gauge"): v for k, v in trial.readings.columns.items()}
    other = replace(trial, readings=replace(trial.readings, columns=columns))
    own = control_yield(other, look(other))
    return own is not None and 0.6 < own / TYPICAL_CELLULOSE_YIELD < 1.5


def pressure_unit(trial: Trial, seen: RoughGas) -> tuple[Seen, ...] | None:
    """Find pressures in another unit than said: by the air's pressure, else by the control."""
    found = _air_pressure_unit(trial)
    if trial.setup.measured != "pressure":
        return found
    if seen.value_name.startswith("absolute"):
        return found + (() if gauge_and_absolute(trial, seen) else _absolute_unit(trial, seen))
    yield_now = control_yield(trial, seen)
    top = finite_max(seen.value)
    if yield_now is None:
        return (*found, *_bar_for_kPa(trial, seen)) or None
    ratio = yield_now / TYPICAL_CELLULOSE_YIELD
    if ratio < 1.5 and not control_settled(trial, seen):
        return (*found, *_bar_for_kPa(trial, seen)) or None
    mistake = pressure_mistake(ratio, 1.2)
    if mistake is None or mistake.startswith(("inHg", "mmHg")) or mistake.endswith("inHg was said"):
        return found
    text = f"The control would come to {yield_now:.0f} NmL/g VS: consistent with {mistake}."
    return (*found, Seen(top, "all pressures", text))


def _bar_for_kPa(trial: Trial, seen: RoughGas) -> tuple[Seen, ...]:
    """Find gauge pressures in bar under kPa: jars with a feed that gave next to nothing.

    The pressure of a few kPa in all would be less than the inoculum alone gives.
    """
    top = finite_max(seen.value)
    methane = final_methane_NmL(trial, seen)
    vs = [
        (methane[j], jar.sample_g * (trial.material(jar.material).VS or np.nan))
        for j, jar in enumerate(trial.jars)
        if jar.sample_g > 0 and jar.counted
    ]
    per_g = np.array([gas / grams for gas, grams in vs if grams > 0 and np.isfinite(gas)])
    late = seen.time_d.size >= 4 and seen.time_d[-1] >= 4.0
    if not (late and per_g.size and 0 < top < 6.0 and 0 < np.nanmedian(per_g) < 15.0):
        return ()
    text = (
        f"No pressure is above {top:.3g} kPa, and the jars with a feed would have given "
        f"{np.nanmedian(per_g):.2g} NmL/g VS: consistent with bar typed where kPa was said."
    )
    return (Seen(top, "all pressures", text),)


def _air_pressure_unit(trial: Trial) -> tuple[Seen, ...]:
    column = trial.readings.column("ambient_kPa")
    values = column[np.isfinite(column)]
    if trial.setup.ambient_kPa is not None:
        values = np.append(values, trial.setup.ambient_kPa)
    strange = values[(values < AIR_LOW_KPA) | (values > AIR_HIGH_KPA)]
    if not strange.size:
        return ()
    middle = median(strange)
    mistake = pressure_mistake(middle / 98.0, 1.12)
    guess = f": consistent with {mistake}" if mistake else ""
    rows = np.flatnonzero((column < AIR_LOW_KPA) | (column > AIR_HIGH_KPA))
    where = named(trial, rows) if rows.size else "the trial's ambient"
    return (Seen(middle, where, f"An air pressure of {middle:.4g} kPa exists nowhere{guess}."),)


def _absolute_unit(trial: Trial, seen: RoughGas) -> tuple[Seen, ...]:
    """Hold the lowest pressures of vented jars against that of the air."""
    low = float(np.nanpercentile(seen.value, 2)) if np.isfinite(seen.value).any() else np.nan
    if not low > 0 or 0.75 < low / 101.3 < 3.0:
        return ()
    mistake = pressure_mistake(low / 103.0, 1.2)
    if mistake is None:
        return ()
    text = f"The lowest pressures under the lids are {low:.4g} kPa: consistent with {mistake}."
    return (Seen(low, "all pressures", text),)


def sea_level_pressure(trial: Trial, seen: RoughGas) -> tuple[Seen, ...] | None:
    """Find an air pressure reduced to sea level, at a place above it."""
    altitude = trial.setup.altitude_m
    column = trial.readings.column("ambient_kPa")
    given = np.append(column[np.isfinite(column)], trial.setup.ambient_kPa or np.nan)
    given = given[np.isfinite(given)]
    if altitude is None or not given.size:
        return None
    here = standard_atmosphere_kPa(altitude)
    gap = 101.325 - here
    middle = median(given)
    if gap < 4.0 or middle < here + gap / 2 or middle > AIR_HIGH_KPA:
        return () if gap >= 4.0 else None
    text = (
        f"At {altitude:.0f} m the air has about {here:.1f} kPa, yet {middle:.1f} kPa is given: "
        "consistent with a weather report's pressure, reduced to sea level."
    )
    return (Seen(middle, "air pressure", text),)


def share_unit(trial: Trial, seen: RoughGas) -> tuple[Seen, ...] | None:
    """Find methane shares typed as fraction, percent or ppm under another of these."""
    column = trial.readings.column("methane_share")
    known = np.isfinite(column) & (column != 0)
    setup_share = trial.setup.methane_share
    if not known.any():
        if setup_share is None:
            return None
        return _share_words(setup_share, "the trial's methane")
    middle = median(column[known])
    whole = _share_words(middle, "all methane shares")
    if whole:
        return whole
    found = list(_share_words(setup_share, "the trial's methane")) if setup_share else []
    single = np.flatnonzero(known & (column > 2.0))
    # A small share is a mistake only where a hundred times it fits the jar's other shares.
    for one in seen.of_jar:
        own = one[known[one]]
        if len(own) > 2:
            usual = median(column[own])
            low = own[(column[own] < 0.012) & (np.abs(column[own] * 100 / usual - 1) < 0.4)]
            single = np.append(single, low)
    if single.size:
        text = "Some shares are a hundred times off the others: percent and fraction are mixed."
        rows = tuple(int(i) for i in single)
        found.append(Seen(float(column[rows[0]]), named(trial, rows), text, readings=rows))
    return tuple(found)


def _share_words(share: float, where: str) -> tuple[Seen, ...]:
    mistakes = (
        (200.0, np.inf, "ppm typed where percent or a fraction was said"),
        (2.0, 200.0, "percent typed where a fraction was said"),
        (0.0015, 0.012, "a fraction typed where percent was said"),
        (0.0, 0.00015, "a fraction or percent typed where ppm was said"),
    )
    for low, high, mistake in mistakes:
        if low < share <= high:
            text = f"Methane comes to {100 * share:.4g} % of the gas: consistent with {mistake}."
            return (Seen(share, where, text),)
    return ()


def share_over_hundred(trial: Trial, seen: RoughGas) -> tuple[Seen, ...] | None:
    """Find methane shares above all of the gas."""
    column = trial.readings.column("methane_share")
    if not np.isfinite(column).any() and trial.setup.methane_share is None:
        return None
    over = np.flatnonzero((column > 1.0) & (column <= 2.0))
    text = "A methane share over 100 % cannot be: the analyser's zero or span is off."
    rows = tuple(int(i) for i in over)
    found = (
        [Seen(finite_max(column[over]), named(trial, rows), text, readings=rows)] if rows else []
    )
    if trial.setup.methane_share is not None and 1.0 < trial.setup.methane_share <= 2.0:
        found.append(Seen(trial.setup.methane_share, "the trial's methane", text))
    return tuple(found)


def solids_basis(trial: Trial, seen: RoughGas) -> tuple[Seen, ...] | None:
    """Find VS of fresh mass typed as VS of dry matter, and the reverse."""
    found, judged = [], False
    ratios = vs_ratios(trial)
    for m in trial.materials:
        if m.VS is None or m.role == "weight check":
            continue
        judged = judged or m.TS is not None
        planned = _by_planned_ratio(m, ratios)
        if m.VS > 1.0 or (m.TS is not None and m.VS > m.TS * 1.0005):
            text = "VS is more than all dry matter: consistent with VS of dry typed as VS of fresh."
            found.append(Seen(m.VS, m.name, text))
        elif m.TS is not None and m.VS < 0.4 * m.TS and m.VS <= m.TS**2 * 1.0005:
            text = (
                f"Only {100 * m.VS / m.TS:.0f} % of the dry matter would be VS: consistent with "
                "VS of fresh typed as VS of dry."
            )
            found.append(Seen(m.VS, m.name, text))
        elif m.TS is not None and m.role == "inoculum" and m.VS < 0.25 * m.TS:
            text = (
                f"Only {100 * m.VS / m.TS:.0f} % of the inoculum's dry matter would be VS: is the "
                "point in its place?"
            )
            found.append(Seen(m.VS, m.name, text))
        elif m.TS is not None and _is_cellulose(m) and m.VS < 0.97 * m.TS:
            text = (
                f"Cellulose is nearly all VS, and here only {100 * m.VS / m.TS:.0f} % of its dry "
                "matter is: consistent with VS of fresh typed as VS of dry."
            )
            found.append(Seen(m.VS, m.name, text))
        elif planned:
            found.append(Seen(m.VS, m.name, planned, outcome="caution"))
        elif m.role == "inoculum" and ratios and not _usual_ratio(min(ratios.values())):
            judged = True
            text = (
                f"The jars would hold {min(ratios.values()):.3g} g of inoculum VS or more for each "
                "g of feed VS: is the point in its place?"
            )
            found.append(Seen(m.VS, m.name, text, outcome="caution"))
        elif m.TS is None and m.role == "inoculum" and m.VS > 0.35:
            judged = True
            text = "An inoculum with so much VS is no liquid: consistent with VS of dry matter."
            found.append(Seen(m.VS, m.name, text))
        elif m.role == "inoculum":
            own = _blank_yield(trial, seen, m)
            if own is not None and not 2.0 < own < 250.0:
                judged = True
                text = (
                    f"The blanks would have given {own:.3g} NmL/g VS: an inoculum gives 10 to 100. "
                    "Is the point of its VS in its place?"
                )
                found.append(Seen(m.VS, m.name, text))
    return tuple(found) if judged or found else None


MOST_RATIO = 15.0
"""No trial is set up with more inoculum VS than this for each g of feed VS, in all its feeds."""
SAME_RATIO = 0.015
"""Ratios that were planned alike are weighed as nearly alike as this (logarithm)."""


def vs_ratios(trial: Trial) -> dict[str, float]:
    """Return the middle g of inoculum VS for each g of feed VS of each material's jars."""
    found: dict[str, list[float]] = {}
    for jar in trial.jars:
        if jar.sample_g > 0 and jar.inoculum_g and jar.inoculum:
            feed, inoculum = trial.material(jar.material), trial.material(jar.inoculum)
            if feed.VS and inoculum.VS:
                ratio = jar.inoculum_g * inoculum.VS / (jar.sample_g * feed.VS)
                found.setdefault(feed.name, []).append(ratio)
    return {name: median(each) for name, each in found.items()}


def _usual_ratio(least: float) -> bool:
    return least < MOST_RATIO


def _by_planned_ratio(m: Material, ratios: dict[str, float]) -> str:
    """Tell whether only with solids of the other kind a feed has the others' ratio; else nothing.

    Portions are mostly weighed to one ratio of inoculum to feed VS.
    """
    others = np.log([ratio for name, ratio in ratios.items() if name != m.name])
    if m.name not in ratios or not m.TS or not m.VS or not others.size:
        return ""
    middle = median(others)
    own = np.log(ratios[m.name]) - middle
    # of two ratios nobody knows which was planned; of three, two agree
    if np.quantile(np.abs(others - middle), 0.5) > SAME_RATIO or abs(own) < 3.0 * SAME_RATIO:
        return ""
    for factor, words in (
        (1.0 / m.TS, "VS of dry matter typed as VS of fresh mass, or multiplied by TS twice"),
        (m.TS, "VS of fresh mass typed as VS of dry matter, or divided by TS"),
    ):
        VS = m.VS * factor
        left = abs(own - np.log(factor))
        if VS <= 1.0 and left < min(SAME_RATIO, 0.25 * abs(own)):
            return (
                f"With {100 * VS:.3g} % instead of {100 * m.VS:.3g} % VS this feed would have the "
                f"ratio of inoculum to feed VS of the others ({np.exp(middle):.3g}): consistent "
                f"with {words}."
            )
    return ""


def _is_cellulose(material: Material) -> bool:
    return material.role == "control" and "cellulos" in material.name.lower()


def _blank_yield(trial: Trial, seen: RoughGas, inoculum: Material) -> float | None:
    """Return the methane of an inoculum's blanks per g of its VS; `None` before day 5."""
    if not inoculum.VS or trial.setup.given_net:
        return None
    if seen.time_d.size < 3 or seen.time_d[-1] < 5.0:
        return None
    methane = final_methane_NmL(trial, seen)
    own = [
        methane[j] / (jar.inoculum_g * inoculum.VS)
        for j, jar in enumerate(trial.jars)
        if jar.role == "blank" and jar.inoculum == inoculum.name and jar.inoculum_g > 0
    ]
    known = [value for value in own if np.isfinite(value)]
    return median(known) if known else None


def yield_unit(trial: Trial, seen: RoughGas) -> tuple[Seen, ...] | None:
    """Find litres per kilogram and cubic metres per kilogram (or mL and L) taken for each other."""
    mistakes = ((1e-3, "m³/kg (or L) typed where L/kg (or mL) was said"),
             (1e3, "L/kg (or mL) typed where m³/kg (or L) was said"))  # fmt: skip
    if trial.setup.given_net:
        top = finite_max(seen.value)
        mistake = 0 if top < 2.0 else 1 if top > 2e4 else None
        where = "all yields"
    elif has_gas(trial):
        own = control_yield(trial, seen)
        if own is None:
            return None
        top = own
        ratio = own / TYPICAL_CELLULOSE_YIELD
        mistake = 0 if 5e-4 < ratio < 2e-3 else 1 if 500 < ratio < 2000 else None
        where = "all volumes"
    else:
        return ()
    if mistake is None:
        return ()
    text = f"Yields come to {top:.3g} mL/g: consistent with {mistakes[mistake][1]}."
    return (Seen(top, where, text),)


def normalised_twice(trial: Trial, seen: RoughGas) -> tuple[Seen, ...] | None:
    """Find volumes that were already normal volumes and would be corrected again.

    A volume as read follows the weather of its reading; once corrected, its gas does not. The
    gas of normal volumes that are corrected again does: the slope of its logarithm on that of the
    dry factor is 1 instead of 0. Needs air pressure and temperature at each reading.
    """
    words = ("normal volume", "nml", "stp", "standard volume", "normalised", "normalized")
    said = [t for t in (*trial.ignored, *trial.readings.note) if any(w in t.lower() for w in words)]
    if not has_gas(trial):
        return ()
    if said:
        text = f"The table says it itself: {said[0].strip()!r}."
        return (Seen("words", "readings", text),)
    if trial.setup.gas_kept:
        return None
    if len(seen.time_d) < 9:
        return None
    slope, error = weather_slope(trial, seen)
    if not np.isfinite(slope) or error > 0.25:
        return None
    if not (0.6 < slope < 2.5 and slope / error > 4.0):
        return ()
    text = (
        "Once corrected, the gas still follows the weather of its readings "
        f"(slope {slope:.2f}; volumes as read give 0, normal volumes 1). This is "
        "consistent with volumes that were normalised already."
    )
    return (Seen(round(slope, 2), "all volumes", text),)


def weather_slope(trial: Trial, seen: RoughGas) -> tuple[float, float]:
    """Return the slope of the log of all jars' gas on that of the dry factor, and its error.

    What the headspaces breathe out and in with the weather is taken off first.
    """
    r, setup = trial.readings, trial.setup
    temperature = filled(r.column("temperature_C"), setup.gas_temperature_C)
    ambient = filled(r.column("ambient_kPa"), setup.ambient_kPa)
    factor = dry_factor(temperature, ambient, setup.gas_is_wet)
    room = np.array([jar.headspace_mL or 0.0 for jar in trial.jars])[r.jar]
    warm = np.full_like(ambient, setup.incubation_temperature_C)
    held = room * dry_factor(warm, ambient, True)
    breath = np.where(seen.first, 0.0, held - held[seen.previous])
    times = seen.time_d
    at = seen.round
    made = np.bincount(at, np.nan_to_num(seen.interval_NmL + breath), minlength=len(times))
    read = np.bincount(at, np.isfinite(seen.interval_NmL), minlength=len(times))
    sky = np.array([_mean(np.log(factor[at == k])) for k in range(len(times))])
    length = np.diff(times, prepend=0.0)
    sure = (read == read.max()) & (made > 100.0) & np.isfinite(sky) & (length > 0)
    if sure.sum() < 9:
        return float("nan"), float("nan")
    level = np.log(made[sure] / length[sure])
    # Reading errors of the jars average out; a tenth of a degree in their headspaces does not.
    unseen = 3.0 + 0.001 * sum(jar.headspace_mL or 0.0 for jar in trial.jars)
    weight = 1.0 / (0.004**2 + (unseen / made[sure]) ** 2)
    return _slope(_off_neighbours(level), _off_neighbours(sky[sure]), weight[2:-2])


def _mean(values: FloatArray) -> float:
    return float(values.mean()) if values.size else float("nan")


def _off_neighbours(row: FloatArray) -> FloatArray:
    """Return each value less the cubic through its two neighbours on either side."""
    return np.asarray(row[2:-2] - (4 * (row[1:-3] + row[3:-1]) - row[:-4] - row[4:]) / 6)


def _slope(level: FloatArray, sky: FloatArray, weight: FloatArray) -> tuple[float, float]:
    """Return the weighted slope of `level` on `sky` and its standard error."""
    spread = float((weight * sky**2).sum())
    if not spread > 0:
        return float("nan"), float("nan")
    slope = float((weight * sky * level).sum()) / spread
    rest = float((weight * (level - slope * sky) ** 2).sum()) / max(len(sky) - 1, 1)
    return slope, float(np.sqrt(rest / spread))


def scrubbed_twice(trial: Trial, seen: RoughGas) -> tuple[Seen, ...] | None:
    """Find scrubbed gas that is multiplied by the methane share again."""
    share = trial.readings.column("methane_share")
    if trial.setup.measured == "methane volume":
        if not np.isfinite(share).any() and trial.setup.methane_share is None:
            return ()
        rows = np.flatnonzero(np.isfinite(share))
        where = named(trial, rows) if rows.size else "the trial's methane"
        text = "The volume is methane already (after an absorber), yet a methane share is given."
        return (Seen("share given", where, text),)
    if trial.setup.measured != "volume":
        return ()
    own = control_yield(trial, seen)
    if own is None or not control_settled(trial, seen):
        return None
    gas = final_methane_NmL(trial, seen)
    for role in ("control", "blank"):
        each = np.array([
            gas[j] / (jar.sample_g or jar.inoculum_g or np.nan)
            for j, jar in enumerate(trial.jars)
            if jar.role == role and jar.left_out is None
        ])  # fmt: skip
        each = each[np.isfinite(each)]
        if each.size > 1 and np.ptp(each) > 0.4 * median(each):
            return None  # something else is wrong with one of them
    controls = np.array([jar.role == "control" for jar in trial.jars])[trial.readings.jar]
    usual = float(np.nanmedian(np.where(controls, seen.share, np.nan)))
    if not (0.35 < usual < 0.8 and 315 <= own / usual <= 420 and own < 260):
        return ()
    names = jar_names(trial, [j for j, jar in enumerate(trial.jars) if jar.role == "control"])
    text = (
        f"The control comes to {own:.0f} NmL/g VS, and to {own / usual:.0f} if its volumes are not "
        "multiplied by the methane share. This is consistent with gas that had passed an absorber."
    )
    return (Seen(own, names, text, outcome="caution"),)


def share_unlike(trial: Trial, seen: RoughGas) -> tuple[Seen, ...] | None:
    """Find methane shares higher than biogas has, without an absorber."""
    column = trial.readings.column("methane_share")
    if trial.setup.measured == "methane volume" or not np.isfinite(column).any():
        return () if trial.setup.measured == "methane volume" else None
    middle = {
        j: median(known)
        for j, one in enumerate(seen.of_jar)
        if (known := column[one][np.isfinite(column[one])]).size
    }
    high = [j for j, share in middle.items() if 0.90 < share <= 1.0]
    if not high:
        return ()
    rest = [share for j, share in middle.items() if j not in high]
    beside = f", the other jars {100 * median(rest):.0f} %" if rest else ""
    top = median([middle[j] for j in high])
    text = f"The gas would hold {100 * top:.0f} % methane{beside}; pure fat gives about 70 %."
    return (Seen(round(top, 3), jar_names(trial, high), text),)
