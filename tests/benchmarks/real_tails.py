"""What real curves teach about tails: prints the table of `bmp/fit/real_tails.py`.

Run from the project root, with the curves beside the checkout: `python -m
tests.benchmarks.real_tails`. For each series that has not met
the stop rule on a day and goes on for five days or more: the logarithm of the gain that came until
its end over the gain that `bmp.fit.tail` expects. Gains below 1 % of the last value count as 1 %.
"""

from __future__ import annotations

import numpy as np

from bmp.fit.curves import pack
from bmp.fit.real_tails import RealTails
from bmp.fit.tail import fit_tail
from bmp.stop_rule import stop_days
from bmp.trial import FloatArray
from tests.real_curves import MISSING, RealSeries, real_series

CUT_DAYS = (7, 10, 12, 15, 20)
FURTHER_D = 5.0
LEAST_GAIN = 0.01


def unfinished(series: RealSeries, day: float) -> bool:
    """Tell whether the readings up to a day do not meet the stop rule yet."""
    part = series.until(day)
    run = np.repeat(np.arange(len(part.net)), [net.size for net in part.net])
    net = np.concatenate(part.net)
    return bool(np.isinf(stop_days(run, np.concatenate(part.time_d), net, net)).any())


def to_forecast(series: list[RealSeries], day: float) -> list[RealSeries]:
    """Return the series that are not finished on a day and go on for long enough."""
    return [s for s in series if s.end_d >= day + FURTHER_D and unfinished(s, day)]


def log_ratio(series: RealSeries, day: float) -> float:
    """Return the logarithm of the gain that came over the gain expected."""
    part = series.until(day)
    tail = fit_tail(pack(part.time_d, part.net))
    expected = float((tail.last * (1 + tail.gain(np.array([series.end_d]))[:, 0])).mean())
    last = float(tail.last.mean())
    came, awaited = series.mean_at(series.end_d) / last - 1, expected / last - 1
    return float(np.log(max(came, LEAST_GAIN) / max(awaited, LEAST_GAIN)))


def rows(series: list[RealSeries]) -> list[RealTails]:
    """Return the rows of the table."""
    found = []
    for laboratory in sorted({s.laboratory for s in series}, key=int):
        own = [s for s in series if s.laboratory == laboratory]
        for day in CUT_DAYS:
            ratio: FloatArray = np.array([log_ratio(s, day) for s in to_forecast(own, day)])
            if ratio.size:
                mean, sd = round(float(ratio.mean()), 2), round(float(ratio.std()), 2)
                found.append(RealTails(laboratory, day, ratio.size, mean, sd))
    return found


def main() -> None:
    """Print the table as it stands there."""
    series = real_series()
    if not series:
        raise SystemExit(MISSING)
    for row in rows(series):
        cells = f"{row.cut_d}, {row.series}, {row.mean_log_ratio}, {row.sd_log_ratio}"
        print(f'    RealTails("{row.laboratory}", {cells}),')


if __name__ == "__main__":
    main()
