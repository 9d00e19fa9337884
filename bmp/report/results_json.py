"""`results.json` and `curves.csv`: the results as a program reads them."""

from __future__ import annotations

import csv
import io
import json
import math
from typing import Any

import numpy as np

from bmp.compare import as_record
from bmp.constants import REFERENCE_PRESSURE_KPA, REFERENCE_TEMPERATURE_K, ZERO_CELSIUS_K
from bmp.error_sources import improvements, variance_shares
from bmp.jar_columns import yield_unit
from bmp.net import MaterialYield
from bmp.results import Results
from bmp.tables import curves_table
from bmp.theory import degradability, theories_of
from bmp.trial import Jar

FORMAT = "bmp-results-1"


def results_text(results: Results) -> str:
    """Return `results.json`: numbers at full precision, what is not known is null."""
    return json.dumps(plain(to_dict(results)), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def to_dict(results: Results) -> dict[str, Any]:
    """Return the results as plain dictionaries and lists."""
    setup = results.trial.setup
    return {
        "format": FORMAT,
        "reference": {
            "temperature_C": REFERENCE_TEMPERATURE_K - ZERO_CELSIUS_K,
            "pressure_kPa": REFERENCE_PRESSURE_KPA,
            "gas": "dry",
        },
        "trial": {
            "title": setup.title,
            # net curves are not corrected by it, so nobody is asked for it
            "incubation_temperature_C": None
            if all(jar.given_net for jar in results.trial.jars)
            else setup.incubation_temperature_C,
            "yields": "gross" if results.gross else "net of the blank",
        },
        "jars": [_jar(results, index, jar) for index, jar in enumerate(results.trial.jars)],
        "materials": [_material(results, one) for one in results.yields],
        "corrections": [
            {"correction": size.name, "meaning": size.meaning, "percent": dict(size.percent)}
            for size in results.corrections
        ],
        "comparisons": [as_record(one) for one in results.comparisons.records],
        "checks": [finding.to_dict() for finding in results.checks],
        "verdict": _verdict(results),
        "tank": None if results.tank is None else results.tank.to_dict(),
        "assumed": list(results.assumed),
        "ignored": list(results.ignored),
    }


def plain(value: Any) -> Any:
    """Return numpy numbers as Python's own, tuples as lists, and what is not finite as `None`."""
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def _jar(results: Results, index: int, jar: Jar) -> dict[str, Any]:
    here = results.gas.jar == index
    _, net = results.curves.of(index)
    times = results.gas.time_d[here]
    methane = results.gas.methane_NmL[here]
    behind_absorber = jar.measured == "methane volume" and times.size > 0
    return {
        "jar": jar.name,
        "material": jar.material,
        "series": jar.series,
        "role": jar.role,
        "counted": jar.counted,
        "measured": jar.measured,
        "end_time_d": times[-1] if times.size else None,
        "methane_NmL": methane[-1] if times.size else None,
        "methane_NmL_as_read": results.gas.plain_methane_NmL[here][-1] if behind_absorber else None,
        "net_NmL_per_gVS": net[-1] if net.size and _per(results, jar) == "VS" else None,
        "net": net[-1] if net.size else None,
        "net_unit": yield_unit(_per(results, jar)) if net.size else None,
        "leak": _leak(results, index),
        "fits": _jar_fits(results, index, jar),
    }


def _per(results: Results, jar: Jar) -> str:
    return next((one.per for one in results.yields if one.series == jar.series), "VS")


def _leak(results: Results, index: int) -> dict[str, Any] | None:
    leaks = results.gas.leaks
    if leaks is None or index not in leaks.jar:
        return None
    at = int(np.flatnonzero(leaks.jar == index)[0])
    return {
        "leaked_g": leaks.leaked_g[at],
        "share_of_loss": leaks.share_of_loss[at],
        "detectable_g": leaks.detectable_g[at],
        "found": bool(leaks.found[at]),
    }


def _jar_fits(results: Results, index: int, jar: Jar) -> dict[str, Any]:
    one = next((one for one in results.yields if one.series == jar.series), None)
    if one is None or index not in one.jars or one.series not in results.fits:
        return {}
    place = one.jars.index(index)
    models = results.fits[one.series].models
    return {name: fit.jars[place].to_dict() for name, fit in models.items() if fit.jars}


def _material(results: Results, one: MaterialYield) -> dict[str, Any]:
    fits = results.fits.get(one.series)
    names = [results.trial.jars[index].name for index in one.jars]
    checks = [finding.to_dict() for finding in results.checks if finding.where == one.series]
    return {
        "material": one.material,
        "series": one.series,
        "role": one.role,
        "jars": names,
        "left_out": [{"jar": jar, "why": why} for jar, why in results.left_out(one.series)],
        "bmp": {
            "value": one.value,
            "sd": one.sd,
            "u": one.u,
            "ci95": one.ci95,
            "why_no_interval": one.why_no_interval,
            "ci95_borrowed": one.ci95_borrowed,
            "parts": variance_shares(one.parts),
            "surer": [
                {"what": way.what, "half_width": way.half_width}
                for way in improvements(one.parts, len(one.jars))
            ],
            "unit": one.unit,
            "time_d": one.time_d,
            "gross": results.gross,
        },
        "per_fresh": None
        if one.per_fresh is None
        else {"value": one.per_fresh, "unit": yield_unit("fresh")},
        "blank_percent": one.blank_percent,
        "finished": one.finished,
        "fits": {} if fits is None else {n: fit.to_dict() for n, fit in fits.models.items()},
        "chosen_model": None if fits is None else fits.choice.model,
        "choice": None if fits is None else fits.choice.words,
        "t50_d": None if fits is None else fits.t50_d.value,
        "t90_d": None if fits is None else fits.t90_d.value,
        "times": None if fits is None else _times(fits),
        "forecast": None if fits is None or fits.forecast is None else _forecast(fits.forecast),
        "theoretical": _theoretical(results, one),
        "reliable_for": results.feed_verdicts.get(one.series),
        "checks": checks,
    }


def _theoretical(results: Results, one: MaterialYield) -> dict[str, Any] | None:
    """Return the most that mass balance allows, by the most direct analysis, and the rest of them.

    Degradability is told only of a yield per VS, and not of a gross one.
    """
    ways = theories_of(results.trial.material(one.material))
    if not ways:
        return None
    judged = None
    if one.per == "VS" and not results.gross:
        judged = degradability(one.value, one.ci95, ways[0]).to_dict()
    others = [way.to_dict() for way in ways[1:]]
    return {**ways[0].to_dict(), "degradability": judged, "other_ways": others}


def _times(fits: Any) -> dict[str, Any]:
    return {
        name: getattr(fits, name).to_dict() for name in (("t50_d"), "t90_d", "peak_rate", "peak_d")
    }


def _forecast(forecast: Any) -> dict[str, Any]:
    return {
        "final_yield": forecast.final_yield.to_dict(),
        "stop_day_d": forecast.stop_day_d.to_dict(),
        "words": forecast.words,
    }


def _verdict(results: Results) -> dict[str, Any] | None:
    verdict = results.verdict
    if verdict is None:
        return None
    return {
        "validated": verdict.validated,
        "because": list(verdict.because),
        "criteria": verdict.criteria,
        "older": {
            name: {"validated": one.validated, "because": list(one.because)}
            for name, one in results.older_verdicts.items()
        },
    }


def curves_text(results: Results) -> str:
    """Return `curves.csv`: a row a reading with cumulative methane and net yield."""
    table = curves_table(results).only("series", "jar", "time_d", "methane_NmL", "net_NmL_per_gVS")
    text = io.StringIO()
    out = csv.writer(text, lineterminator="\n")
    # the first column names the series: a feed given at two ratios stands there twice
    out.writerow(["material", *(column.name for column in table.columns[1:])])
    for series, jar, time_d, *figures in table.rows:
        out.writerow([safe_text(series), safe_text(jar), time_d, *map(_known, figures)])
    return text.getvalue()


def _known(value: float | None) -> float | str:
    return "" if value is None or math.isnan(value) else value


def safe_text(text: str) -> str:
    """Return text that a spreadsheet does not take for a formula."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text
