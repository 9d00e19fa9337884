"""How far a judged trial carries a tank: which yields are refused, which are lower bounds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from bmp.judge.control import accepted_range, is_too_far
from bmp.judge.facts import is_cellulose
from bmp.judge.overall import Judgement
from bmp.net import MaterialYield
from bmp.tank.inputs import Grounds
from bmp.trial import Trial

# Without a control: relative spread of laboratories that measured one feed, 2 SD of 9 to 12 %
# (Hafner et al. 2020, Water 12:1752, from its open data).
WITHOUT_CONTROL: Final = (0.80, 1.25)
# Without a blank: its share of the methane is at most about this in a usable trial (limit of the
# protocol draft of 2020 for the control's jars).
LARGEST_BLANK_SHARE: Final = 0.40
# A feed that gave less of what its composition allows may have harmed its jars (judgement; straw
# and wood give a fifth and more).
LEAST_OF_THEORY: Final = 0.10


def grounds_of(
    trial: Trial,
    yields: Sequence[MaterialYield],
    judged: Judgement,
    theory: Mapping[str, float],
) -> dict[str, Grounds]:
    """Return the grounds of every series.

    Parameters
    ----------
    theory
        Highest yield by series that the feed's composition allows, NmL CH4 per g VS.
    """
    soured = {
        finding.where
        for finding in judged.checks
        if finding.check in ("overload", "inhibition") and finding.outcome == "caution"
    }
    return {
        one.series: _of(
            one,
            trial,
            yields,
            _refused(one, judged, one.series in soured, theory),
        )
        for one in yields
    }


def _refused(
    one: MaterialYield,
    judged: Judgement,
    soured: bool,
    theory: Mapping[str, float],
) -> str:
    """Return why the yield itself is no ground for a tank; empty where it is one."""
    if one.series in judged.unusable:
        return judged.unusable[one.series]
    if one.value <= 0 or (one.ci95 is not None and one.ci95[1] <= 0):
        return "its jars made no more methane than the inoculum alone"
    if soured:
        return "its jars look overloaded or inhibited"
    most = theory.get(one.series)
    if one.per == "VS" and most and one.value < LEAST_OF_THEORY * most:
        return (
            f"it gave {100 * one.value / most:.0f} % of what its composition allows, so it may "
            "have harmed its jars"
        )
    return ""


def _of(
    one: MaterialYield,
    trial: Trial,
    yields: Sequence[MaterialYield],
    refused: str,
) -> Grounds:
    words: list[str] = []
    low, high = 1.0, 1.0
    finished = one.finished is True
    if not finished:
        words.append(
            f"The trial is not finished (day {one.time_d:.0f}), so the gas is a lower bound. The "
            "upper end holds what may still come."
        )
    control = _control(one, trial, yields)
    if trial.setup.gross:
        low *= 1.0 - LARGEST_BLANK_SHARE
        words.append("No blank was measured: the inoculum's own gas is still in the yields.")
    elif control is None:
        low, high = low * WITHOUT_CONTROL[0], high * WITHOUT_CONTROL[1]
        words.append("There is no finished cellulose control, so the span is wider.")
    else:
        least, most = accepted_range()
        times = min(1.0, control / least), max(1.0, control / most)
        said = (
            f"the cellulose control gave {control:.0f} NmL/g VS ({least:.0f} to {most:.0f} asked)"
        )
        if is_too_far(control):
            refused = refused or said
        elif times != (1.0, 1.0):
            words.append(f"{said[:1].upper()}{said[1:]}, so the span is wider.")
        low, high = low / times[1], high / times[0]
    return Grounds(refused, finished, low, high, tuple(words))


def _control(one: MaterialYield, trial: Trial, yields: Sequence[MaterialYield]) -> float | None:
    """Return the finished cellulose control on the feed's inoculum, None where there is none."""
    own = {trial.jars[j].inoculum for j in one.jars}
    found = [
        other.value
        for other in yields
        if other.role == "control"
        and other.per == "VS"
        and other.finished
        and is_cellulose(trial.material(other.material))
        and own & {trial.jars[j].inoculum for j in other.jars}
    ]
    return sum(found) / len(found) if found else None
