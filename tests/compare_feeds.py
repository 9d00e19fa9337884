"""Invented feeds for the comparison's tests."""

from __future__ import annotations

from typing import Any

from bmp.compare import Blanks, Feed

BLANKS = Blanks((1.15, 1.22, 1.19), "digestate")


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
