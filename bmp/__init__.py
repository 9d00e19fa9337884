"""Read a batch methane potential test, judge it, and carry it to the tank.

The work goes one way, a folder or file a step: `read` the tables, `normalise` gas to dry gas at
0 °C and 101.325 kPa, take the inoculum's blank off (`net`), `fit` kinetics, `judge` the trial,
`compare` feeds, carry them to the `tank`, and `report`. `analyze` is where the steps meet.

For Python and notebooks the functions in `__all__` do it all, a call each:

    import bmp

    dairy = bmp.analyze("examples/cheese_dairy")
    dairy.yields       # pandas data frames
    dairy.plot_net()   # matplotlib axes
"""

from __future__ import annotations

import sys
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bmp.interface import analyze, archive, check, compare, plan, read, tank, trial

__version__ = "0.1.0"
__all__ = ["analyze", "archive", "check", "compare", "plan", "read", "tank", "trial"]


class _Package(ModuleType):
    """The package itself: steps share their names with the functions that do them.

    `bmp.analyze` is always the function, also after the module of that name was imported; the
    module is reached by `from bmp.analyze import …`.
    """

    def __getattr__(self, name: str) -> Any:
        if name in __all__:
            from bmp import interface

            return getattr(interface, name)
        raise AttributeError(f"module 'bmp' has no attribute {name!r}")

    def __setattr__(self, name: str, value: Any) -> None:
        if name in __all__ and isinstance(value, ModuleType):
            return
        super().__setattr__(name, value)

    def __dir__(self) -> list[str]:
        return sorted({*super().__dir__(), *__all__})


sys.modules[__name__].__class__ = _Package
