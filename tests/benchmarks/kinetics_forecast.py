"""How often forecasts hold, on real curves and in simulated trials as people run them.

Run from the project root: `python -m tests.benchmarks.kinetics_forecast [trials]` (default 1,000 a
cell). Real curves (beside the checkout): cut on a day, those not finished and read for five days or
more after it; the tail's spread is learnt without their laboratory; the truth is the mean yield
at the end. Simulated: three jars (4 % scatter) to day 45, read as said, minutes to hours apart, one
round in ten skipped; the truth is the material's yield on the day on which the whole trial met the
stop rule, and at the end where a second phase follows. A second phase is allowed for only
where that is said.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from bmp.fit.common_errors import Factor
from bmp.fit.curves import Curves, pack
from bmp.fit.forecast import blank_gas, forecast
from bmp.fit.results import Forecast
from bmp.fit.tail import Spread, spread
from bmp.stop_rule import stop_days
from bmp.trial import FloatArray
from tests.benchmarks.real_tails import to_forecast
from tests.benchmarks.simulated import Case, table
from tests.real_curves import RealSeries, real_series

DAILY = np.arange(1.0, 46.0)
MON_WED_FRI = np.array([d for d in range(1, 46) if d % 7 in (0, 2, 4)], dtype=float)
CASES = (
    Case("first order, k 0.25", "first order", (350.0, 0.25), DAILY),
    Case("first order, k 0.12", "first order", (350.0, 0.12), DAILY),
    Case("first order, k 0.12, Mon, Wed, Fri", "first order", (350.0, 0.12), MON_WED_FRI),
    Case("Gompertz, Rm 30, lag 2", "modified Gompertz", (350.0, 30.0, 2.0), DAILY),
    Case("Gompertz, Rm 40, lag 1, Mon, Wed, Fri", "modified Gompertz", (350, 40, 1), MON_WED_FRI),
    Case("cone, k 0.5, n 1.7", "cone", (350.0, 0.5, 1.7), DAILY),
    Case("cone, k 0.4, n 2.7, Mon, Wed, Fri", "cone", (350.0, 0.4, 2.7), MON_WED_FRI),
    Case("two pools, half of it slow", "two-pool first order", (350.0, 0.5, 0.5, 0.08), DAILY),
)
SECOND_PHASES = tuple(
    (k, share, day) for k in (0.25, 0.4) for share in (0.2, 0.3, 0.4) for day in (10.0, 14.0)
)
"""First order; the share of all gas that comes later, at 0.2 a day, and the day on which it begins.
A fifth of the gas is the blank's, VS is wrong by 2 %."""
BLANK_SHARES = (0.1, 0.3, 0.5)
ASKED_ON = (10, 15, 20)
NEARLY_ALL = 0.96
JARS = 3


@dataclass
class Count:
    """What came of the forecasts of one cell."""

    trials: int = 0
    held: list[bool] = field(default_factory=list)
    half_width: list[float] = field(default_factory=list)
    stop_held: list[bool] = field(default_factory=list)

    def add(self, found: Forecast | None, truth: float, met: float) -> None:
        """Count one forecast, unless none is due."""
        if found is None:
            return
        self.trials += 1
        if found.final_yield.value is None or found.final_yield.ci95 is None:
            return
        low, high = found.final_yield.ci95
        assert low is not None
        assert high is not None
        self.held.append(low <= truth <= high)
        self.half_width.append((high - low) / (2 * truth))
        early, late = found.stop_day_d.ci95 or (None, None)
        if np.isfinite(met):
            self.stop_held.append(early is not None and early <= met <= (late or np.inf))

    def cells(self) -> list[str]:
        """Return what is printed of it."""
        if not self.held:
            return [str(self.trials), "0 %", "–", "–", "–"]
        return [
            str(self.trials),
            f"{100 * len(self.held) / self.trials:.0f} %",
            f"{100 * np.mean(self.held):.0f} %",
            f"{100 * np.median(self.half_width):.0f} %",
            f"{100 * np.mean(self.stop_held):.0f} %" if self.stop_held else "–",
        ]


def ask(
    curves: Curves,
    one_phase: bool,
    shape: Spread | None = None,
    taken_off: Curves | None = None,
    blank_moves: FloatArray | None = None,
    factors: Sequence[Factor] = (),
) -> Forecast | None:
    """Return the forecast of one material, with another spread of tails if that is given."""
    none = Curves(curves.time_d, np.zeros_like(curves.value), curves.valid)
    blank = blank_gas(taken_off or none)
    return forecast(
        curves, blank, "NmL CH4/g VS", one_phase=one_phase, shape=shape,
        blank_moves=blank_moves, factors=factors,
    )  # fmt: skip


def met_d(
    times: list[FloatArray], nets: list[FloatArray], blanks: list[FloatArray] | None = None
) -> float:
    """Return when the last jar met the stop rule."""
    run = np.repeat(np.arange(len(times)), [time.size for time in times])
    net = np.concatenate(nets)
    own = net + np.concatenate(blanks) if blanks else net
    return float(stop_days(run, np.concatenate(times), own, net).max())


def real(series: list[RealSeries], day: float, one_phase: bool) -> Count:
    """Count forecasts of real curves."""
    count = Count()
    for one in to_forecast(series, day):
        part = one.until(day)
        curves = pack(part.time_d, part.net)
        phase = one_phase or one.feed == "cellulose"
        found = ask(curves, phase, spread(one.laboratory))
        count.add(found, one.mean_at(one.end_d), met_d(one.time_d, one.net))
    return count


def simulated(
    case: Case,
    day: float,
    trials: int,
    *,
    second_share: float = 0.0,
    second_d: float = 14.0,
    blank_share: float = 0.0,
    solids_u: float = 0.0,
    one_phase: bool = False,
) -> Count:
    """Count forecasts of simulated trials, with or without a second phase.

    `blank_share` of all gas at the end is the inoculum's, at about 0.05 a day: in every jar and
    in three blanks it scatters by 8 % in its gas and 10 % in its rate. VS is wrong by `solids_u`,
    one standard deviation, in all jars alike, as three crucibles show it.
    """
    rng = np.random.default_rng(int(day))
    count = Count()
    for _ in range(trials):
        made = _trial(case, second_share, second_d, blank_share, rng)
        crucibles = 1 + solids_u * np.sqrt(3) * rng.standard_normal(3)
        times, blanks = made.times, made.taken_off
        nets = [net / crucibles.mean() for net in made.nets]
        met = met_d(times, nets, blanks)
        if met <= day:
            continue
        end = 45.0 if second_share or not np.isfinite(met) else met
        truth = float(_level(case, np.array([end]), second_share, second_d)[0])
        cut = [time <= day for time in times]
        days_read, net, blank = (
            [x[k] for x, k in zip(each, cut, strict=True)] for each in (times, nets, blanks)
        )
        last = np.mean([time[-1] for time in days_read])
        u = float(crucibles.std(ddof=1) / np.sqrt(3))
        found = ask(
            pack(days_read, net), one_phase, taken_off=pack(days_read, blank),
            blank_moves=made.moves(float(last)) if blank_share else None,
            factors=[Factor("VS", u, 2.0)] if solids_u else (),
        )  # fmt: skip
        count.add(found, truth, met)
    return count


@dataclass
class _Made:
    """A simulated trial: what each jar's net curve is, and the three blanks."""

    times: list[FloatArray]
    nets: list[FloatArray]
    taken_off: list[FloatArray]
    top: FloatArray
    rate: FloatArray

    def moves(self, day: float) -> FloatArray:
        """Return how far each blank moves a net yield on a day."""
        blanks = _inoculum(np.array([day]), self.top, self.rate)[:, 0]
        return np.asarray(blanks.mean() - blanks)


def _inoculum(days: FloatArray, top: FloatArray, rate: FloatArray) -> FloatArray:
    """Return the inoculum's gas of some jars, shape (jars, days)."""
    made: FloatArray = top[:, None] * np.expm1(-rate[:, None] * days) / np.expm1(-0.05 * 45.0)
    return made


def _trial(
    case: Case, second_share: float, second_d: float, blank_share: float, rng: np.random.Generator
) -> _Made:
    kept = rng.random(case.days.size) > 0.1
    top = 350 * blank_share / (1 - blank_share) * (1 + 0.08 * rng.standard_normal(JARS + 3))
    rate = 0.05 * (1 + 0.10 * rng.standard_normal(JARS + 3))
    made = _Made([], [], [], top[JARS:], rate[JARS:])
    for jar in range(JARS):
        days = case.days[kept] + rng.uniform(-0.1, 0.1, int(kept.sum()))
        level = _level(case, days, second_share, second_d) * (1 + 0.04 * rng.standard_normal())
        gas = np.diff(level, prepend=0.0) * (1 + 0.05 * rng.standard_normal(days.size))
        noise = np.cumsum(0.005 * 350 * rng.standard_normal(days.size))
        own = _inoculum(days, top[jar : jar + 1], rate[jar : jar + 1])[0]
        mean = _inoculum(days, made.top, made.rate).mean(axis=0)
        made.nets.append(np.cumsum(gas) + noise + own - mean)
        made.taken_off.append(mean)
        made.times.append(days)
    return made


def _level(case: Case, days: FloatArray, second_share: float, second_d: float) -> FloatArray:
    later = 350.0 * second_share * -np.expm1(-0.2 * np.maximum(days - second_d, 0.0))
    total: FloatArray = (1 - second_share) * case.true_curve(days) + later
    return total


def main(trials: int) -> None:
    """Print the table, the worst cells first."""
    rows: list[tuple[float, list[str]]] = []

    def keep(label: str, day: float, count: Count) -> None:
        held = [one for one in (count.held, count.stop_held) if one]
        worst = min((float(np.mean(one)) for one in held), default=1.0)
        rows.append((worst, [label, f"{day:.0f}", *count.cells()]))

    series = real_series()
    for day in ASKED_ON:
        if series:
            keep("**real curves**", day, real(series, day, True))
            keep("**real curves**, a second phase allowed for", day, real(series, day, False))
        for case in CASES:
            keep(case.label, day, simulated(case, day, trials, one_phase=True))
        for k in (0.12, 0.25):
            case = Case(f"first order, k {k}", "first order", (350.0, k), DAILY)
            for share in BLANK_SHARES:
                for u in (0.0, 0.03):
                    count = simulated(
                        case, day, trials, blank_share=share, solids_u=u, one_phase=True
                    )
                    label = f"{case.label}, {100 * share:.0f} % of the gas from the blank"
                    keep(f"{label}, VS {100 * u:.0f} %" if u else label, day, count)
        for k, share, begins in SECOND_PHASES:
            case = Case(f"first order, k {k}", "first order", (350.0, k), DAILY)
            label = f"{case.label}, {100 * share:.0f} % more from day {begins:.0f} (allowed for)"
            count = simulated(
                case, day, trials, second_share=share, second_d=begins, blank_share=0.2,
                solids_u=0.02,
            )  # fmt: skip
            keep(label, day, count)
    rows.sort(key=lambda row: row[0])
    shown = [cells for worst, cells in rows if worst < NEARLY_ALL or cells[0].startswith("**")]
    head = ["curve", "day", "unfinished", "given", "yield held", "half width", "stop day held"]
    print(table(head, shown))
    others = len(rows) - len(shown)
    print(f"\nIn the other {others} cells both intervals held in {100 * NEARLY_ALL:.0f} % or more.")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
