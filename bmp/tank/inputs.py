"""What is known of the main tank, its feeds, and the curves that the jars gave."""

from __future__ import annotations

from dataclasses import dataclass

from bmp.trial import FloatArray, Material
from bmp.wall import Layer

MIXING: tuple[str, ...] = ("well mixed", "plug flow")

WATER = Material(name="water", role="water", TS=0.0, VS=0.0)


@dataclass(frozen=True)
class TankSetup:
    """The tank as it stands (table `tank`). What was not given is None."""

    liquid_volume_L: float
    temperature_C: float
    mixing: str = "well mixed"
    """One of `MIXING`."""
    retention_d: float | None = None
    """Of today's feeding; None: liquid volume over the daily amounts at 1 kg/L."""
    pH: float | None = None
    total_ammonia_N_mg_per_L: float | None = None
    """Measured in the tank today."""
    alkalinity_g_per_L: float | None = None
    """As CaCO3, measured in the tank today."""
    volatile_acids_g_per_L: float | None = None
    """As acetic acid, measured in the tank today."""
    heating: str | None = None
    """`heated` or `unheated`; None: told from the temperatures."""
    methane_share: float | None = None
    """CH4/(CH4 + CO2) of today's gas."""
    air_temperature_C: float | None = None
    air_temperatures_by_month_C: tuple[float, ...] | None = None
    """Twelve means, January first."""
    feed_temperature_C: float | None = None
    """None: as the air, never below 0 °C."""
    surface_m2: float | None = None
    U_W_per_m2_K: float | None = None
    diameter_m: float | None = None
    height_m: float | None = None
    layers: tuple[Layer, ...] = ()
    sheltered: bool = False
    """Still air around the wall rather than wind."""
    heater_use_kWh_per_d: float | None = None
    """Measured, while the tank was held at its temperature on today's feed."""
    heater_air_temperature_C: float | None = None
    """Air while the heater was measured; None: `air_temperature_C`."""
    burner_efficiency: float | None = None
    """Share of the burner's heat that reaches the tank, 0 to 1."""
    storage_volume_L: float | None = None
    ambient_kPa: float | None = None
    gas_use: str | None = None
    """A name of `bmp.tank.gas_use.GAS_USES`; anything else is shown as it stands."""

    @property
    def mean_air_C(self) -> float | None:
        """Return the air temperature, as given or the mean of the twelve months."""
        if self.air_temperature_C is None and self.air_temperatures_by_month_C:
            return sum(self.air_temperatures_by_month_C) / 12
        return self.air_temperature_C


@dataclass(frozen=True)
class TankFeed:
    """One row of the table `tank feeds`."""

    material: Material
    amount_today_kg_per_d: float
    amount_planned_kg_per_d: float


@dataclass(frozen=True)
class Grounds:
    """How far one feed's yield carries a tank, as the trial was judged."""

    refused: str = ""
    """Why no tank can be planned with it; empty: one can."""
    finished: bool = True
    """The jars had met the stop rule; otherwise the yield is a lower bound."""
    low_times: float = 1.0
    """What the lower end of the span is multiplied by, for a doubt that the jars do not show."""
    high_times: float = 1.0
    words: tuple[str, ...] = ()
    """What a reader must know of it before the gas figure, whole sentences."""


SOUND = Grounds()


@dataclass(frozen=True, eq=False)
class FeedYield:
    """A material's mean net methane curve from the jars."""

    material: str
    time_d: FloatArray
    """Rising, days since the jars were closed. Shape (times,)."""
    net_NmL_per_g: FloatArray
    """Net methane per gram of `basis` at each time. Shape (times,)."""
    basis: str = "VS"
    """`VS`, `TS` or `fresh`."""
    final_ci95_NmL_per_g: tuple[float, float] | None = None
    """95 % interval of the last value of the curve."""
    methane_share: float | None = None
    """CH4/(CH4 + CO2) of this material's gas."""
    jar_temperature_C: float = 37.0
    model_time_d: FloatArray | None = None
    """Times at which the chosen model is sampled, well beyond the end of the trial."""
    model_net_NmL_per_g: FloatArray | None = None
    """The chosen model there. Shape as `model_time_d`."""
    model_name: str = ""
    grounds: Grounds = SOUND
