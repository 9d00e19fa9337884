"""Times read off the jars' own curves: to half and to 90 % of the yield measured at the end."""

from __future__ import annotations

import numpy as np

from bmp.fit.curves import Curves, crossing
from bmp.trial import FloatArray


def time_to_share(curves: Curves, share: float) -> FloatArray:
    """Return when each jar first reached a share of its last reading, linear between readings.

    Parameters
    ----------
    curves
        The jars.
    share
        Between 0 and 1.

    Returns
    -------
    numpy.ndarray
        Days, shape (jars,); NaN for a jar whose last reading is not above zero.
    """
    last = curves.value[:, -1]
    return np.where(last > 0, crossing(curves, share * np.maximum(last, 1e-300)), np.nan)
