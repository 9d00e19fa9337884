"""From the jars to the main tank: gas, mixture, start, heat, storage and a verdict.

Everything here is an estimate. `tank_from_tables` is the way in from a trial; `carry_to_tank` takes
the frozen inputs of `bmp.tank.inputs`.
"""

from bmp.tank.carry import carry_to_tank
from bmp.tank.inputs import FeedYield, TankFeed, TankSetup
from bmp.tank.result import TankResult
from bmp.tank.tables import tank_from_tables

__all__ = [
    "FeedYield",
    "TankFeed",
    "TankResult",
    "TankSetup",
    "carry_to_tank",
    "tank_from_tables",
]
