"""The simulator's vapour pressure against the general package iapws (IAPWS-97 region 4)."""

import numpy as np
from iapws import IAPWS97

from tests import simulate as sim


def test_saturation_pressure_agrees_with_a_general_package():
    T = np.array([5.0, 20.0, 37.0, 55.0, 70.0])
    other = np.array([IAPWS97(T=t + 273.15, x=0).P * 1000 for t in T])
    np.testing.assert_allclose(sim.iapws_saturation_kPa(T), other, rtol=3e-4)
    np.testing.assert_allclose(sim.magnus_saturation_kPa(T), other, rtol=1.5e-2)
