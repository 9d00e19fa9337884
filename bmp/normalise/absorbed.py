"""Methane read behind an absorber: flush gas that passes it, methane that stays under the lid."""

from __future__ import annotations

import numpy as np

from bmp.normalise.flow import Flow
from bmp.normalise.state import GasState
from bmp.runs import total
from bmp.trial import FloatArray


def absorbed_methane_NmL(
    flow: Flow, state: GasState, share: float, passing: float, run: np.ndarray
) -> FloatArray:
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
    A well-mixed headspace of H = H0 mL whose flush gas thins out as F = H0 exp(-N/H0), N the gas
    that left the jar. Read behind the absorber: R = x (N - (H0 - F)) + s (H0 - F). That is solved
    for N by Newton's method (R grows with N); methane formed: x (N + H_now - H0). Own derivation
    from mass balance; Strömberg, Nistor & Liu 2014, Waste Manag. 34:1939 (from memory) report the
    size of the error that is mended by it.
    """
    read = total(flow.vented, run)
    start = state.at_closing_NmL
    known = ~np.isnan(start)
    held = np.where(known, start, 1.0)
    gone = _gas_gone(read, held, share, passing)
    methane = share * (gone + flow.under_lid - start)
    return np.where(known, methane, read)


def _gas_gone(read: FloatArray, held: FloatArray, share: float, passing: float) -> FloatArray:
    """Solve R = x N + (s - x) H0 (1 - exp(-N/H0)) for N ≥ 0, all readings at once."""
    gone = np.maximum(read, 0.0) / share
    for _ in range(60):
        thinning = np.exp(-gone / held)
        excess = share * gone + (passing - share) * held * (1.0 - thinning) - read
        slope = share + (passing - share) * thinning
        step = excess / np.maximum(slope, 1e-3)
        gone = np.maximum(gone - step, 0.0)
        if np.max(np.abs(step), initial=0.0) < 1e-10 * (1.0 + np.max(gone, initial=0.0)):
            break
    return gone
