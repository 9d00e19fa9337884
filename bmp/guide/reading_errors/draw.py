"""Draw the picture of each page: invented readings, as they should be and as they came.

Run from the project root: `python bmp/guide/reading_errors/draw.py`. An SVG goes beside each page.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

HERE = Path(__file__).parent
RIGHT, WRONG, THIRD = "#8c8c8c", "#b3401d", "#1f5f8b"
DAYS = np.arange(1.0, 31.0)
RNG = np.random.default_rng(7)


def total(end: float = 1200.0, k: float = 0.18, days: np.ndarray = DAYS) -> np.ndarray:
    """Return a cumulative curve, mL."""
    return np.asarray(end * (1 - np.exp(-k * days)))


def interval(end: float = 1200.0, k: float = 0.18) -> np.ndarray:
    """Return gas per day, mL, with a little scatter."""
    made = np.diff(total(end, k), prepend=0.0)
    return np.asarray(made * (1 + 0.02 * RNG.standard_normal(made.size)))


def lines(ax: Axes, right: np.ndarray | None, wrong: np.ndarray, y: str, words: str = "") -> None:
    """Draw what should stand there and what does."""
    if right is not None:
        ax.plot(DAYS, right, "-", color=RIGHT, lw=2, label="as it should be")
    ax.plot(DAYS, wrong, "o-", color=WRONG, ms=3, lw=1, label=words or "as it came")
    ax.set(xlabel="time [d]", ylabel=y)


def interval_or_cumulative(ax: Axes) -> None:
    """Draw both kinds of reading of one jar."""
    ax.plot(DAYS, total(), "-", color=THIRD, lw=2, label="running total")
    ax.plot(DAYS, interval(), "o-", color=WRONG, ms=3, lw=1, label="gas since the last reading")
    ax.set(xlabel="time [d]", ylabel="volume [mL]")


def counter_reset(ax: Axes) -> None:
    """Draw a total that begins again."""
    value = total()
    value[12:] -= value[11]
    lines(ax, total(), value, "counter [mL]")


def counter_rollover(ax: Axes) -> None:
    """Draw a total that passes 1000."""
    ax.axhline(1000, color=THIRD, lw=0.8, ls=":")
    lines(ax, total(), total() % 1000.0, "counter [mL]")


def overflow(ax: Axes) -> None:
    """Draw interval gas cut off at the vessel's size."""
    lines(ax, interval(), np.minimum(interval(), 100.0), "gas in a day [mL]")


def gauge_and_absolute(ax: Axes) -> None:
    """Draw gauge pressures under a column for absolute ones."""
    gauge = interval(500.0) / 2
    ax.axhline(101.3, color=THIRD, lw=0.8, ls=":", label="air outside")
    lines(ax, gauge + 101.3, gauge, "pressure, “absolute” [kPa]")


def unit_of_pressure(ax: Axes) -> None:
    """Draw mbar typed under kPa."""
    gauge = interval(500.0) / 2
    lines(ax, gauge, gauge * 10, "pressure, “kPa”", "mbar typed")
    ax.set_yscale("log")


def sea_level_pressure(ax: Axes) -> None:
    """Draw the forecast's pressure at 1000 m."""
    weather = 0.7 * RNG.standard_normal(DAYS.size)
    lines(ax, 89.9 + weather, 101.3 + weather, "air pressure [kPa]", "reduced to sea level")


def unit_of_methane_share(ax: Axes) -> None:
    """Draw fractions under a header of percent."""
    share = 58 + RNG.standard_normal(DAYS.size)
    lines(ax, share, share / 100, "methane, “%”", "fraction typed")
    ax.set_yscale("log")


def share_over_100(ax: Axes) -> None:
    """Draw an analyser that drifts above all gas."""
    share = 70 + 1.4 * DAYS + RNG.standard_normal(DAYS.size)
    ax.axhspan(100, 118, color=THIRD, alpha=0.15, lw=0, label="cannot be")
    lines(ax, 62 + 0 * DAYS, share, "methane [%]")


def vs_of_fresh_or_dry(ax: Axes) -> None:
    """Draw what a kilogram of fresh feed is made of."""
    for row, (water, ash, VS) in enumerate(((78, 3, 19), (78, 3, 86))):
        left = 0.0
        colours = ("#d9e6ee", RIGHT, WRONG if row else THIRD)
        for part, colour in zip((water, ash, VS), colours, strict=True):
            ax.barh(row, part, left=left, color=colour)
            left += part
    ax.axvline(100, color="black", lw=0.8)
    ax.set_yticks([0, 1], ["VS of fresh", "VS of dry,\ntyped as of fresh"])
    ax.set_xlabel("% of fresh mass: water, ash, VS")


def litres_and_cubic_metres(ax: Axes) -> None:
    """Draw yields a thousand times apart."""
    lines(ax, total(340), total(0.34), "yield, “L/kg”", "m³/kg typed")
    ax.set_yscale("log")


def normalised_twice(ax: Axes) -> None:
    """Draw corrected once and twice."""
    lines(ax, total(1200), total(1200) * 0.903, "gas [NmL]", "corrected again")


def scrubbed_twice(ax: Axes) -> None:
    """Draw methane multiplied by its share."""
    lines(ax, total(370), total(370) * 0.53, "yield of the control [NmL/g VS]", "times 53 % again")
    ax.axhspan(340, 395, color=THIRD, alpha=0.15, lw=0, label="published window")


def warming_headspace(ax: Axes) -> None:
    """Draw the first day stands out in the blanks."""
    for k in range(3):
        gas = 14 * np.exp(-0.06 * DAYS[:10]) + 0.5 * RNG.standard_normal(10)
        gas[0] += 17
        name = "blanks" if k == 0 else "_more"
        ax.plot(DAYS[:10], gas, "o-", color=WRONG, ms=3, lw=1, label=name)
    ax.plot(DAYS[:10], 14 * np.exp(-0.06 * DAYS[:10]), color=RIGHT, lw=2, label="their own gas")
    ax.set(xlabel="time [d]", ylabel="gas in a day [mL]", ylim=(0, None))


def swapped_labels(ax: Axes) -> None:
    """Draw one curve of each set among the other's."""
    for end, other, colour, name in ((900, 1250, THIRD, "feed A"), (1250, 900, WRONG, "feed B")):
        for k in range(3):
            gas = total(other if k == 2 else end) * (1 + 0.03 * (k - 1))
            label = name if k == 0 else "_more"
            ax.plot(DAYS, gas, "--" if k == 2 else "-", color=colour, lw=1.5, label=label)
    ax.set(xlabel="time [d]", ylabel="gas [mL]")


def day_and_month(ax: Axes) -> None:
    """Draw days that jump by months."""
    typed = np.arange(20)
    month = np.array([(d + 5) * 30.4 - 150 if d + 5 <= 12 else d for d in typed])
    ax.plot(typed, typed, "-", color=RIGHT, lw=2, label="as it should be")
    ax.plot(typed, month, "o-", color=WRONG, ms=3, lw=1, label="read month first")
    ax.set(xlabel="row of the table", ylabel="day of the trial", xticks=range(0, 21, 5))


def duplicate_reading(ax: Axes) -> None:
    """Draw one reading again the next day."""
    value = total() + 4 * RNG.standard_normal(DAYS.size)
    value[9:11] = value[8]
    lines(ax, None, value, "counter [mL]")
    ax.plot(DAYS[8:11], value[8:11], "s", color=THIRD, ms=6, label="copied", zorder=0)


def zero_for_not_read(ax: Axes) -> None:
    """Draw a zero amid a flow."""
    value = interval()
    value[[6, 7]] = 0
    lines(ax, interval(), value, "gas in a day [mL]")


def sample_below_blank(ax: Axes) -> None:
    """Draw net yield below zero."""
    ax.axhline(0, color="black", lw=0.8)
    lines(ax, None, -total(60, 0.1), "net yield [NmL/g VS]", "feed less blank")


def leaking_jar(ax: Axes) -> None:
    """Draw one of three falls behind."""
    for k in range(2):
        name = "replicate jars" if k == 0 else "_more"
        ax.plot(DAYS, total(1200 + 30 * k), color=RIGHT, lw=2, label=name)
    lines(
        ax, None, total(1210) * np.where(DAYS < 4, 1, 0.62 + 0.38 * 4 / DAYS), "gas [mL]", "leaks"
    )


def odd_interval(ax: Axes) -> None:
    """Draw a single jump."""
    value = interval()
    value[11] *= 5
    lines(ax, interval(), value, "gas in a day [mL]")


def missing_readings(ax: Axes) -> None:
    """Draw a gap in one jar."""
    value = total()
    value[4:9] = np.nan
    ax.axvspan(4.5, 9.5, color=THIRD, alpha=0.15, lw=0, label="not read")
    lines(ax, None, value, "counter [mL]")


def pressure_fell(ax: Axes) -> None:
    """Draw a closed jar that loses pressure at once."""
    value = 101 + total(120)
    value[10:] -= 55
    lines(ax, 101 + total(120), value, "pressure in the closed jar [kPa]")


def share_unlike_biogas(ax: Axes) -> None:
    """Draw one set far above the others."""
    share = 80 + 5 * (1 - np.exp(-DAYS / 4)) + 0.5 * RNG.standard_normal(DAYS.size)
    lines(ax, share, 97 + 0.4 * RNG.standard_normal(DAYS.size), "methane [%]", "one set of jars")
    ax.axhline(70, color=THIRD, lw=0.8, ls=":", label="pure fat")


def whole_round(ax: Axes) -> None:
    """Draw three jars of which one round was read in another unit."""
    for number, end in enumerate((500.0, 800.0, 1200.0)):
        value = interval(end)
        value[11] /= 6.9
        ax.plot(DAYS, value, "o-", color=WRONG, ms=3, lw=1, label="" if number else "three jars")
    ax.set(xlabel="time [d]", ylabel="pressure [kPa]")


def weights(ax: Axes) -> None:
    """Draw the weight of a bottle with one figure a gram too high."""
    after = 1036.0 - 0.0013 * total(1500)
    before = np.concatenate([[1036.0], after[:-1]])
    wrong = before.copy()
    wrong[9] += 1.0
    ax.plot(DAYS, before, "-", color=RIGHT, lw=2, label="as it should be")
    ax.plot(DAYS, wrong, "o-", color=WRONG, ms=3, lw=1, label="before venting")
    ax.plot(DAYS, after, "s", color=THIRD, ms=3, label="after venting")
    ax.set(xlabel="time [d]", ylabel="mass of the bottle [g]")


def jar_table(ax: Axes) -> None:
    """Draw the yields of three jars, one with a tenth of its sample's mass typed."""
    for factor, colour, words in (
        (1.0, RIGHT, "two jars"),
        (1.03, RIGHT, ""),
        (10, WRONG, "0.4 g"),
    ):
        ax.plot(DAYS, total(350.0) * factor, "-", color=colour, lw=2, label=words)
    ax.set(xlabel="time [d]", ylabel="yield [NmL/g]", yscale="log")


PICTURES: tuple[Callable[[Axes], None], ...] = (
    interval_or_cumulative, counter_reset, counter_rollover, overflow, gauge_and_absolute,
    unit_of_pressure, sea_level_pressure, unit_of_methane_share, share_over_100,
    vs_of_fresh_or_dry, litres_and_cubic_metres, normalised_twice, scrubbed_twice,
    warming_headspace, swapped_labels, day_and_month, duplicate_reading, zero_for_not_read,
    sample_below_blank, leaking_jar, odd_interval, missing_readings, pressure_fell,
    share_unlike_biogas, whole_round, weights, jar_table,
)  # fmt: skip


def main() -> None:
    """Write every picture."""
    mpl.rcParams.update({"svg.fonttype": "none", "svg.hashsalt": "reading errors", "font.size": 9})
    for draw in PICTURES:
        figure = Figure(figsize=(4.2, 2.5), layout="constrained")
        ax = figure.add_subplot()
        draw(ax)
        ax.spines[["top", "right"]].set_visible(False)
        if ax.get_legend_handles_labels()[0]:
            ax.legend(frameon=False, fontsize=8)
        name = draw.__name__.replace("_", "-")
        figure.savefig(HERE / f"{name}.svg", metadata={"Date": None})


if __name__ == "__main__":
    main()
