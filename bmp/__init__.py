"""Read a batch methane potential test, judge it, and carry it to the tank.

The work goes one way, a folder or file a step: `read` the tables, `normalise` gas to dry gas at
0 °C and 101.325 kPa, take the inoculum's blank off (`net`), `fit` kinetics, `judge` the trial,
`compare` feeds, carry them to the `tank`, and `report`. `analyze` is where the steps meet.
"""

__version__ = "0.1.0"
