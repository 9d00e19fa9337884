"""A trial as it was handed in: frozen tables in the project's own fixed units.

Inside the project a quantity has one unit only, told by the end of its name: `_mL`, `_kPa`, `_C`,
`_g`, `_d`, `_cm`, and shares and mass fractions between 0 and 1. Units that people write are
converted once, in `bmp.read`; nothing after it converts.

A number that was not given is `None` in a record and NaN in an array of readings; every step that
takes such an array says what it does with the gaps, and no gap reaches a result.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from itertools import compress
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

FloatArray: TypeAlias = NDArray[np.float64]
IntArray: TypeAlias = NDArray[np.int64]
BoolArray: TypeAlias = NDArray[np.bool_]

# What a trial or a jar can be measured by, and what the readings of it hold.
WAYS_OF_MEASURING: tuple[str, ...] = (
    "volume",
    "methane volume",
    "pressure",
    "mass",
    "net yield",
)


MONTHS: tuple[str, ...] = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


@dataclass(frozen=True)
class Setup:
    """What holds for the whole trial (table `trial`)."""

    title: str
    started: datetime | None = None
    """When the jars were closed."""
    measured: str = "volume"
    """One of `WAYS_OF_MEASURING`; a jar may override it."""
    basis: str = "VS"
    """With `net yield`: what the yield is counted per: `VS`, `TS` or `fresh`."""
    cumulative: bool = False
    """Whether volumes are running totals rather than the gas since the last reading."""
    gas_kept: bool | None = None
    """With `cumulative`: the vessel still holds all gas, so the whole of it feels today's air
    pressure and temperature; otherwise each share was counted as it passed. `None`: kept where a
    water head is read, else passed on."""
    gas_is_wet: bool = True
    gas_temperature_C: float | None = None
    """Temperature at which a volume is read."""
    ambient_kPa: float | None = None
    """Air pressure at the station (never reduced to sea level)."""
    methane_share: float | None = None
    """Assumed CH4 in the dry gas, in the sense of `flush_excluded`."""
    methane_share_half_width: float = 0.0
    """Half the width of the 95 % interval of the assumed share."""
    measured_share_half_width: float | None = None
    """The same of the meter that shares were read with, its error common to all jars; `None`: not
    given."""
    flush_excluded: bool = True
    """Shares are CH4/(CH4 + CO2); otherwise of all dry gas, the flush gas included."""
    flush_gas: Mapping[str, float] = field(default_factory=lambda: {"N2": 1.0})
    """Mole fraction of each gas under the lid at closing."""
    blank: bool = True
    """Whether the inoculum's own gas was measured; without it yields are gross."""
    incubation_temperature_C: float = 37.0
    closing_temperature_C: float | None = None
    """Temperature of the headspace when the jar was closed; `None`: as the incubation."""
    closing_kPa: float | None = None
    """Absolute pressure under the lid when the jar was closed; `None`: the ambient pressure."""
    balance_uncertainty_g: float | None = None
    """Standard uncertainty of one weighing."""
    share_before_absorber: float = 0.60
    """CH4/(CH4 + CO2) of the gas before an absorber, for the headspace balance."""
    share_before_absorber_half_width: float = 0.10
    """Half the width of its 95 % interval; the default is common practice, no source."""
    barrier_liquid: str | None = None
    """What gas is collected over: one of `published_errors.BARRIER_LIQUIDS`; `None`: not told."""
    methane_meter: str | None = None
    """What measured shares were read with, of `published_errors.METHANE_METERS`."""
    altitude_m: float | None = None
    ambient_reduced: bool = False
    """Air pressures were written as reduced to sea level; the reader has brought them back."""
    bucket_L: float = 10.0
    """Volume of the bucket that yields per bucket are counted for."""
    closed_between_readings: bool | None = None
    """Whether jars are shut between readings and vented at them; `None`: as the way of measuring
    has it (pressure and mass: shut, volume: open)."""
    show_units: tuple[str, ...] = ()
    """Units that people want beside the SI ones: of `shown_units.UNITS`."""
    laboratory: str | None = None
    """Where the trial was run, for the report alone, as `operator` and `mixing`."""
    operator: str | None = None
    mixing: str | None = None

    @property
    def gross(self) -> bool:
        """Whether yields still hold the inoculum's own gas, as no blank was measured."""
        return not self.blank and not self.given_net

    @property
    def given_net(self) -> bool:
        """Whether net yields were handed in, so that nothing is corrected or taken off."""
        return self.measured == "net yield"


# Common practice, no source: the spread of methane shares between feeds when nobody measured one.
ASSUMED_SHARE_HALF_WIDTH = 0.05


@dataclass(frozen=True)
class Material:
    """One inoculum, substrate or control (table `materials`). Fractions are 0 to 1."""

    name: str
    role: str
    """`inoculum`, `substrate`, `control` or `weight check` (closed dummy jars for the scale)."""
    TS: float | None = None
    """Dry matter per fresh mass."""
    VS: float | None = None
    """Volatile solids per fresh mass."""
    TS_u: float | None = None
    """Standard uncertainty of `TS`, per fresh mass."""
    VS_u: float | None = None
    """Standard uncertainty of `VS`, per fresh mass."""
    TS_dof: float | None = None
    """Degrees of freedom of `TS_u`, and of `VS_u`: replicates less one; `None`: taken as known."""
    VS_dof: float | None = None
    solids_replicates: float | None = None
    """Crucibles, or other samples, that the typed TS and VS are means of."""
    COD_g_per_gVS: float | None = None
    carbohydrate: float | None = None
    """Share of VS, as `protein` and `lipid`."""
    protein: float | None = None
    lipid: float | None = None
    formula: str | None = None
    carbon: float | None = None
    """Share of TS, as `nitrogen`."""
    nitrogen: float | None = None
    ammonium_N_g_per_kg: float | None = None
    pH: float | None = None
    volatile_acids_g_per_kg: float | None = None
    """Volatile fatty acids as acetic acid, per kg of fresh mass."""
    solids_from: str | None = None
    """Where TS and VS come from when nobody measured them; `None`: measured."""
    methane_share: float | None = None
    """Assumed CH4 in the dry gas of its jars where no reading tells it, in the sense of the trial's
    `flush_excluded`; before the trial's own."""
    methane_share_half_width: float | None = None
    """Half the width of its 95 % interval; `None`: as for a trial's share."""
    bulk_density_kg_per_L: float | None = None
    """Mass of a heaped litre, for yields per bucket."""
    bulk_density_u: float | None = None
    """Standard uncertainty of it [kg/L]."""
    mixture: Mapping[str, float] | None = None
    """Share of each part in the fresh mass, where the material was mixed from others."""
    origin: str | None = None
    """Where it comes from, for the report alone, as `storage` and `pretreatment`."""
    storage: str | None = None
    pretreatment: str | None = None


@dataclass(frozen=True)
class Jar:
    """One jar (table `jars`). A blank holds no sample."""

    name: str
    material: str
    """The substrate's or control's name; the inoculum's own for a blank."""
    role: str
    """`blank`, `control`, `substrate` or `weight check`."""
    inoculum: str
    """Name of the inoculum in it."""
    inoculum_g: float = 0.0
    sample_g: float = 0.0
    water_g: float = 0.0
    headspace_mL: float | None = None
    group: str | None = None
    measured: str = "volume"
    left_out: str | None = None
    """Why the jar is shown but not counted; `None`: it counts."""

    @property
    def counted(self) -> bool:
        """Whether the jar counts; otherwise `left_out` says why not."""
        return self.left_out is None

    @property
    def given_net(self) -> bool:
        """Whether its net yields were handed in, so that nothing is corrected or taken off."""
        return self.measured == "net yield"

    @property
    def series(self) -> str:
        """Name under which jars are averaged: the material, with its group where one is given."""
        return f"{self.material} ({self.group})" if self.group else self.material


@dataclass(frozen=True, eq=False)
class Readings:
    """All readings of a trial as flat arrays of one length, sorted by jar and then by time.

    NaN: not read. `row` is the row of the table that the reading stands in, for messages.
    """

    jar: IntArray
    """Index into the trial's jars."""
    time_d: FloatArray
    """Days since the jars were closed."""
    row: IntArray
    columns: Mapping[str, FloatArray]
    """Numbers by name and unit: see `READING_QUANTITIES`; a column nobody filled is missing."""
    not_vented: BoolArray
    """The jar was left closed at this reading."""
    emptied: BoolArray
    """The counter or vessel was emptied or set to zero after this reading was taken."""
    note: tuple[str, ...]
    taken: tuple[datetime | None, ...] | None = None
    """Clock time of each reading, where dates were given."""
    table: str = "readings"
    """Name of the sheet or file, for messages."""

    def column(self, name: str) -> FloatArray:
        """Return the named column, all NaN where nobody filled it. Shape (readings,)."""
        found = self.columns.get(name)
        return np.full(self.time_d.shape, np.nan) if found is None else found

    def where(self, kept: BoolArray) -> Readings:
        """Return the marked readings."""
        return replace(
            self,
            jar=self.jar[kept],
            time_d=self.time_d[kept],
            row=self.row[kept],
            columns={name: values[kept] for name, values in self.columns.items()},
            not_vented=self.not_vented[kept],
            emptied=self.emptied[kept],
            note=tuple(compress(self.note, kept)),
            taken=None if self.taken is None else tuple(compress(self.taken, kept)),
        )


NOT_MEASURED = "not measured"
"""In a note: the gas of this reading was let go before anyone read it, and counts as none."""


def says_not_measured(note: str) -> bool:
    """Tell whether a note says that the gas of its reading was not measured."""
    return NOT_MEASURED in note.lower()


READING_QUANTITIES: tuple[str, ...] = (
    "volume_mL",
    "water_head_cm",
    "gauge_before_kPa",
    "gauge_after_kPa",
    "absolute_before_kPa",
    "absolute_after_kPa",
    "mass_g",
    "mass_before_g",
    "mass_after_g",
    "net_yield_mL_per_g",
    "temperature_C",
    "ambient_kPa",
    "methane_share",
    "syringe_gas_mL",
    "syringe_gas_left_mL",
)


@dataclass(frozen=True, eq=False)
class Trial:
    """Everything that was handed in, with what the reader assumed and what it did not use."""

    setup: Setup
    materials: tuple[Material, ...]
    jars: tuple[Jar, ...]
    readings: Readings
    assumed: tuple[str, ...] = ()
    """Plain sentences: what was not given and is taken for granted."""
    ignored: tuple[str, ...] = ()
    """Plain sentences: what was in the files and is not used."""
    unread: Readings | None = None
    """Rows that hold a jar and a time and nothing else yet, later than the jar's last reading: a
    logbook's readings still to take."""
    tank: Mapping[str, float | str] | None = None
    """Items of the table `tank` by name with unit (`liquid_volume_L`), where there is one."""
    tank_feeds: tuple[Mapping[str, float | str], ...] = ()

    def material(self, name: str) -> Material:
        """Return the material of that name; KeyError where there is none."""
        for material in self.materials:
            if material.name == name:
                return material
        raise KeyError(name)


def no_gas_read(trial: Trial) -> bool:
    """Tell whether every reading of every jar is nought, whatever a correction makes of it."""
    columns = trial.readings.columns
    told = [
        columns[name][np.isfinite(columns[name])]
        for name in (
            "volume_mL", "gauge_before_kPa", "absolute_before_kPa", "mass_before_g", "mass_g",
            "net_yield_mL_per_g",
        )
        if name in columns
    ]  # fmt: skip
    values = np.concatenate(told) if told else np.zeros(0)
    return bool(values.size and not values.any())
