"""What a reader needs to judge a trial or repeat it, each item present or said to be unknown.

The list follows what published guidance asks a report to hold: Holliger et al. 2016, Water Sci.
Technol. 74(11):2515; VDI 4630; Standard BMP Methods, document 100 v1.9 (items from memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final

import numpy as np

from bmp.report.rounding import number, short
from bmp.results import Results
from bmp.trial import Jar, Material

UNKNOWN: Final = "not stated"
MEASURED: Final = {
    "volume": "volume of gas",
    "methane volume": "volume behind a carbon dioxide absorber",
    "pressure": "pressure in closed jars",
    "mass": "mass loss of closed jars",
    "net yield": "net curves, given ready made",
}


def reporting_rows(results: Results) -> list[tuple[str, str]]:
    """Return item and what is known of it, in the order of the list."""
    return [(item, value or UNKNOWN) for item, value in _rows(results)]


def _rows(results: Results) -> Iterator[tuple[str, str]]:
    trial, setup = results.trial, results.trial.setup
    jars = [jar for jar in trial.jars if jar.role != "weight check"]
    yield "laboratory", setup.laboratory or ""
    yield "operator", setup.operator or ""
    yield "started", "" if setup.started is None else setup.started.strftime("%Y-%m-%d %H:%M")
    ways = dict.fromkeys(jar.measured for jar in jars)
    yield "gas measured by", "; ".join(MEASURED[way] for way in ways)
    if list(ways) != ["net yield"]:
        yield "temperature of the jars", f"{short(setup.incubation_temperature_C)} °C"
        yield "mixing", setup.mixing or ""
        flush = " + ".join(f"{short(100.0 * x)} % {gas}" for gas, x in setup.flush_gas.items())
        yield "gas under the lid at the start", flush or "air"
        yield "methane share from", _share(results)
    yield "inoculum per jar", _span([jar.inoculum_g for jar in jars], "g")
    sampled = [jar for jar in jars if jar.role in ("substrate", "control")]
    yield "sample per jar", _span([jar.sample_g for jar in sampled], "g")
    yield "water per jar", _span([jar.water_g for jar in jars], "g")
    known = [jar.headspace_mL for jar in jars if jar.headspace_mL is not None]
    yield "headspace", _span(known, "mL")
    yield "inoculum to substrate, by VS", _ratios(results, sampled)
    yield "solids below", "in percent of fresh mass"
    for material in trial.materials:
        if material.role != "weight check":
            yield from _material(material)


def _share(results: Results) -> str:
    setup = results.trial.setup
    if np.isfinite(results.trial.readings.column("methane_share")).any():
        return "measured"
    by_kind = [m.methane_share for m in results.trial.materials if m.methane_share is not None]
    if by_kind:
        low, high = short(100 * min(by_kind)), short(100 * max(by_kind))
        return f"assumed by the kind of feed, {low} to {high} %"
    if setup.methane_share is not None:
        return f"assumed, {short(100.0 * setup.methane_share)} %"
    return ", ".join(dict.fromkeys(text for text in results.gas.share_from if text))


def _span(values: Sequence[float], unit: str) -> str:
    """Return one value or the span of several."""
    some = [value for value in values if value > 0.0]
    if not some:
        return "none" if values else ""
    low, high = number(min(some)), number(max(some))
    return f"{low} {unit}" if low == high else f"{low} to {high} {unit}"


def _ratios(results: Results, sampled: Sequence[Jar]) -> str:
    trial = results.trial
    ratios: dict[str, float] = {}
    for jar in sampled:
        sample, inoculum = trial.material(jar.material).VS, _VS_of(trial.materials, jar.inoculum)
        if sample and inoculum and jar.sample_g > 0.0 and jar.inoculum_g > 0.0:
            ratios[jar.series] = inoculum * jar.inoculum_g / (sample * jar.sample_g)
    return "; ".join(f"{name} {short(ratio)}" for name, ratio in ratios.items())


def _VS_of(materials: Sequence[Material], name: str) -> float | None:
    return next((material.VS for material in materials if material.name == name), None)


def _material(material: Material) -> Iterator[tuple[str, str]]:
    known = {
        "TS": _solids(material.TS, material.TS_u),
        "VS": _solids(material.VS, material.VS_u),
        "pH": "" if material.pH is None else short(material.pH),
        "origin": material.origin or "",
        "storage": material.storage or "",
        "pre-treatment": material.pretreatment or "",
    }
    said = [f"{what} {text}" for what, text in known.items() if text]
    lacking = [what for what, text in known.items() if not text]
    words = ", ".join(said)
    if lacking:
        words += f"{'; ' if words else ''}{UNKNOWN}: {', '.join(lacking)}"
    yield material.name, words


def _solids(share: float | None, u: float | None) -> str:
    if share is None:
        return ""
    error = "" if not u else f" (standard uncertainty {number(100.0 * u, 2)} %)"
    return f"{number(100.0 * share)} %{error}"


def blank_rows(results: Results) -> list[dict[str, Any]]:
    """Return the blanks' own methane at their end, per g of inoculum and per g of its VS."""
    blanks = results.blanks
    rows = []
    for name, jars in blanks.count.items():
        last = np.flatnonzero(blanks.inoculum == blanks.names.index(name))[-1]
        mean, error = float(blanks.mean[last]), float(blanks.standard_error[last])
        sd = None if np.isnan(error) else error * float(np.sqrt(jars))
        VS = _VS_of(results.trial.materials, name)
        rows.append(
            {
                "inoculum": name,
                "jars": jars,
                "day": short(float(blanks.time_d[last])),
                "per_g": number(mean),
                "sd_per_g": "–" if sd is None else number(sd, 2),
                "per_gVS": "–" if not VS else number(mean / VS),
                "sd_per_gVS": "–" if not VS or sd is None else number(sd / VS, 2),
            }
        )
    return rows
