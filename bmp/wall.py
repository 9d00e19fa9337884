"""A wall of layers: how it is written down, and how much heat it lets through."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from math import log, pi
from typing import Final

# Resistance of the air film outside, m² K/W: ISO 6946, in still air (horizontal flow) and in wind.
# A liquid inside adds next to nothing, so it is left out (cautious).
STILL_AIR_RESISTANCE: Final = 0.13
WIND_RESISTANCE: Final = 0.04

# Conductivity, W/(m K): common handbook values, dry; wet insulation is worse.
CONDUCTIVITY_W_PER_M_K: Final = {
    "steel": 50.0,
    "plastic": 0.4,
    "glass fibre": 0.04,
    "mineral wool": 0.04,
    "polyurethane foam": 0.028,
    "polystyrene": 0.036,
    "straw": 0.07,
    "sawdust": 0.08,
    "wood": 0.14,
    "brick": 0.7,
    "concrete": 1.7,
    "dry soil": 1.0,
}

_LAYER: Final = re.compile(
    r"(?P<name>[a-z ]*?)\s*(?P<mm>\d+(?:\.\d+)?)\s*mm(?:\s+(?P<k>\d+(?:\.\d+)?))?"
)


@dataclass(frozen=True)
class Layer:
    """One layer of a wall, from the inside out."""

    thickness_m: float
    conductivity_W_per_m_K: float


def parse_layers(text: str) -> tuple[Layer, ...]:
    """Return the layers of a wall written like `plastic 3 mm; polystyrene 50 mm; 40 mm 0.035`.

    A layer is its material and thickness, or its thickness and conductivity in W/(m K).

    Raises
    ------
    ValueError
        For a layer that cannot be read; the message says how to write one.
    """
    return tuple(_layer(part.strip()) for part in text.lower().split(";") if part.strip())


def _layer(part: str) -> Layer:
    match = _LAYER.fullmatch(part)
    if match is not None:
        given, name = match["k"], match["name"].strip()
        conductivity = float(given) if given else CONDUCTIVITY_W_PER_M_K.get(name, 0.0)
        thickness_m = float(match["mm"]) / 1000
        if conductivity > 0 and thickness_m > 0:
            return Layer(thickness_m, conductivity)
    raise ValueError(
        "write material and thickness like “polystyrene 50 mm” (known: "
        f"{', '.join(CONDUCTIVITY_W_PER_M_K)}), or its W/(m K) like “50 mm 0.036”"
    )


def wall_U(layers: Sequence[Layer], outside_resistance_m2_K_per_W: float) -> float:
    """Return U of a flat wall from its layers and the outside air film, W/(m² K)."""
    resistance = sum(layer.thickness_m / layer.conductivity_W_per_m_K for layer in layers)
    return 1.0 / (resistance + outside_resistance_m2_K_per_W)


def round_wall_W_per_K(
    inner_diameter_m: float,
    height_m: float,
    layers: Sequence[Layer],
    outside_resistance_m2_K_per_W: float,
) -> float:
    """Return the heat that the round wall of an upright tank lets through, W/K.

    Layers on a cylinder: R = ln(r_outer/r_inner)/(2 π k h) each, and the air film on the outermost
    surface.
    """
    radius, resistance = inner_diameter_m / 2, 0.0
    for layer in layers:
        outer = radius + layer.thickness_m
        resistance += log(outer / radius) / (2 * pi * layer.conductivity_W_per_m_K * height_m)
        radius = outer
    resistance += outside_resistance_m2_K_per_W / (2 * pi * radius * height_m)
    return 1.0 / resistance
