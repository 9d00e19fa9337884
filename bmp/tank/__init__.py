"""From the jars to the main tank: gas, mixture, start, heat, storage and a verdict.

Everything here is an estimate. `tank_from_tables` is the way in from a trial; `carry_to_tank` takes
the frozen inputs of `bmp.tank.inputs`.
"""

from bmp.tank.from_tables import tank_from_tables
from bmp.tank.inputs import FeedYield, TankFeed, TankSetup
from bmp.tank.jars_to_tank import carry_to_tank
from bmp.tank.result import TankResult

__all__ = [
    "FeedYield",
    "TankFeed",
    "TankResult",
    "TankSetup",
    "carry_to_tank",
    "tank_from_tables",
]
