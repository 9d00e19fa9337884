"""The curves of a trial as figures that the browser draws as wide as it is, to be pointed at."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from bmp.report.series_style import look_of
from bmp.results import Results
from bmp.shown_units import wanted
from bmp.trial import FloatArray

DIGITS = 4


def net_charts(results: Results, units: Sequence[str] = ()) -> list[Mapping[str, Any]]:
    """Return one chart a unit of yield: its lines, one a jar, with the looks of the report.

    Parameters
    ----------
    units
        Those that are wanted in place of the SI ones.
    """
    kind = "Methane with the blank's share" if results.gross else "Net methane"
    shown = {one.unit: wanted(one.unit, units) for one in results.yields}
    numbers = {one.series: at for at, one in enumerate(results.yields)}
    return [
        {
            "what": kind,
            "unit": unit if row is None else row.wanted,
            "series": [
                {
                    "name": one.series,
                    "colour": numbers[one.series] % 8,
                    "dashes": " ".join(
                        f"{2 * dash:g}" for dash in look_of(numbers[one.series]).dashes
                    ),
                    "jars": _jars(results, one.series, 1.0 if row is None else row.factor),
                }
                for one in results.yields
                if one.unit == unit
            ],
        }
        for unit, row in shown.items()
    ]


def _jars(results: Results, series: str, factor: float) -> list[Mapping[str, Any]]:
    return [
        {
            "name": jar.name,
            "out": not jar.counted,
            "days": _short(results.curves.of(index)[0]),
            "values": _short(factor * results.curves.of(index)[1]),
        }
        for index, jar in enumerate(results.trial.jars)
        if jar.series == series and np.any(results.curves.jar == index)
    ]


def _short(values: FloatArray) -> list[float]:
    return [float(f"{value:.{DIGITS}g}") for value in values]
