"""What stands in each section of the page: one function and one template each.

A section is a row of `SECTIONS`: its template is `templates/<name>.html`, its function returns what
the template shows, or `None` where the section has nothing to say and is left out.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from bmp.cautions import cautions_for
from bmp.finding import Finding
from bmp.fit.models import MODELS
from bmp.net import MaterialYield
from bmp.report.compare_section import comparison_content
from bmp.report.error_sources_section import surer
from bmp.report.first_screen import first_screen
from bmp.report.groups import groups
from bmp.report.kinetics_section import kinetics, rates
from bmp.report.quantities import yield_number
from bmp.report.reporting_list import blank_rows, reporting_rows
from bmp.report.rounding import number, percent, short
from bmp.report.sentences import meaning_of_numbers
from bmp.report.tank_rows import ESTIMATE, TANK_PICTURES, tank_tables
from bmp.results import Results
from bmp.tank.verdict import STANDING_CAUTIONS, TANK_HAZARDS

OUTCOME_SIGNS: Final = {"pass": "✓", "caution": "!", "fail": "✗", "not judged": "?"}


@dataclass(frozen=True)
class Section:
    """One section of the page."""

    name: str
    """Of its template, and of its place in the page."""
    title: str
    content: Callable[[Results], Mapping[str, Any] | None]
    folded: bool = True
    """Whether it stands behind its heading; open in print."""


def answer(results: Results) -> Mapping[str, Any]:
    """Return the first screen."""
    return {"screen": first_screen(results), "meaning": meaning_of_numbers(results)}


def curves(results: Results) -> Mapping[str, Any] | None:
    """Return the words below the picture of net curves."""
    if not results.yields:
        return None
    left_out = any(results.left_out(one.series) for one in results.yields)
    modelled = any(fit.choice.model for fit in results.fits.values())
    return {"left_out": left_out, "modelled": modelled, "gross": results.gross}


def jars(results: Results) -> Mapping[str, Any] | None:
    """Return the yields of feeds and jars, and the blanks' own methane."""
    if not results.yields:
        return None
    return {
        "rows": [_yield_row(one, results) for one in results.yields],
        "units": list(dict.fromkeys(one.unit for one in results.yields)),
        "blanks": blank_rows(results),
        "left_out": [
            f"{jar.name} ({jar.series}): {jar.left_out}"
            for jar in results.trial.jars
            if not jar.counted
        ],
    }


def _yield_row(one: MaterialYield, results: Results) -> Mapping[str, Any]:
    scatter = None
    if len(one.jar_values) > 1 and one.value > 0.0:
        scatter = 100.0 * float(np.std(one.jar_values, ddof=1)) / one.value
    return {
        "series": one.series,
        "role": one.role,
        "value": yield_number(one),
        "unit": one.unit,
        "no_interval": one.why_no_interval if one.ci95 is None else "",
        "sd": "–" if one.sd is None else number(one.sd, 2),
        "rsd": "–" if scatter is None else f"{number(scatter, 2)} %",
        "days": short(one.time_d),
        "per_fresh": "–" if one.per_fresh is None else number(one.per_fresh),
        "blank_percent": "–" if one.blank_percent is None else f"{number(one.blank_percent)} %",
        "jars": [
            (results.trial.jars[jar].name, number(value))
            for jar, value in zip(one.jars, one.jar_values, strict=True)
        ],
    }


def comparison(results: Results) -> Mapping[str, Any] | None:
    """Return which feed is better, where there are feeds to compare."""
    found = results.comparisons
    return comparison_content(found) if len(found.feeds) > 1 or results.gross else None


def tank(results: Results) -> Mapping[str, Any] | None:
    """Return what the jars mean for the main tank."""
    if results.tank is None:
        return None
    return {
        "result": results.tank,
        "tables": tank_tables(results.tank),
        "pictures": TANK_PICTURES,
        "estimate": ESTIMATE,
        # the standing ones are under Safety
        "cautions": [c for c in results.tank.cautions if c not in STANDING_CAUTIONS],
    }


def doses(results: Results) -> Mapping[str, Any] | None:
    """Return how feeds that were given at several ratios to the inoculum fared."""
    if not results.doses:
        return None
    return {
        "feeds": [
            {
                "material": feed.material,
                "early": short(feed.early_d),
                "rows": [
                    [one.series, *map(short, (one.dose, one.early_yield, one.final_yield))]
                    for one in feed.doses
                ],
                "words": [finding.meaning for finding in feed.findings()],
            }
            for feed in results.doses
        ]
    }


def assumed(results: Results) -> Mapping[str, Any] | None:
    """Return what was assumed, and what was given but not used."""
    if not results.assumed and not results.ignored:
        return None
    return {"assumed": results.assumed, "ignored": results.ignored}


def corrections(results: Results) -> Mapping[str, Any] | None:
    """Return the size of every correction, by series, and the words of the raw picture."""
    if not results.corrections:
        return None
    series = [one.series for one in results.yields]
    return {
        "series": series,
        "rows": [
            {
                "name": size.name,
                "meaning": size.meaning,
                "percent": [_percent(size.percent.get(name)) for name in series],
            }
            for size in results.corrections
        ],
    }


def _percent(value: float | None) -> str:
    return "–" if value is None else percent(value)


def checks(results: Results) -> Mapping[str, Any] | None:
    """Return the checks, the gravest first, those of one kind together."""
    if not results.checks:
        return None
    order = ("fail", "caution", "not judged", "pass")
    return {
        "older": [verdict.words for verdict in results.older_verdicts.values()],
        "groups": [
            (outcome, OUTCOME_SIGNS[outcome], _kinds(found))
            for outcome in order
            if (found := [finding for finding in results.checks if finding.outcome == outcome])
        ],
    }


def _kinds(found: list[Finding]) -> list[Mapping[str, Any]]:
    """Put findings together that say the same of several series."""
    kinds: dict[tuple[str, ...], list[Finding]] = {}
    for one in found:
        key = (one.check, one.limit, one.meaning, one.advice, one.source)
        kinds.setdefault(key, []).append(one)
    return [{"finding": same[0], "seen": [_seen(one) for one in same]} for same in kinds.values()]


def _seen(finding: Finding) -> str:
    """Return what was found and where: `7.25 (food waste)`."""
    value = finding.value
    shown = "" if value is None else value if isinstance(value, str) else short(value)
    return f"{shown} ({finding.where})" if shown and finding.where else shown or finding.where


def setup(results: Results) -> Mapping[str, Any]:
    """Return the setup, what is not known of it, and how it was computed."""
    way = results.trial.setup
    return {
        "rows": reporting_rows(results),
        "net_yield": way.given_net,
        "blanks": bool(results.blanks.count),
        "fitted": bool(results.fits),
        "sources": list(
            dict.fromkeys(model.source for model in MODELS.values() if model.candidate)
        ),
    }


def safety(results: Results) -> Mapping[str, Any]:
    """Return the cautions that every trial needs."""
    hazards = ["jar", "manure or meat", "crucibles"]
    ways = {jar.measured for jar in results.trial.jars}
    hazards += ["closed glass"] if ways & {"pressure", "mass"} else ["open outlet"]
    hazards += list(TANK_HAZARDS) if results.tank is not None else []
    hazards += ["caustic"] if "methane volume" in ways else []
    return {"cautions": cautions_for(hazards)}


SECTIONS: Final = (
    Section("answer", "Results", answer, folded=False),
    Section("curves", "Methane curves", curves, folded=False),
    Section("groups", "Groups", groups, folded=False),
    Section("jars", "Each jar", jars),
    Section("surer", "Where the ± comes from", surer),
    Section("kinetics", "How fast: kinetics", kinetics),
    Section("rates", "Methane a day", rates),
    Section("comparison", "Which feed is better", comparison),
    Section("doses", "When more feed was given", doses),
    Section("tank", "The tank", tank),
    Section("checks", "Checks", checks),
    Section("corrections", "Corrections", corrections),
    Section("assumed", "Assumptions", assumed),
    Section("setup", "Setup and method", setup),
    Section("safety", "Safety", safety),
)
