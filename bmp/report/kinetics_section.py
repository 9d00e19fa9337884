"""How fast: what each model says of each feed, with its errors, and the methane of each day."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from bmp.estimate import Estimate
from bmp.fit.model import Model
from bmp.fit.models import MODELS
from bmp.fit.results import MaterialFits
from bmp.report.rounding import number
from bmp.report.sentences import estimate_words
from bmp.results import Results


def kinetics(results: Results) -> Mapping[str, Any] | None:
    """Return the times and the models of each series."""
    if not results.fits:
        return None
    shown = {name for fit in results.fits.values() for name in shown_models(fit)}
    models = [MODELS[name] for name in MODELS if name in shown]
    return {
        "times": [_times(name, fit) for name, fit in results.fits.items()],
        "models": [
            row for name, fit in results.fits.items() for row in _model_rows(name, fit, results)
        ],
        "words": [(name, fit.choice.words) for name, fit in results.fits.items()],
        "forecasts": [
            (name, fit.forecast.words)
            for name, fit in results.fits.items()
            if fit.forecast is not None
        ],
        "meanings": _meanings(models),
    }


def shown_models(fit: MaterialFits) -> list[str]:
    """Return the models that the report shows of one series; the workbook has all."""
    return [
        name
        for name, model in MODELS.items()
        if name in fit.models and (model.quoted or name == fit.choice.model)
    ]


def _meanings(models: Sequence[Model]) -> Mapping[str, str]:
    """Return what each parameter means, for each model where models mean different things by it."""
    by_name: dict[str, dict[str, str]] = {}
    for model in models:
        for parameter in model.parameters:
            by_name.setdefault(parameter.name, {})[model.name] = parameter.meaning
    return {
        name if len(set(said.values())) == 1 else f"{name} ({model})": meaning
        for name, said in by_name.items()
        for model, meaning in said.items()
    }


def _times(series: str, fit: MaterialFits) -> Mapping[str, str]:
    return {
        "series": series,
        "half": estimate_words(fit.t50_d),
        "ninety": estimate_words(fit.t90_d),
        "peak": estimate_words(_peak(fit)),
        "model": fit.choice.model or "none",
    }


def _peak(fit: MaterialFits) -> Estimate:
    """Return the highest rate; of a model that has it as a parameter, that parameter."""
    if fit.choice.model is None:
        return fit.peak_rate
    return fit.models[fit.choice.model].parameters.get("Rm", fit.peak_rate)


def _model_rows(series: str, fit: MaterialFits, results: Results) -> list[Mapping[str, Any]]:
    unit = next(one.unit for one in results.yields if one.series == series)
    return [
        {
            "series": series,
            "model": name,
            "chosen": name == fit.choice.model,
            "parameters": [
                (parameter, estimate_words(estimate), _unit(estimate), _within(estimate))
                for parameter, estimate in fit.models[name].parameters.items()
            ],
            "rmse": _known(fit.models[name].rmse),
            "r2": _known(fit.models[name].r2),
            "unit": unit,
        }
        for name in shown_models(fit)
    ]


def _unit(estimate: Estimate) -> str:
    return "" if estimate.value is None else estimate.unit.replace(" CH4", "")


def _within(estimate: Estimate) -> str:
    """Return what an interval is made of, where it is not the scatter between jars."""
    made_of = estimate.interval_from
    return "" if made_of in ("", "between jars") or estimate.ci95 is None else made_of


def _known(value: float | None) -> str:
    return "–" if value is None else number(value)


def rates(results: Results) -> Mapping[str, Any] | None:
    """Return the words below the picture of daily methane."""
    return {"gross": results.gross} if results.yields else None
