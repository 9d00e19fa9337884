"""Make the readings of `cheese_dairy/`: an invented trial of an invented dairy.

A small cheese dairy keeps goats. Bedding from the shed goes into a 1,000 litre tank, and the dairy
wonders about its whey and about spent grain from a brewer down the road. Fifteen one-litre jars
stand in a warm box; the gas pushes water out of a bottle, which is weighed or measured, and the
volume is written down with the room's temperature and the air pressure.

All figures are invented. Run `python examples/make_cheese_dairy.py` to write the tables again;
the random numbers are seeded, so they come out the same.
"""

from __future__ import annotations

import csv
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

PLACE = Path(__file__).parent / "cheese_dairy"
STARTED = datetime(2027, 3, 1, 10, 0)
DAYS = np.array([*range(1, 15), *range(16, 29, 2), *range(31, 46, 2)], dtype=float)
INOCULUM_G, INOCULUM_VS, HEADSPACE_ML = 400.0, 0.019, 520.0
INCUBATION_C = 38.0

# material: VS of fresh mass, grams a jar, yield NmL/g VS, rate 1/d, lag d, methane share
FEEDS = {
    "cellulose": (0.955, 4.0, 372.0, 0.30, 1.0, 0.52),
    "goat bedding": (0.262, 14.5, 236.0, 0.085, 0.2, 0.56),
    "whey": (0.055, 69.0, 405.0, 0.42, 2.6, 0.54),
    "spent grain": (0.207, 18.5, 338.0, 0.15, 0.5, 0.57),
}

MATERIALS = """\
material,role,TS [% of fresh mass],VS [% of fresh mass],TS uncertainty [% of fresh mass],VS uncertainty [% of fresh mass],carbohydrate [% of VS],protein [% of VS],lipid [% of VS],carbon [% of TS],nitrogen [% of TS],ammonium N [g/kg],bulk density [kg/L]
tank digestate,inoculum,2.9,1.9,0.03,0.02,,,,,,1.1,1.0
cellulose,control,96.2,95.5,0.2,0.3,100,,,,,,
goat bedding,substrate,31.5,26.2,0.3,0.3,66,13,3,42,1.9,1.2,0.35
whey,substrate,6.1,5.5,0.03,0.03,78,13,2,41,1.9,0.1,1.02
spent grain,substrate,21.8,20.7,0.2,0.2,63,25,8,48,4.0,0.1,0.45
"""

TRIAL = f"""\
item,value
title,"Cheese dairy: may whey and spent grain join the goat bedding? (invented readings)"
started,{STARTED.isoformat()}
measured,volume
readings are,interval
gas,wet
composition basis,flush gas excluded
flush gas,nitrogen
incubation temperature [°C],{INCUBATION_C:g}
"""

TANK = """\
item,value
liquid volume [L],1000
temperature [°C],36
mixing,well mixed
retention [d],40
pH,7.6
air temperature [°C],9
surface [m^2],6.2
U [W/m^2/K],0.7
burner efficiency [%],55
storage volume [L],800
"""

TANK_FEEDS = """\
material,amount today [kg/d],amount planned [kg/d]
goat bedding,5.0,4.0
whey,0,6.0
spent grain,0,2.0
water,20.0,13.0
"""


def saturation_kPa(warmth_C: np.ndarray | float) -> np.ndarray:
    """Vapour over water, Magnus form."""
    return 0.61094 * np.exp(17.625 * np.asarray(warmth_C) / (243.04 + np.asarray(warmth_C)))


def weather(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Room temperature and air pressure at the readings."""
    room = 19.5 + 1.5 * np.sin(DAYS / 5.0) + rng.normal(0.0, 0.6, DAYS.size)
    air = 97.6 + 0.7 * np.sin(DAYS / 7.0 + 1.0) + rng.normal(0.0, 0.25, DAYS.size)
    return np.round(room, 1), np.round(air, 1)


def methane_and_share(name: str, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Methane in each interval [NmL], and the methane share of the gas."""
    times = np.concatenate([[0.0], DAYS])
    own = INOCULUM_G * INOCULUM_VS * 34.0 * (1.0 - np.exp(-0.055 * times)) * rng.normal(1.0, 0.025)
    extra = np.zeros_like(times)
    share = 0.62
    if name:
        solids, grams, yielded, rate, lag, share = FEEDS[name]
        yielded *= rng.normal(1.0, 0.022)
        rate *= rng.normal(1.0, 0.045)
        lag *= rng.normal(1.0, 0.12)
        shape = 1.0 - np.exp(-rate * np.maximum(times - lag, 0.0))
        extra = grams * solids * yielded * shape
    methane = np.diff(own + extra)
    mixed = np.diff(own) / 0.62 + np.diff(extra) / share
    # the first gas is poor in methane while the sour phase runs ahead
    young = 1.0 - 0.18 * np.exp(-DAYS / 2.5)
    return methane, methane / mixed * young


def readings(rng: np.random.Generator) -> list[list[str]]:
    """All rows of readings.csv."""
    room, air = weather(rng)
    under_lid = HEADSPACE_ML * (air - saturation_kPa(INCUBATION_C)) / 101.325 * 273.15
    under_lid = under_lid / (273.15 + INCUBATION_C)
    swell = np.diff(under_lid, prepend=under_lid[0])
    rows = []
    for number, (jar, name) in enumerate(jar_names()):
        methane, share = methane_and_share(name, rng)
        gas = methane / share - swell
        factor = (air - saturation_kPa(room)) / 101.325 * 273.15 / (273.15 + room)
        volume = gas / factor * rng.normal(1.0, 0.008, DAYS.size) + rng.normal(0.0, 1.0, DAYS.size)
        for at, day in enumerate(DAYS):
            minutes = int(rng.integers(-25, 26)) + 2 * number
            taken = STARTED + timedelta(days=float(day), minutes=minutes)
            measured = day in (1, 2, 3, 5, 7, 10, 14, 20, 28, 37, 45)
            percent = f"{100 * share[at] * rng.normal(1.0, 0.008):.1f}" if measured else ""
            rows.append(
                [
                    jar,
                    taken.isoformat(timespec="minutes"),
                    f"{max(volume[at], 0.0):.0f}",
                    f"{room[at]:.1f}",
                    f"{air[at]:.1f}",
                    percent,
                ]
            )
    return rows


def jar_names() -> list[tuple[str, str]]:
    """Jar and material, blanks first."""
    letters = {"": "N", "cellulose": "C", "goat bedding": "G", "whey": "W", "spent grain": "S"}
    return [(f"{letter}{n}", name) for name, letter in letters.items() for n in (1, 2, 3)]


def main() -> None:
    """Write the tables."""
    rng = np.random.default_rng(20270302)
    PLACE.mkdir(exist_ok=True)
    texts = {"trial": TRIAL, "materials": MATERIALS, "tank": TANK, "tank feeds": TANK_FEEDS}
    for name, text in texts.items():
        (PLACE / f"{name}.csv").write_text(text, encoding="utf-8")
    jars = [["jar", "material", "inoculum [g]", "sample [g]", "headspace [mL]"]]
    for jar, name in jar_names():
        grams = f"{FEEDS[name][1] * rng.normal(1.0, 0.004):.2f}" if name else ""
        jars.append([jar, name, f"{rng.normal(INOCULUM_G, 0.6):.1f}", grams, f"{HEADSPACE_ML:g}"])
    head = ["jar", "taken", "volume [mL]", "temperature [°C]", "ambient [kPa]", "methane [%]"]
    for name, rows in {"jars": jars, "readings": [head, *readings(rng)]}.items():
        with (PLACE / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            csv.writer(file, lineterminator="\n").writerows(rows)


if __name__ == "__main__":
    main()
