"""Methane read behind an absorber: flush gas that passes it, methane that stays under the lid."""

from __future__ import annotations

import numpy as np

from bmp.normalise.flow import Flow
from bmp.runs import previous, total
from bmp.trial import FloatArray, IntArray


def absorbed_methane_NmL(flow: Flow, share: float, passing: float, run: IntArray) -> FloatArray:
    """Return the methane formed so far, from gas read behind an absorber of CO2.

    Parameters
    ----------
    flow : Flow
        `vented` is what was read behind the absorber.
    share
        CH4/(CH4 + CO2) of the gas that forms.
    passing
        Part of the flush gas that the absorber lets through (all but its CO2).

    Returns
    -------
    ndarray, shape (readings,)
        Cumulative [NmL]; the plain volume where the headspace is unknown.

    Notes
    -----
    A well-mixed headspace holds H0 of gas at closing and H now. The flush gas's share of it thins
    out with the gas P that forms, so F = H exp(-P/H) of it are left; N = P + H0 - H has left the
    jar. Read behind the absorber: R = x (N - (H0 - F)) + s (H0 - F). That is solved for P by
    Newton's method (R grows with P); methane formed: x P. Own derivation from mass balance;
    Strömberg, Nistor & Liu 2014, Waste Manag. 34:1939 (from memory) report the size of the error
    that is mended by it.
    """
    read = total(flow.vented, run)
    known = ~np.isnan(flow.at_closing)
    start, held = (np.where(known, gas, 1.0) for gas in (flow.at_closing, flow.under_lid))
    # each interval's gas mixed with the headspace of its time; the mean of these over all gas so
    # far is found by going round
    mixing = mean_held = 0.5 * (held + previous(held, run, start))
    for _ in range(4):
        formed = _gas_formed(read, start, held, mixing, share, passing)
        swept = total((formed - previous(formed, run, np.zeros_like(formed))) / mean_held, run)
        mixing = np.where(swept > 0.0, formed / np.where(swept > 0.0, swept, 1.0), mean_held)
    return np.where(known, share * formed, read)


def _gas_formed(
    read: FloatArray,
    start: FloatArray,
    held: FloatArray,
    mixing: FloatArray,
    share: float,
    passing: float,
) -> FloatArray:
    """Solve R = x (P - H + F) + s (H0 - F), F = H exp(-P/H), for P, all readings at once."""
    formed = np.maximum(read, 0.0) / share
    for _ in range(60):
        flush = held * np.exp(-formed / mixing)
        excess = share * (formed - held + flush) + passing * (start - flush) - read
        slope = share + (passing - share) * flush / mixing
        step = excess / np.maximum(slope, 1e-3)
        formed = np.maximum(formed - step, 0.0)
        if np.max(np.abs(step), initial=0.0) < 1e-10 * (1.0 + np.max(formed, initial=0.0)):
            break
    return formed
