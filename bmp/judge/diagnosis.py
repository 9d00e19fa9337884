"""What the curves and the typed-in figures say a feed may have done to the inoculum.

Every finding is worded "consistent with": a curve alone never proves a cause.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from bmp.finding import Finding, Outcome
from bmp.trial import FloatArray, Material, Setup

LAG_SOURCE = "method of the tangent: Zwietering et al. 1990, Appl. Environ. Microbiol. 56:1875"
FAT_SOURCE = "Cirne et al. 2007, Bioresour. Technol. (abstract): lag 6 to 10 d, inhibition at 31 %"
AMMONIA_SOURCE = (
    "Poirier et al. 2016, Bioresour. Technol. 207:92; Chen, Cheng & Creamer 2008, Bioresour. "
    "Technol. 99:4044 (from memory): 1.7 to 14 g N/L, by how used to it the inoculum is"
)
NITROGEN_SOURCE = "Wang et al. 2014, PLoS ONE 9:e97265: inhibition at C/N 15 (35 °C), 20 (55 °C)"
RATIO_SOURCE = "Koch et al. 2019, Front. Environ. Sci. 7:178 (abstract): lag over 10 d at 0.05"
COMMON = "common practice, no source"


@dataclass(frozen=True, eq=False)
class FeedCurve:
    """The net curves of one series of jars at common times."""

    series: str
    time_d: FloatArray
    """Shape (times,)."""
    net: FloatArray
    """Net yield, shape (jars, times), NmL CH4 per g VS."""
    inoculum_to_substrate: float | None = None
    """By VS."""
    jars: tuple[str, ...] = ()
    """Names of the jars."""


def _say(
    check: str, outcome: Outcome, value: float | None, limit: str, source: str, meaning: str,
    advice: str, where: str,
) -> Finding:  # fmt: skip
    rounded = None if value is None else float(f"{value:.4g}")
    return Finding(check, outcome, rounded, limit, source, meaning, advice, where)


def tangent_lag_d(time_d: FloatArray, net: FloatArray) -> float | None:
    """Return where the tangent at the steepest three readings meets zero [d]; `None` if flat.

    `net` is one curve, shape (times,). The curve starts at (0, 0).
    """
    t = np.concatenate([[0.0], time_d])
    y = np.concatenate([[0.0], net])
    if len(t) < 5 or not y.max() > 0:
        return None
    rise = (y[2:] - y[:-2]) / (t[2:] - t[:-2])
    # The steepest place that already holds a tenth of the gas: noise at the start is none.
    rise = np.where(y[1:-1] > 0.02 * y.max(), rise, -np.inf)
    k = int(np.argmax(rise))
    if not rise[k] > 0:
        return None
    return max(0.0, float(t[k + 1] - y[k + 1] / rise[k]))


def lag_beside_control(feed: FeedCurve, control: FeedCurve | None, setup: Setup) -> list[Finding]:
    """Compare the feed's lag with the control's."""
    own = tangent_lag_d(feed.time_d, np.median(feed.net, axis=0))
    beside = None if control is None else _lag_of(control)
    if own is None or beside is None:
        return []
    late = own > beside + 3.0 and own > 2.0 * beside
    air = setup.flush_gas.get("O2", 0.0) + setup.flush_gas.get("air", 0.0) > 0.0
    first = (
        " The jars were closed under air. Its oxygen is used up before methane is made: a lag of "
        "days that is not inhibition. The control has it too."
    )
    meaning = (
        f"Methane began in earnest on day {own:.1f}, the control's on day {beside:.1f}: "
        + (
            "consistent with a feed that acidifies, with fat, or with an inoculum new to it."
            if late
            else "no sign of a slow start."
        )
        + (first if air else "")
    )
    advice = "Repeat with more inoculum per feed, or with an inoculum that has met this feed."
    limit = "at most 3 days and twice the control's"
    outcome: Outcome = "caution" if late else "pass"
    found = _say(
        "start compared with the control",
        outcome,
        own,
        limit,
        LAG_SOURCE,
        meaning,
        advice,
        feed.series,
    )
    return [found]


def _lag_of(curve: FeedCurve) -> float | None:
    return tangent_lag_d(curve.time_d, np.median(curve.net, axis=0))


def below_zero(feed: FeedCurve) -> list[Finding]:
    """Say where the jars made less than the inoculum alone, over the whole end of the curve."""
    end = feed.net[:, -3:].mean(axis=1)
    mean = float(end.mean())
    error = float(end.std(ddof=1) / np.sqrt(len(end))) if len(end) > 1 else 0.0
    if mean + 2.0 * error >= 0.0:
        return []
    meaning = (
        f"The jars made less than the inoculum alone ({mean:.0f} NmL/g VS). That is consistent "
        "with a feed that inhibits, a leak in all its jars, or blanks that made too much."
    )
    advice = "Look at the blanks one by one; repeat with half and a quarter of the feed."
    where = feed.series
    return [_say("inhibition", "caution", mean, "above 0", "Mass balance", meaning, advice, where)]


def odd_jars(feed: FeedCurve) -> list[Finding]:
    """Name a jar whose net yield lies far from the others'; only a proposal to look at it."""
    end = feed.net[:, -1]
    found = []
    for k in range(len(end)) if len(end) >= 3 else ():
        others = np.delete(end, k)
        middle = float(np.median(others))
        spread = float(others.max() - others.min())
        away = abs(float(end[k]) - middle)
        if middle <= 0 or away < 0.25 * middle or away < 3.0 * spread:
            continue
        name = feed.jars[k] if feed.jars else str(k + 1)
        meaning = (
            f"Jar {name} gave {end[k]:.3g} NmL/g VS, the other jars {middle:.3g}: consistent with "
            "a leak, a weighing error, or gas that was not read."
        )
        advice = "Leave it out only for a technical reason that you can name, and write it down."
        limit = "at most 25 % from the other jars and three times their own spread"
        found.append(
            _say(
                "jar unlike its replicates", "caution", float(end[k]) / middle, limit,
                "Standard BMP Methods, document 100 v1.9 (2021), asks for a technical reason",
                meaning, advice, feed.series,
            )
        )  # fmt: skip
    return found


def two_phases(feed: FeedCurve) -> list[Finding]:
    """Find a pause followed by a second rise, in all jars alike."""
    pauses = [_pause(feed.time_d, one) for one in feed.net]
    if not pauses or any(pause is None for pause in pauses):
        return []
    day = float(np.median([pause for pause in pauses if pause is not None]))
    meaning = (
        f"Methane pauses about day {day:.0f} and rises again. Either two parts of the feed are "
        "digested one after the other, or acids pile up and are then used."
    )
    advice = "Fit two pools instead of one; look at the pH at the pause if you can."
    return [
        _say("two-phase curve", "caution", day, "no pause", COMMON, meaning, advice, feed.series)
    ]


def _pause(time_d: FloatArray, net: FloatArray) -> float | None:
    """Return the day of a pause: a rate under 0.4 of both the rates before and after it."""
    t = np.linspace(0.0, float(time_d[-1]), 31)
    y = np.interp(t, np.concatenate([[0.0], time_d]), np.concatenate([[0.0], net]))
    rate = np.diff(y) / np.diff(t)
    rate = np.convolve(rate, np.ones(3) / 3, mode="valid")
    if len(rate) < 8 or not y[-1] > 0:
        return None
    before = np.maximum.accumulate(rate)
    after = np.maximum.accumulate(rate[::-1])[::-1]
    deep = np.where(rate < 0.4 * np.minimum(before, after), rate, np.inf)
    k = int(np.argmin(deep))
    later = y[-1] - y[k + 1]
    if not np.isfinite(deep[k]) or later < 0.15 * y[-1] or y[k + 1] < 0.1 * y[-1]:
        return None
    return float(t[k + 2])


def overload(feed: FeedCurve, late: bool) -> list[Finding]:
    """Say where too little inoculum may have been overloaded."""
    ratio = feed.inoculum_to_substrate
    if ratio is None or ratio >= 1.0 or not late:
        return []
    meaning = (
        f"Only {ratio:.2g} g of inoculum VS stand against a gram of feed VS, and methane came "
        "late: consistent with an overload that turned the jar sour."
    )
    advice = "Repeat with two grams of inoculum VS to a gram of feed VS."
    return [
        _say(
            "overload", "caution", ratio, "at least 1 g VS/g VS", RATIO_SOURCE, meaning, advice,
            feed.series,
        )
    ]  # fmt: skip


def composition_hints(material: Material, temperature_C: float, pH: float | None) -> list[Finding]:
    """Return what the typed-in composition warns of: fat, meat, nitrogen, ammonia."""
    return [
        *_fat(material),
        *_protein(material),
        *_carbon_to_nitrogen(material, temperature_C),
        *_ammonia(material, temperature_C, pH),
    ]


def _fat(material: Material) -> list[Finding]:
    if material.lipid is None or material.lipid <= 0.18:
        return []
    meaning = (
        f"{100 * material.lipid:.0f} % of VS is fat: it floats and foams, sticks to the glass "
        "above the liquid, and its long-chain acids slow the start."
    )
    advice = "Mix the jars by hand each day; in the tank begin with a tenth of the feed as fat."
    limit = "at most 18 % (hardly any), from 31 % inhibition"
    return [
        _say(
            "fat", "caution", 100 * material.lipid, limit, FAT_SOURCE, meaning, advice,
            material.name,
        )
    ]  # fmt: skip


def _protein(material: Material) -> list[Finding]:
    if material.protein is None or material.protein <= 0.4:
        return []
    meaning = (
        f"{100 * material.protein:.0f} % of VS is protein, as in meat or blood: its nitrogen "
        "becomes ammonia, and its sulphur hydrogen sulphide."
    )
    advice = "Feed at least ten parts of carbon-rich feed to one of this."
    return [
        _say(
            "protein", "caution", 100 * material.protein, "at most 40 % of VS", COMMON, meaning,
            advice, material.name,
        )
    ]  # fmt: skip


def _carbon_to_nitrogen(material: Material, temperature_C: float) -> list[Finding]:
    if not material.carbon or not material.nitrogen:
        return []
    ratio = material.carbon / material.nitrogen
    low = 20.0 if temperature_C > 45.0 else 15.0
    if low < ratio <= 40.0:
        return []
    meaning = f"C:N is {ratio:.0f}: " + (
        "consistent with ammonia slowing the digestion where this feed is given alone."
        if ratio <= low
        else "nitrogen and trace elements may run short where this feed is given alone."
    )
    other = "carbon-rich" if ratio <= low else "nitrogen-rich"
    advice = f"In the tank mix it with a {other} feed. A C:N near 25 is best."
    limit = f"above {low:g}, and 20 to 30 in the mixture"
    return [
        _say(
            "C:N", "caution", ratio, limit, NITROGEN_SOURCE, meaning, advice, material.name
        )
    ]  # fmt: skip


def free_ammonia_share(pH: float, temperature_C: float) -> float:
    """Return the share of ammonia that is NH3.

    1/(1 + 10^(pKa - pH)), pKa = 0.09018 + 2729.92/T (Emerson et al. 1975, J. Fish. Res. Board Can.
    32:2379; valid 0 to 50 °C).
    """
    pKa = 0.09018 + 2729.92 / (temperature_C + 273.15)
    return float(1.0 / (1.0 + 10.0 ** (pKa - pH)))


def _ammonia(material: Material, temperature_C: float, pH: float | None) -> list[Finding]:
    total = material.ammonium_N_g_per_kg
    if total is None or total < 1.7:
        return []
    known = material.pH if material.pH is not None else pH
    free = ""
    if known is not None and material.role == "inoculum":
        share = free_ammonia_share(known, temperature_C)
        free = f", of it {1000 * total * share:.0f} mg/L free at pH {known:g}"
    meaning = (
        f"{total:.2g} g/kg of ammonium nitrogen{free}: consistent with a slow start where the "
        "inoculum is not used to it; the published limits differ eightfold."
    )
    advice = "Look at the control's lag and yield: it shows whether this inoculum suffers."
    return [
        _say(
            "ammonia", "caution", total, "below 1.7 g N/kg", AMMONIA_SOURCE, meaning, advice,
            material.name,
        )
    ]  # fmt: skip


MOST_HARMLESS = 0.75
"""A dose that gives less than this share of the mildest one's gas is harmed (judgement)."""


@dataclass(frozen=True)
class DoseStep:
    """One step of a dose series."""

    series: str
    dose: float
    """g of feed VS per g of inoculum VS."""
    final_yield: float
    """NmL CH4 per g VS."""
    early_yield: float
    """The same at the time when the mildest dose stood at half of its end."""


@dataclass(frozen=True)
class DoseSeries:
    """One feed at several ratios to the inoculum, from the smallest dose up."""

    material: str
    doses: tuple[DoseStep, ...]
    early_d: float
    """Time at which the mildest dose stood at half of its end."""

    @property
    def harmed(self) -> tuple[str, ...]:
        """Return the series whose dose slowed or harmed its jars, beside the mildest."""
        mild = self.doses[0]
        return tuple(
            one.series
            for one in self.doses[1:]
            if one.final_yield < MOST_HARMLESS * mild.final_yield
            or (self._falls and one.early_yield < MOST_HARMLESS * mild.early_yield)
        )

    @property
    def _falls(self) -> bool:
        return all(b.early_yield <= 1.03 * a.early_yield for a, b in pairwise(self.doses))

    def findings(self) -> list[Finding]:
        """Say whether rate or yield fall with the dose."""
        mild, strong = self.doses[0], self.doses[-1]
        falls = self._falls
        slower = 100.0 * (1.0 - strong.early_yield / mild.early_yield)
        less = 100.0 * (1.0 - strong.final_yield / mild.final_yield)
        seen = (falls and slower > 25.0) or bool(self.harmed)
        meaning = (
            f"From {mild.dose:.2g} to {strong.dose:.2g} g of feed VS per g of inoculum VS the "
            f"early yield falls by {slower:.0f} % and the final one by {less:.0f} %: "
            + (
                "consistent with inhibition or overload at the larger doses."
                if seen
                else "no sign that larger doses inhibit."
            )
        )
        advice = "Take the yield from the smaller doses; begin the tank with a small share."
        outcome: Outcome = "caution" if seen else "pass"
        return [
            _say(
                "rate falling with dose", outcome, slower, "at most 25 % slower", COMMON, meaning,
                advice, self.material,
            )
        ]  # fmt: skip


def dose_series(curves: Sequence[FeedCurve], material_of: Sequence[str]) -> list[DoseSeries]:
    """Recognise one feed given at several ratios (at least a fifth apart).

    `material_of` names the material of each curve.
    """
    found = []
    for material in dict.fromkeys(material_of):
        own = [
            curve
            for curve, name in zip(curves, material_of, strict=True)
            if name == material and curve.inoculum_to_substrate
        ]
        own.sort(key=lambda curve: -(curve.inoculum_to_substrate or 0.0))
        ratios = [curve.inoculum_to_substrate or 0.0 for curve in own]
        if len(own) < 2 or min(a / b for a, b in pairwise(ratios)) < 1.2:
            continue
        mild = np.median(own[0].net, axis=0)
        if not mild[-1] > 0:
            continue
        half_d = float(own[0].time_d[int(np.argmax(mild >= 0.5 * mild[-1]))])
        doses = tuple(
            DoseStep(
                curve.series,
                1.0 / ratio,
                float(np.median(curve.net[:, -1])),
                float(np.interp(half_d, curve.time_d, np.median(curve.net, axis=0))),
            )
            for curve, ratio in zip(own, ratios, strict=True)
        )
        found.append(DoseSeries(material, doses, half_d))
    return found


def diagnose(feed: FeedCurve, control: FeedCurve | None, setup: Setup) -> tuple[Finding, ...]:
    """Return all that the curve of one feed says."""
    slow = lag_beside_control(feed, control, setup)
    late = any(finding.outcome == "caution" for finding in slow)
    return (
        *below_zero(feed), *odd_jars(feed), *slow, *two_phases(feed), *overload(feed, late)
    )  # fmt: skip
