"""What a kinetic model is, and what follows from one: its value, rate and derivatives.

Every model here is B(t) = B0 · f(t; u): the yield enters linearly, and `u` are the remaining
parameters in the coordinates in which the search is well behaved (logarithms of rates). A model
states f, df/dt, df/du and how (B0, u) and the parameters that people quote follow from each
other; the rest is derived here once for all models.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from bmp.fit.curves import Curves
from bmp.trial import FloatArray

Shape = Callable[[FloatArray, FloatArray], tuple[FloatArray, list[FloatArray]]]
Slope = Callable[[FloatArray, FloatArray], FloatArray]
Map = Callable[[FloatArray], FloatArray]
Jacobian = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True, eq=False)
class Starts:
    """Where a search begins and where it may go, in search coordinates.

    Each array has shape (starts, jars, len(u)). Several starts are tried and the best kept.
    """

    u: FloatArray
    low: FloatArray
    high: FloatArray


@dataclass(frozen=True)
class Parameter:
    """One parameter as it is reported."""

    name: str
    unit: str
    """`yield` stands for the unit of the curve, `yield/d` for that per day."""
    meaning: str
    positive: bool = True
    """Whether the model makes sense for values above zero only."""
    at_least: float | None = None
    """Where a search holds the parameter when the data push it beyond."""
    decides: bool = True
    """Whether a model counts as determined only if this is; a lag too short to measure is not."""

    def unit_for(self, yield_unit: str) -> str:
        """Return the unit, given that of the curve (such as `NmL CH4/g VS`)."""
        if self.unit == "yield":
            return yield_unit
        if self.unit != "yield/d":
            return self.unit
        amount, slash, per = yield_unit.partition("/")
        return f"{amount}/({per} d)" if slash else f"{yield_unit}/d"


@dataclass(frozen=True, eq=False)
class Model:
    """One kinetic model. The linear parameter is the first, `B0`, in every model."""

    name: str
    equation: str
    source: str
    parameters: tuple[Parameter, ...]
    shape: Shape
    """`shape(time, u)` gives f and the list of df/du, each of shape (jars, readings)."""
    slope: Slope
    """`slope(time, u)` gives df/dt, shape (jars, readings)."""
    to_named: Map
    """(B0, u) to the named parameters, both of shape (jars, parameters)."""
    to_search: Map
    """Named parameters to (B0, u)."""
    search_jacobian: Jacobian
    """d(B0, u)/d(named), shape (jars, parameters, parameters)."""
    starts: Callable[[Curves], Starts]
    steepest_d: Map
    """Day of the highest rate from the named parameters, never before day 0. Shape (jars,)."""
    smooth: Callable[[FloatArray, FloatArray], tuple[FloatArray, FloatArray]] | None = None
    """Where the sum of squares has kinks: `smooth(time, u)` gives how far down and up each
    coordinate of u may go before the next one, two arrays shaped as u."""
    candidate: bool = False
    """Whether it may be chosen for a material; the others show what the candidates miss."""
    quoted: bool = False
    """Whether it is reported for every material, chosen or not: what people compare and quote."""
    phases: int = 1
    """How many pools of matter it describes."""

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the parameters, `B0` first."""
        return tuple(parameter.name for parameter in self.parameters)

    def value(self, time_d: FloatArray, named: FloatArray) -> FloatArray:
        """Return the yield.

        Parameters
        ----------
        time_d
            Shape (jars, readings), or (readings,) for the same times in every jar.
        named
            Named parameters, shape (jars, parameters).

        Returns
        -------
        numpy.ndarray
            Shape (jars, readings).
        """
        search = self.to_search(named)
        return search[:, :1] * self.shape(np.atleast_2d(time_d), search[:, 1:])[0]

    def rate(self, time_d: FloatArray, named: FloatArray) -> FloatArray:
        """Return dB/dt in yield per day; arguments and shape as in `value`."""
        search = self.to_search(named)
        return search[:, :1] * self.slope(np.atleast_2d(time_d), search[:, 1:])

    def gradient(self, time_d: FloatArray, named: FloatArray) -> FloatArray:
        """Return dB/d(named), shape (jars, readings, parameters); arguments as in `value`."""
        by_search = np.stack(self.search_gradient(time_d, named), axis=2)
        return by_search @ self.search_jacobian(named)

    def search_gradient(self, time_d: FloatArray, named: FloatArray) -> list[FloatArray]:
        """Return dB/d(B0, u), one array of shape (jars, readings) each; arguments as in `value`."""
        search = self.to_search(named)
        f, derivatives = self.shape(np.atleast_2d(time_d), search[:, 1:])
        return [f, *(search[:, :1] * g for g in derivatives)]

    def peak(self, named: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the highest rate [yield/d] and its day, each of shape (jars,)."""
        day = self.steepest_d(named)
        return self.rate(day[:, None], named)[:, 0], day
