"""The pictures of the tank's section. Each drawing function takes axes and returns them."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from bmp.report.series_style import FAINT, INK, WIDTH_IN, look_of
from bmp.tank.result import Span, TankResult, TankState

_AXES_IN = 2.45
"""Height of the axes; what stands below them comes on top of it."""
_LEFT_IN, _RIGHT_IN, _TOP_IN = 0.8, 0.2, 0.3
_LEGEND_COLUMNS = 2
# One a feed beside its colour, so that stacked bars are told apart in grey.
_HATCHES = ("", "///", "...", "xxx", "\\\\\\", "+++", "ooo", "---")


def tank_pictures(result: TankResult, places: Mapping[str, int]) -> dict[str, Figure]:
    """Return the pictures of the tank by name; those with nothing to show are left out.

    Parameters
    ----------
    result : TankResult
    places : mapping of str to int
        Place of each feed among the trial's series, so that it keeps its colour.
    """

    def gas(axes: Axes, result: TankResult) -> Axes:
        return draw_gas_by_material(axes, result, places)

    feeds = {row.material for row in (*result.today.by_material, *result.planned.by_material)}
    legend_rows = -(-len(feeds) // _LEGEND_COLUMNS)
    ways: dict[str, tuple[Callable[[Axes, TankResult], Axes], float]] = {
        "tank-gas": (gas, 0.45 + 0.28 * legend_rows)
    }
    if any(row.load_kgVS_per_m3_d is not None for row in result.ramp):
        ways["tank-ramp-load"] = draw_ramp_load, 0.56
    if any(row.expected_methane_NL_per_d is not None for row in result.ramp):
        ways["tank-ramp-gas"] = draw_ramp_gas, 0.56
    if result.months:
        ways["tank-heat"] = draw_heat_by_month, 1.65
    drawn = {}
    for name, (draw, below_in) in ways.items():
        drawn[name], axes = _figure(below_in)
        draw(axes, result)
    return drawn


def _figure(below_in: float) -> tuple[Figure, Axes]:
    """Return a figure with axes in a fixed place: arranging them by their texts takes long."""
    height = _TOP_IN + _AXES_IN + below_in
    figure = Figure(figsize=(WIDTH_IN, height))
    FigureCanvasAgg(figure)
    width = (WIDTH_IN - _LEFT_IN - _RIGHT_IN) / WIDTH_IN
    place = (_LEFT_IN / WIDTH_IN, below_in / height, width, _AXES_IN / height)
    return figure, figure.add_axes(place)


def draw_gas_by_material(
    axes: Axes, result: TankResult, places: Mapping[str, int] | None = None
) -> Axes:
    """Draw methane today and planned, stacked by material, with the span of the total."""
    states = (("today", result.today), ("planned", result.planned))
    rows = (*result.today.by_material, *result.planned.by_material)
    for index, name in enumerate(dict.fromkeys(row.material for row in rows)):
        number = (places or {}).get(name, index)
        colour, hatch = look_of(number).colour, _HATCHES[number % len(_HATCHES)]
        for place, (_, state) in enumerate(states):
            below, height = _stack(state, name)
            label = name if place == 0 else None
            axes.bar(
                place,
                height,
                bottom=below,
                width=0.55,
                color=colour,
                hatch=hatch,
                edgecolor="white",
                linewidth=0.0,
                label=label,
            )
    for place, (_, state) in enumerate(states):
        _draw_total(axes, place, state.methane_NL_per_d)
    axes.set_xticks(range(len(states)), [name for name, _ in states])
    axes.set_xlim(-0.6, 1.6)
    axes.set_ylabel("Methane, estimate [NL/d]")
    axes.legend(
        frameon=False, loc="upper center", bbox_to_anchor=(0.5, -0.12), ncols=_LEGEND_COLUMNS
    )
    return _bare(axes)


def draw_ramp_load(axes: Axes, result: TankResult) -> Axes:
    """Draw the load of each week of the change as bars."""
    known = [
        (row.week, row.load_kgVS_per_m3_d)
        for row in result.ramp
        if row.load_kgVS_per_m3_d is not None
    ]
    axes.bar(
        [week for week, _ in known], [load for _, load in known], width=0.7, color=FAINT, alpha=0.6
    )
    axes.set_ylabel("Load [kg VS/(m³ d)]")
    return _weeks(axes, result)


def draw_ramp_gas(axes: Axes, result: TankResult) -> Axes:
    """Draw the methane expected at the end of each week of the change."""
    known = [
        (row.week, row.expected_methane_NL_per_d)
        for row in result.ramp
        if row.expected_methane_NL_per_d is not None
    ]
    axes.plot([week for week, _ in known], [gas for _, gas in known], "o-", color=look_of(0).colour)
    axes.set_ylabel("Methane, estimate [NL/d]")
    axes.margins(x=0.08, y=0.15)
    axes.set_ylim(bottom=0)
    return _weeks(axes, result)


def _weeks(axes: Axes, result: TankResult) -> Axes:
    weeks = [row.week for row in result.ramp]
    axes.set_xlabel("Week")
    axes.set_xticks(weeks[:: max(1, len(weeks) // 8)])
    return _bare(axes)


def draw_heat_by_month(axes: Axes, result: TankResult) -> Axes:
    """Draw each month's heat need, with what the gas gives after the burner as a band."""
    months = result.months
    if not months:
        axes.text(0.5, 0.5, "twelve air temperatures needed", ha="center", transform=axes.transAxes)
        return _bare(axes)
    places = range(len(months))
    axes.bar(
        places,
        [row.need_planned_kWh_per_d for row in months],
        width=0.7,
        color=FAINT,
        alpha=0.45,
        label="need, planned diet",
    )
    ways = (("today", look_of(1).colour, "--"), ("planned", look_of(0).colour, "-"))
    for name, colour, style in ways:
        span: Span | None = getattr(months[0], f"useful_gas_{name}_kWh_per_d")
        if span is not None:
            axes.axhspan(span.low, span.high, color=colour, alpha=0.2, lw=0)
            label = f"own gas after the burner, {name}"
            axes.axhline(span.value, color=colour, ls=style, lw=1.8, label=label)
    axes.set_xticks(places, [f"{row.month[:1]}\n{row.air_temperature_C:.0f}" for row in months])
    axes.set_xlabel("Month, mean air temperature [°C]")
    axes.set_ylabel("Heat, estimate [kWh/d]")
    axes.margins(y=0.15)
    axes.legend(frameon=False, loc="upper center", bbox_to_anchor=(0.45, -0.29), ncols=1)
    return _bare(axes)


def _stack(state: TankState, material: str) -> tuple[float, float]:
    """Return where a material's bar starts and how high it is; nothing where it is unknown."""
    below = 0.0
    for row in state.by_material:
        height = 0.0 if row.methane_NL_per_d is None else row.methane_NL_per_d.value
        if row.material == material:
            return below, height
        below += max(0.0, height)
    return below, 0.0


def _draw_total(axes: Axes, place: int, total: Span | None) -> None:
    if total is None:
        axes.annotate("not known", (place, 0), ha="center", va="bottom", color=FAINT)
        return
    reach = [[total.value - total.low], [total.high - total.value]]
    axes.errorbar(place, total.value, yerr=reach, color=INK, capsize=6, lw=1.5)
    axes.annotate(
        f"{total.value:.3g}",
        (place, total.high),
        textcoords="offset points",
        xytext=(0, 3),
        ha="center",
        color=INK,
    )


def _bare(axes: Axes) -> Axes:
    axes.spines[["top", "right"]].set_visible(False)
    return axes
