"""What the calculation took for granted, as plain sentences for the report."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from bmp.net import Blanks, MaterialYield, NetCurves
from bmp.normalise import JarGas
from bmp.normalise.flow import gas_is_kept
from bmp.normalise.jars import meter_half_width
from bmp.published_errors import published_error
from bmp.runs import last
from bmp.solids import SOLIDS_SOURCE, solids_error
from bmp.trial import ASSUMED_SHARE_HALF_WIDTH, Trial


def assumptions(
    trial: Trial,
    gas: JarGas,
    blanks: Blanks,
    curves: NetCurves,
    yields: tuple[MaterialYield, ...],
) -> tuple[str, ...]:
    """Return one sentence for each thing taken for granted beyond what the reader said."""
    if all(jar.given_net for jar in trial.jars):
        return (
            "The curves came corrected: vapour, temperature, pressure and blank are not ours, and "
            "were not looked at.",
        )
    return (
        *_gas(trial, gas),
        *_shares(trial, gas),
        *_blank(trial, blanks, curves),
        *_solids(trial, yields),
    )


def _gas(trial: Trial, gas: JarGas) -> Iterator[str]:
    setup = trial.setup
    ways = {jar.measured for jar in trial.jars}
    if ways & {"volume", "methane volume"}:
        yield (
            "The gas was read saturated with water vapour."
            if setup.gas_is_wet
            else "The gas was read dry, so no water vapour is subtracted."
        )
    if setup.cumulative and ways & {"volume", "methane volume"}:
        kept = gas_is_kept(trial.readings, setup)
        if kept.any():
            yield (
                "Some vessels still held all their gas when they were read. All of it is corrected "
                "with the temperature and pressure of the reading."
            )
        if not kept.all():
            yield (
                "Each share of the gas is corrected with the temperature and pressure of the "
                "reading that first counted it."
            )
        resets = int(trial.readings.emptied.sum())
        if resets:
            yield f"At {_readings(resets)} a counter or vessel was emptied and starts anew."
    if ways - {"net yield"}:
        yield (
            f"The jars were closed at {_closing_C(trial):.4g} °C and {_closing_words(gas)}; the "
            "gas under the lid was saturated with water vapour."
        )
    yield from _outlets(trial)
    falls = int(gas.fall.sum())
    if falls:
        yield (
            f"At {_readings(falls)} there is a little less gas than before. A cooler headspace, "
            "dissolving carbon dioxide or a division of the scale explains that much. What was "
            "read is kept."
        )
    unknown = [
        jar.name
        for jar in trial.jars
        if jar.headspace_mL is None and jar.role != "weight check" and not jar.given_net
    ]
    if unknown:
        yield (
            f"The headspace of {_names(unknown)} is not given: gas under the lid is taken to "
            "stay the same, and no flush gas is balanced."
        )


def _outlets(trial: Trial) -> Iterator[str]:
    """Say how gas left the jars where the tables leave it to be assumed."""
    ways = {jar.measured for jar in trial.jars}
    if trial.setup.closed_between_readings is None:
        if "mass" in ways:
            yield "Jars that were weighed are taken to be shut between readings and vented at them."
        if ways & {"volume", "methane volume"}:
            yield "Jars whose volumes were read are taken to be open: gas left as it formed."
    pressed = np.array([jar.measured == "pressure" for jar in trial.jars])[trial.readings.jar]
    after = [trial.readings.column(f"{kind}_after_kPa") for kind in ("gauge", "absolute")]
    silent = pressed & np.all(np.isnan(after), axis=0) & ~trial.readings.not_vented
    if silent.any():
        yield (
            f"{int(silent.sum())} pressure readings name no pressure after venting. The jars are "
            "assumed to be vented to the air then; write “not vented” where one stayed shut."
        )
    if not np.isnan(trial.readings.column("syringe_gas_left_mL")).all():
        yield (
            "What caustic leaves in a syringe is methane and flush gas. The flush gas still under "
            "the lid is subtracted, by balance."
        )
        if meter_half_width(trial.setup) is None:
            error = published_error("syringe")
            drawn = float(np.nanmedian(trial.readings.column("syringe_gas_mL")))
            yield (
                f"Each syringe is read to ± {error.typical:g} mL ({error.source}): with "
                f"{drawn:.3g} mL drawn that is {100 * error.typical / drawn:.2g} % of methane "
                "share. It is in the interval. Where you know yours better, give “methane "
                "uncertainty [%]” in the table trial."
            )


def _readings(count: int) -> str:
    return "1 reading" if count == 1 else f"{count} readings"


def _closing_C(trial: Trial) -> float:
    setup = trial.setup
    given = setup.closing_temperature_C
    return setup.incubation_temperature_C if given is None else given


def _closing_words(gas: JarGas) -> str:
    known = gas.state.closing_kPa[np.isfinite(gas.state.closing_kPa)]
    if not known.size:
        return "the pressure of their first reading"
    low, high = float(known.min()), float(known.max())
    span = f"{low:.4g} kPa" if high - low < 0.05 else f"{low:.4g} to {high:.4g} kPa"
    return f"{span} (the air's at the first reading, where nothing else was given)"


def _assumed_words(trial: Trial) -> str:
    """Return the assumed share of the trial, or of each material with its span."""
    by_kind = [m for m in trial.materials if m.methane_share is not None]
    said = []
    for material in by_kind:
        share, half = material.methane_share, material.methane_share_half_width
        assert share is not None
        half = ASSUMED_SHARE_HALF_WIDTH if half is None else half
        said.append(f"{material.name} {100 * share:.4g} ± {100 * half:.2g} %")
    if trial.setup.methane_share is not None:
        other = "else " if by_kind else ""
        said.append(f"{other}{100 * trial.setup.methane_share:.4g} %")
    return ", ".join(said)


def _shares(trial: Trial, gas: JarGas) -> Iterator[str]:
    counts = {word: gas.share_from.count(word) for word in set(gas.share_from)}
    assumed = counts.get("assumed", 0)
    if assumed:
        yield f"At {_readings(assumed)} the methane share is assumed: {_assumed_words(trial)}."
    if counts.get("interpolated"):
        yield "Between measured methane shares the share is interpolated in time."
    if counts.get("held"):
        yield (
            f"At {_readings(counts['held'])} before the first or after the last measured methane "
            "share of the jar the nearest one is taken."
        )
    if counts.get("replicate jars"):
        yield (
            f"At {_readings(counts['replicate jars'])} of jars without a methane share of their "
            "own that of the other jars of the same material is taken."
        )
    if counts.get("absorber"):
        yield _behind_absorber(trial, gas)
    if counts.get("density"):
        yield "Where gas was both weighed and its volume read, its density gives the methane share."


def _behind_absorber(trial: Trial, gas: JarGas) -> str:
    """Say what was read behind the absorber and what is left of it when flush gas is balanced."""
    behind = np.array([jar.measured == "methane volume" for jar in trial.jars])[gas.jar]
    ends = last(gas.jar) & behind
    read, balanced = gas.plain_methane_NmL[ends].sum(), gas.methane_NmL[ends].sum()
    share = 100.0 * trial.setup.share_before_absorber
    return (
        f"Behind the absorber {read:,.0f} NmL were read in all. That makes {balanced:,.0f} NmL of "
        "methane once flush gas and the methane under the lids are balanced "
        f"(gas of {share:.4g} % methane before the absorber)."
    )


def _blank(trial: Trial, blanks: Blanks, curves: NetCurves) -> Iterator[str]:
    if not trial.setup.blank:
        yield (
            "No blank was measured: the yields are gross, they still hold the inoculum's own "
            "methane."
        )
    cut = [trial.jars[index].name for index in np.flatnonzero(curves.cut)]
    if cut:
        ends = ", ".join(f"day {end_d:.4g}" for end_d in blanks.end_d[blanks.jars > 0])
        yield (
            f"The blanks end on {ends}: later readings of {_names(cut)} are left out, since the "
            "blank is never extrapolated."
        )


def _solids(trial: Trial, yields: tuple[MaterialYield, ...]) -> Iterator[str]:
    fresh = [one.material for one in yields if one.per == "fresh"]
    if fresh:
        yield (
            f"VS of {_names(fresh)} is not known, so the yield is per gram of fresh mass. It "
            "cannot be compared with other feeds or with the limits of the control."
        )
    unsure: dict[float, list[str]] = {}
    for one in yields:
        if one.parts.get("assumed solids", (0.0,))[0] > 0.0:
            error = solids_error(trial.material(one.material), one.per)
            unsure.setdefault(error.relative_u, []).append(one.material)
    for relative_u, names in unsure.items():
        yield (
            f"No uncertainty of VS was given for {_names(names)}. A standard uncertainty of "
            f"{100 * relative_u:.1f} % is assumed ({SOLIDS_SOURCE}). It widens the interval and is "
            "not in the SD. Give the crucibles or an uncertainty for your own; 0 counts as exact."
        )


def _names(names: list[str]) -> str:
    """Return a list in words, long ones cut."""
    names = [f"“{name}”" for name in dict.fromkeys(names)]
    if len(names) > 6:
        return f"{', '.join(names[:5])} and {len(names) - 5} more"
    return " and ".join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else names[0]
