"""The second step: every jar's readings become methane, dry, at 0 °C and 101.325 kPa."""

from bmp.normalise.jars import JarGas, normalise
from bmp.normalise.state import CORRECTIONS

__all__ = ["CORRECTIONS", "JarGas", "normalise"]
