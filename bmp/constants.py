"""Physical constants, each with its value, unit and source. Nothing here is computed.

A formula lives beside the step that uses it; only bare numbers live here.
"""

from typing import Final

# Reference state of every volume in the results: dry gas, 0 °C, 101.325 kPa.
# VDI 4630; Holliger et al. 2016, Water Sci. Technol. 74(11):2515, doi 10.2166/wst.2016.336.
REFERENCE_TEMPERATURE_K: Final = 273.15
REFERENCE_PRESSURE_KPA: Final = 101.325

ZERO_CELSIUS_K: Final = 273.15

# Molar volumes at the reference state, mL/mol. Ideal: R T0 / p0 (CODATA). Real gas: VDI 4630
# (from memory), agreeing with the densities printed in Standard BMP Methods 203 (0.7174 g/L for
# CH4, 1.977 g/L for CO2).
MOLAR_VOLUME_IDEAL_ML: Final = 22_414.0
MOLAR_VOLUME_CH4_ML: Final = 22_360.0
MOLAR_VOLUME_CO2_ML: Final = 22_260.0

# Molar masses, g/mol: IUPAC standard atomic weights (abridged, 2021).
ATOMIC_MASS: Final = {"C": 12.011, "H": 1.008, "N": 14.007, "O": 15.999, "S": 32.06}
MOLAR_MASS_CH4: Final = 16.043
MOLAR_MASS_CO2: Final = 44.009
MOLAR_MASS_H2O: Final = 18.015

# Gas densities at the reference state, g/mL: Standard BMP Methods 203 v1.1 (2020), 204 (2020).
DENSITY_CH4_G_PER_ML: Final = 0.0007174
DENSITY_CO2_G_PER_ML: Final = 0.001977
DENSITY_N2_G_PER_ML: Final = 0.001250

# Water in the gas tube: 998.2 kg/m³ at 20 °C (from memory, handbook value); g: standard gravity.
WATER_DENSITY_KG_PER_M3: Final = 998.2
STANDARD_GRAVITY_M_PER_S2: Final = 9.80665

# The highest yield that mass balance allows: pure lipid C57H104O6 by Buswell & Boyle, 1014 NmL CH4
# per g VS (Angelidaki & Sanders 2004, Rev. Environ. Sci. Biotechnol. 3:117), rounded up.
HIGHEST_POSSIBLE_YIELD_NML_PER_G_VS: Final = 1015.0

# When a trial may stop: daily methane below 1.0 % of the net methane, over three days. Standard BMP
# Methods, document 100 v1.9 (2021).
STOP_RATE_PERCENT_PER_DAY: Final = 1.0
STOP_SPAN_D: Final = 3.0
