"""What stands in each section of the page: one function and one template each.

A section is a row of `SECTIONS`: its template is `templates/<name>.html`, its function returns what
the template shows, or `None` where the section has nothing to say and is left out.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from bmp.estimate import Estimate
from bmp.finding import Finding
from bmp.fit.models import MODELS
from bmp.net import MaterialYield
from bmp.report.compare_section import comparison_content
from bmp.report.rounding import number, percent, short, with_uncertainty
from bmp.report.sentences import (
    estimate_words,
    feed_sentence,
    half_width,
    meaning_of_numbers,
)
from bmp.report.tank_rows import ESTIMATE, TANK_PICTURES, tank_tables
from bmp.results import Results

OUTCOME_SIGNS: Final = {"pass": "✓", "caution": "!", "fail": "✗", "not judged": "?"}


@dataclass(frozen=True)
class Section:
    """One section of the page."""

    name: str
    """Of its template, and of its place in the page."""
    title: str
    content: Callable[[Results], Mapping[str, Any] | None]


def answer(results: Results) -> Mapping[str, Any]:
    """Return one sentence a series, feeds first, and the verdicts where there are any."""
    return {
        "sentences": [
            (feed_sentence(one, results), results.feed_verdicts.get(one.series))
            for one in sorted(results.yields, key=lambda one: one.role == "control")
        ],
        "meaning": meaning_of_numbers(results),
        "verdict": results.verdict.words if results.verdict else None,
        "validated": results.verdict.validated if results.verdict else None,
    }


def curves(results: Results) -> Mapping[str, Any] | None:
    """Return the words beside the picture of net curves."""
    if not results.yields:
        return None
    left_out = any(results.left_out(one.series) for one in results.yields)
    modelled = any(fit.choice.model for fit in results.fits.values())
    return {"left_out": left_out, "modelled": modelled, "gross": results.gross}


def yields(results: Results) -> Mapping[str, Any] | None:
    """Return the table of yields."""
    if not results.yields:
        return None
    return {
        "rows": [_yield_row(one) for one in results.yields],
        "units": list(dict.fromkeys(one.unit for one in results.yields)),
    }


def _yield_row(one: MaterialYield) -> Mapping[str, Any]:
    return {
        "series": one.series,
        "role": one.role,
        "value": with_uncertainty(one.value, half_width(one)),
        "unit": one.unit,
        "no_interval": one.why_no_interval,
        "sd": None if one.sd is None else number(one.sd, 2),
        "jars": len(one.jars),
        "days": short(one.time_d),
        "per_fresh": None if one.per_fresh is None else number(one.per_fresh),
        "blank_percent": None if one.blank_percent is None else f"{one.blank_percent:.0f} %",
    }


def comparison(results: Results) -> Mapping[str, Any] | None:
    """Return which feed is better, where there are feeds to compare."""
    found = results.comparisons
    return comparison_content(found) if len(found.feeds) > 1 or results.gross else None


def kinetics(results: Results) -> Mapping[str, Any] | None:
    """Return what the models say of each series."""
    if not results.fits:
        return None
    measured = {one.series: one for one in results.yields}
    chosen = {fit.choice.model for fit in results.fits.values()}
    shown = [name for name, model in MODELS.items() if model.quoted or name in chosen]
    return {
        "series": [
            {
                "name": name,
                "choice": fit.choice,
                "models": [
                    {
                        "name": model,
                        "chosen": model == fit.choice.model,
                        "parameters": [
                            (parameter, _estimate(estimate))
                            for parameter, estimate in fit.models[model].parameters.items()
                        ],
                        "r2": fit.models[model].r2,
                        "rmse": fit.models[model].rmse,
                    }
                    for model in _shown_models(fit.choice.model)
                ],
                "times": [
                    (f"to half of {_so_far(measured[name])}", _estimate(fit.t50_d)),
                    (f"to 90 % of {_so_far(measured[name])}", _estimate(fit.t90_d)),
                    *(
                        [("highest rate of the chosen model", _estimate(fit.peak_rate))]
                        if fit.choice.model
                        else []
                    ),
                ],
                "forecast": fit.forecast.words if fit.forecast else None,
            }
            for name, fit in results.fits.items()
        ],
        "meanings": _meanings(shown),
        "equations": {name: MODELS[name].equation for name in shown},
    }


def _meanings(models: list[str]) -> dict[str, str]:
    """Return what each parameter means; where models mean different things by it, for each."""
    by_name: dict[str, dict[str, str]] = {}
    for model in models:
        for parameter in MODELS[model].parameters:
            by_name.setdefault(parameter.name, {})[model] = parameter.meaning
    return {
        name if len(set(said.values())) == 1 else f"{name} ({model})": meaning
        for name, said in by_name.items()
        for model, meaning in said.items()
    }


def _so_far(one: MaterialYield) -> str:
    """Return what a time is a share of: the yield, or what there was of it so far."""
    return "the measured yield" if one.finished else f"what it had given by day {one.time_d:.0f}"


def _shown_models(chosen: str | None) -> list[str]:
    """Return the models that the page shows: those that people quote, and the one chosen."""
    return [name for name, model in MODELS.items() if model.quoted or name == chosen]


def _estimate(estimate: Estimate) -> Mapping[str, Any]:
    return {
        "words": estimate_words(estimate),
        "unit": "" if estimate.value is None else estimate.unit,
        "determined": estimate.value is not None,
        "from": estimate.interval_from,
    }


def tank(results: Results) -> Mapping[str, Any] | None:
    """Return what the jars mean for the main tank."""
    if results.tank is None:
        return None
    return {
        "result": results.tank,
        "tables": tank_tables(results.tank),
        "pictures": TANK_PICTURES,
        "estimate": ESTIMATE,
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


def raw(results: Results) -> Mapping[str, Any] | None:
    """Return the words beside the picture of raw methane."""
    if all(jar.measured == "net yield" for jar in results.trial.jars):
        return None
    return {"blanks": results.blanks.count}


def assumed(results: Results) -> Mapping[str, Any] | None:
    """Return what was taken for granted."""
    return {"sentences": results.assumed} if results.assumed else None


def corrections(results: Results) -> Mapping[str, Any] | None:
    """Return the size of every correction, by series."""
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


def left_out(results: Results) -> Mapping[str, Any] | None:
    """Return the jars that do not count, with the reasons."""
    jars = [jar for jar in results.trial.jars if jar.left_out is not None]
    return {"jars": jars} if jars else None


def ignored(results: Results) -> Mapping[str, Any] | None:
    """Return what was handed in and not used."""
    return {"sentences": results.ignored} if results.ignored else None


def method(results: Results) -> Mapping[str, Any]:
    """Return how it was computed, as far as it bears on this trial."""
    setup = results.trial.setup
    noise = {name: fit.choice.noise for name, fit in results.fits.items() if fit.choice.noise}
    return {
        "measured": setup.measured,
        "net_yield": setup.measured == "net yield",
        "blanks": bool(results.blanks.count),
        "fitted": bool(results.fits),
        "noise": noise,
        "sources": list(dict.fromkeys(m.source for m in MODELS.values() if m.candidate)),
    }


SECTIONS: Final = (
    Section("answer", "What came out", answer),
    Section("curves", "How the methane came", curves),
    Section("yields", "Yields", yields),
    Section("comparison", "Which feed is better", comparison),
    Section("kinetics", "How fast", kinetics),
    Section("doses", "When more feed was given", doses),
    Section("tank", "The main tank", tank),
    Section("raw", "What the jars made, and the inoculum's part of it", raw),
    Section("assumed", "What was taken for granted", assumed),
    Section("corrections", "What each correction did", corrections),
    Section("checks", "What was looked at", checks),
    Section("left_out", "Jars that do not count", left_out),
    Section("ignored", "Handed in and not used", ignored),
    Section("method", "How it was computed", method),
)
