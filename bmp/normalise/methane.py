"""From each jar's gas and its methane share to methane, by the trial's composition basis."""

from __future__ import annotations

import numpy as np

from bmp.normalise.flow import Flow
from bmp.runs import previous
from bmp.trial import FloatArray, IntArray


def methane_flush_excluded(share: FloatArray, produced_NmL: FloatArray) -> FloatArray:
    """Return the methane of each reading's gas where shares are CH4/(CH4 + CO2) [NmL].

    Method 1 of Standard BMP Methods 201 and 202: the share of the reading times the gas formed
    since the one before. (The mean of the interval's two shares would undercount a rising share
    more: gas that stayed under the lid grew richer as well.)
    """
    return share * produced_NmL


def methane_as_measured(share: FloatArray, flow: Flow, run: IntArray, closed: bool) -> FloatArray:
    """Return the methane of each interval where shares are of all dry gas [NmL].

    A jar shut between readings vents gas of the reading's share: Method 2 of Standard BMP Methods
    201 and 202, what left and what is under the lid now less what was there before. From an open
    jar gas of a changing share has left all the while, see `methane_of_open_jar`. Without the
    headspace only what left is counted.
    """
    known = ~np.isnan(flow.under_lid)
    held = np.where(known, flow.under_lid, 0.0)
    share_before = previous(share, run, np.zeros_like(share))
    held_before = previous(held, run, np.where(known, flow.at_closing, 0.0))
    if closed:
        return share * (flow.vented + held) - share_before * held_before
    mean_held = np.where(known, 0.5 * (held + held_before), np.inf)
    balanced = methane_of_open_jar(share, share_before, flow.produced, mean_held)
    return np.where(known, balanced, share * flow.vented)


def methane_of_open_jar(
    share: FloatArray, share_before: FloatArray, produced_NmL: FloatArray, held_NmL: FloatArray
) -> FloatArray:
    """Return the methane that formed in an interval in a well-mixed jar that is open [NmL].

    With P the gas formed, H the gas under the lid, and new gas of one share during the interval,
    the share under the lid nears that of the new gas as exp(-P/H), so the methane formed is
    x0 P + (x1 - x0) H a/(1 - exp(-a)), a = P/H. Own derivation from mass balance; for little gas it
    is the mean of the two shares times P and the change under the lid.
    """
    swept = np.clip(produced_NmL / held_NmL, -0.5, 700.0)
    small = np.abs(swept) < 1e-6
    growth = np.where(small, 1.0 + swept / 2.0, swept / -np.expm1(-np.where(small, 1.0, swept)))
    held = np.where(np.isfinite(held_NmL), held_NmL, 0.0)
    return share_before * produced_NmL + (share - share_before) * held * growth
