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


def vented_share(
    share: FloatArray, share_before: FloatArray, vented_NmL: FloatArray, under_lid_NmL: FloatArray
) -> FloatArray:
    """Return the mean share of the gas that left an open jar during an interval.

    The headspace is well mixed and the gas that forms keeps its share during the interval, so the
    share under the lid nears that of the new gas exponentially with N/H (own derivation from mass
    balance). Little gas: the mean of the ends; much gas: the share of the new gas.
    """
    swept = np.clip(vented_NmL / under_lid_NmL, 1e-9, 700.0)
    change = share - share_before
    new_gas = share_before - change / np.expm1(-swept)
    near_mean = 0.5 * (share + share_before) + change * swept / 12.0
    return np.where(swept < 1e-4, near_mean, new_gas - change / swept)


def methane_as_measured(share: FloatArray, flow: Flow, run: IntArray, closed: bool) -> FloatArray:
    """Return the methane of each interval where shares are of all dry gas [NmL].

    Method 2 of Standard BMP Methods 201 and 202: what left, and what is under the lid now less
    what was there before. A jar shut between readings vents gas of the reading's share, as those
    documents take it; from an open one gas has left all the while, see `vented_share`. Without the
    headspace only what left is counted.
    """
    none = np.zeros_like(share)
    before = previous(share, run, none)
    known = ~np.isnan(flow.under_lid)
    open_share = vented_share(share, before, flow.vented, np.where(known, flow.under_lid, 1.0))
    left = np.where(known & (not closed), open_share, share) * flow.vented
    held = np.where(known, share * flow.under_lid, 0.0)
    return left + held - previous(held, run, none)
