"""Invented feeds and trials for the comparison's tests."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from bmp.compare import BASES, AllBases, Feed, TrialBlanks, compare_pair

BLANKS = TrialBlanks((1.15, 1.22, 1.19), "digestate")


def feed(name: str, yields: list[float | None], ratio: float = 60.0, **more: Any) -> Feed:
    """Return a feed of one trial with equal inoculum in every jar."""
    count = len(yields)
    values = {"yield": tuple(yields), **more.pop("values", {})}
    more.setdefault("blanks", BLANKS)
    more.setdefault("VS_relative_u", 0.0)
    return Feed(
        name=name,
        trial=more.pop("trial", "spring"),
        jars=tuple(f"{name} {i + 1}" for i in range(count)),
        values=values,
        inoculum_g_per_g=(ratio,) * count,
        **more,
    )


GOAT = feed(
    "goat bedding",
    [232.0, 241.0, 236.0],
    TS=0.45,
    VS=0.36,
    VS_relative_u=0.01,
    TS_relative_u=0.01,
    bulk_density_kg_per_L=0.30,
    bulk_density_relative_u=0.05,
    values={"lag": (1.2, 1.0, 1.5), "rate constant": (0.12, 0.13, 0.11), "t90": (18.0, None, 17.0)},
)
HORSE = feed(
    "horse manure",
    [200.0, 205.0, 190.0],
    TS=0.28,
    VS=0.22,
    VS_relative_u=0.02,
    TS_relative_u=0.02,
    bulk_density_kg_per_L=0.80,
    bulk_density_relative_u=0.05,
    values={"lag": (2.2, 2.0, 2.9), "rate constant": (0.09, 0.10, 0.11), "t90": (25.0, 27.0, 26.0)},
)
HAY = feed("old hay", [210.0, 250.0, 170.0], TS=0.85, VS=0.80, bulk_density_kg_per_L=0.10)
SCRAPS = feed("kitchen scraps", [388.0], TS=0.20, VS=0.18)


def write_trial(
    folder: Path,
    feeds: dict[str, tuple[float, float, int]],
    seed: int,
    vigour: float = 1.0,
    columns: str = "",
    cells: dict[str, str] | None = None,
) -> Path:
    """Write the tables of a trial read as dry gas at 0 °C and 101.325 kPa, 60 % methane.

    Parameters
    ----------
    folder : Path
        Made here.
    feeds : dict
        Name to (yield NmL/g VS, rate 1/d, jars); VS is 25 % of the fresh mass of each.
    seed : int
    vigour : float
        Factor on all yields of the trial, the control's included.
    columns, cells
        More columns of `materials`, with what stands in them by material.
    """
    rng = np.random.default_rng(seed)
    days = np.array([1, 2, 3, 4, 6, 8, 11, 14, 18, 22, 27, 32, 38], dtype=float)
    folder.mkdir(parents=True)
    jars, readings = [], []
    plan = {"": (0.0, 0.0, 3), "cellulose": (365.0, 0.3, 3), **feeds}
    blank = 1.2 * (1 - np.exp(-0.08 * days))
    for material, (top, rate, count) in plan.items():
        for number in range(count):
            name = f"{material or 'blank'} {number + 1}"
            sample_g = 0.0 if not material else 4.0 if material == "cellulose" else 16.0
            jars.append(f"{name},{material},400,{sample_g:g},500")
            own = vigour * top * 4.0 * (1 + 0.03 * rng.standard_normal())
            inoculum = 400 * blank * (1 + 0.04 * rng.standard_normal())
            total = (own * (1 - np.exp(-rate * days)) + inoculum) / 0.6
            readings += [
                f"{name},{day:g},{volume:.2f}"
                for day, volume in zip(days, np.diff(total, prepend=0.0), strict=True)
            ]
    tables = {
        "trial": "item,value\nreadings are,interval\ngas,dry\ngas temperature [°C],0\n"
        "ambient [kPa],101.325\nmethane [%],60\nmethane uncertainty [%],0\nflush gas,none\n"
        "incubation temperature [°C],37\n",
        "materials": f"material,role,TS [% of fresh mass],VS [% of fresh mass],"
        f"VS uncertainty [% of fresh mass]{columns}\n"
        f"digestate,inoculum,3,2,0.02{_cells('digestate', columns, cells)}\n"
        f"cellulose,control,100,100,0{_cells('cellulose', columns, cells)}\n"
        + "".join(f"{name},substrate,30,25,0.2{_cells(name, columns, cells)}\n" for name in feeds),
        "jars": "jar,material,inoculum [g],sample [g],headspace [mL]\n" + "\n".join(jars) + "\n",
        "readings": "jar,time [d],volume [mL]\n" + "\n".join(readings) + "\n",
    }
    for name, text in tables.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


def _cells(material: str, columns: str, cells: dict[str, str] | None) -> str:
    return "," + (cells or {}).get(material, "," * (columns.count(",") - 1)) if columns else ""


def on_all_bases(a: Feed, b: Feed) -> AllBases:
    """Return one pair on every basis."""
    return AllBases(a, b, tuple(compare_pair(a, b, "yield", basis) for basis in BASES))
