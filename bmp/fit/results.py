"""What a fit hands on: plain frozen records, one for a jar, a model, a material."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from bmp.estimate import Estimate
from bmp.fit.models import MODELS
from bmp.trial import FloatArray


@dataclass(frozen=True)
class JarFit:
    """One model fitted to the curve of one jar."""

    parameters: Mapping[str, Estimate]
    """Named as in the model; intervals are `within the jar only`."""
    curve: Mapping[str, float] | None
    """The numbers that draw the line, determined or not; `None` where nothing could be fitted."""
    rmse: float | None
    """Root mean square residual, unit of the curve."""
    r2: float | None
    durbin_watson: float | None
    """About 2: errors of neighbouring readings are independent; well below: they add up."""
    identified: bool
    """Whether the readings determine level and rate; a lag may still be too short to measure."""

    def to_dict(self) -> dict[str, Any]:
        """Return the plain dictionary that `results.json` holds under `jars`, `fits`."""
        return {
            **{name: estimate.to_dict() for name, estimate in self.parameters.items()},
            "rmse": self.rmse,
            "r2": self.r2,
            "durbin_watson": self.durbin_watson,
            "identified": self.identified,
        }


@dataclass(frozen=True)
class ModelFit:
    """One model fitted to a material: one curve through all its jars, and each jar by itself."""

    model: str
    parameters: Mapping[str, Estimate]
    """Value: the curve through all jars. Interval: between jars from three jars on."""
    curve: Mapping[str, float] | None
    """The numbers that draw the line, determined or not; not a result."""
    rmse: float | None
    """Root mean square residual of all jars' readings about that curve, unit of the curve."""
    r2: float | None
    aicc: float | None
    """Summed over the jars' own fits, from the effective number of readings; `None`: too few."""
    durbin_watson: float | None
    """Median over the jars' own fits."""
    identified: bool
    jars: tuple[JarFit, ...]
    """In the order in which the jars were handed in."""
    blank_moves: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    """How far each blank moves the mean of each parameter over jars, by its name."""

    def to_dict(self) -> dict[str, Any]:
        """Return the plain dictionary that `results.json` holds under `materials`, `fits`."""
        return {
            **{name: estimate.to_dict() for name, estimate in self.parameters.items()},
            "rmse": self.rmse,
            "r2": self.r2,
            "aicc": self.aicc,
            "durbin_watson": self.durbin_watson,
            "identified": self.identified,
        }


@dataclass(frozen=True)
class Choice:
    """Which model serves a material, and how sure that is."""

    model: str | None
    """`None`: nothing could be fitted, or nothing follows the curve."""
    evidence_ratio: float | None
    """How many times better supported the chosen model is than the next; `None`: it is shown
    because it has fewer parameters, not because it fits better."""
    effective_readings: float | None
    """Number of independent readings a jar that its correlated errors leave (mean over jars)."""
    words: str
    """One or two plain sentences."""
    noise: str
    """What the Durbin-Watson figure says about the readings' errors, one plain sentence."""


@dataclass(frozen=True)
class Forecast:
    """What the readings to date say about the end of the trial."""

    final_yield: Estimate
    """Yield on the day when the stop rule will be met."""
    stop_day_d: Estimate
    """First day on which the stop rule will be met in every jar of the material."""
    words: str


@dataclass(frozen=True)
class MaterialFits:
    """All that the kinetics of one material say."""

    models: Mapping[str, ModelFit]
    """Every model of `bmp.fit.models.MODELS`, by name."""
    choice: Choice
    t50_d: Estimate
    """Time to half of the yield measured at the end, read off the jars' own curves."""
    t90_d: Estimate
    peak_rate: Estimate
    """Highest daily rate of the chosen model, unit of the curve per day."""
    peak_d: Estimate
    """Day of it."""
    forecast: Forecast | None
    """`None` once the stop rule has been met."""
    t90_by_jar: tuple[float | None, ...] = ()
    """Day of 90 % of each jar's own last value; `None`: it ended without net gas."""
    t90_blank_moves: tuple[float, ...] = ()
    """How far each blank moves the mean of these days."""


def fitted_curve(model: str, curve: Mapping[str, float] | None, time_d: FloatArray) -> FloatArray:
    """Return the line of a fit for drawing or for residuals.

    Parameters
    ----------
    model
        Name of the model.
    curve
        `ModelFit.curve` or `JarFit.curve`.
    time_d
        Shape (times,).

    Returns
    -------
    numpy.ndarray
        Yield, shape (times,); empty where there is no curve.
    """
    if curve is None:
        return np.empty(0)
    form = MODELS[model]
    named = np.array([[curve[name] for name in form.names]])
    line: FloatArray = form.value(time_d, named)[0]
    return line
