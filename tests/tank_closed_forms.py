"""What a tank gives where a closed form is known."""

from __future__ import annotations


def first_order_tank_yield(B0_NmL_per_g: float, k_per_d: float, retention_d: float) -> float:
    """Return B0 k θ/(1 + k θ), NmL per g: a well-mixed tank and a first-order feed."""
    return B0_NmL_per_g * k_per_d * retention_d / (1.0 + k_per_d * retention_d)
