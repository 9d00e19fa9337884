"""Free ammonia from total ammonia, pH and temperature.

References
----------
.. [1] Emerson K., Russo R.C., Lund R.E., Thurston R.V. (1975) Aqueous ammonia equilibrium
   calculations: effect of pH and temperature, J. Fish. Res. Board Can. 32:2379-2383.
"""

from __future__ import annotations

from typing import Final

from bmp.constants import ZERO_CELSIUS_K

# Two constants are in print. 2729.92 gives pKa 9.246 at 25 °C, as handbooks (9.25) and a
# geochemical equilibrium code have it; 2727.92 gives 9.240 and is a slip of transcription.
EMERSON_INTERCEPT: Final = 0.09018
EMERSON_SLOPE_K: Final = 2729.92
EMERSON_VALID_C: Final = (0.0, 50.0)


def ammonia_pKa(temperature_C: float) -> float:
    """Return pKa of ammonium in dilute water, 0.09018 + 2729.92/T (Emerson et al. 1975)."""
    return EMERSON_INTERCEPT + EMERSON_SLOPE_K / (temperature_C + ZERO_CELSIUS_K)


def free_ammonia_share(pH: float, temperature_C: float) -> float:
    """Return NH3/(NH3 + NH4+), 1/(1 + 10^(pKa - pH)).

    Valid from 0 to 50 °C in dilute water. The salt of a tank keeps more of it as ammonium, so
    the figure errs on the cautious side.
    """
    return float(1.0 / (1.0 + 10.0 ** (ammonia_pKa(temperature_C) - pH)))


def free_ammonia_N(total_N_mg_per_L: float, pH: float, temperature_C: float) -> float:
    """Return free ammonia, mg N/L, from total ammonia N, mg/L."""
    return total_N_mg_per_L * free_ammonia_share(pH, temperature_C)
