"""The table of reading errors: a new one is a row here and a page in `guide/reading_errors`."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from bmp.finding import Finding
from bmp.judge import counters, dates, headspace, jars_compared, units_typed
from bmp.judge.cause import Cause
from bmp.judge.explain import explain
from bmp.judge.reading_error import ReadingError, Seen
from bmp.judge.rough_gas import RoughGas, look
from bmp.trial import Trial

D100 = "Standard BMP Methods, document 100 v1.9 (2021)"
D204 = "Standard BMP Methods, document 204 (2020)"


def by_cause(trial: Trial, seen: RoughGas) -> tuple[Seen, ...] | None:
    """Return nothing: these are found as causes. Not judged where nothing was read in jars."""
    return None if trial.setup.given_net or len(seen.time_d) < 3 else ()


READING_ERRORS: tuple[ReadingError, ...] = (
    ReadingError(
        "interval taken for cumulative", "interval-or-cumulative",
        counters.interval_for_cumulative,
        "two falls, half the highest figure together, in 70 % of the jars",
        "Set “readings are” to interval, or say at which readings the vessel was emptied.",
        outcome="fail",
        first=True,
    ),
    ReadingError(
        "cumulative taken for interval", "interval-or-cumulative",
        counters.cumulative_for_interval,
        "never falls and ends at its highest, in 80 % of the jars",
        "Set “readings are” to cumulative.",
        outcome="fail",
        first=True,
    ),
    ReadingError(
        "counter reset", "counter-reset", counters.counter_reset,
        "a fall to less than half without a stated reset",
        "Mark the reading after which the counter was set to zero (column “emptied”).",
        outcome="fail",
    ),
    ReadingError(
        "counter rollover", "counter-rollover", counters.counter_rollover,
        "a fall that fits a full counter of 100, 1,000, 10,000 …",
        "Add the counter's capacity to all later totals of this jar, or mark it as emptied.",
        outcome="fail",
    ),
    ReadingError(
        "overflow", "overflow", counters.overflow,
        "three or more readings at exactly the highest figure",
        "The gas above it is lost: the yield is a lower bound. Empty the vessel more often.",
        first=True,
    ),
    ReadingError(
        "gauge and absolute pressure", "gauge-and-absolute", units_typed.gauge_and_absolute,
        "absolute pressures near zero, or gauge pressures never below the air's",
        "Put the figures under the other column (“gauge before” or “absolute before”).",
        outcome="fail",
        first=True,
    ),
    ReadingError(
        "unit of pressure", "unit-of-pressure", units_typed.pressure_unit,
        "air outside 52 to 109 kPa, or a control off by the factor between two units",
        "Look at the gauge's dial and write its unit into the column's brackets.",
        outcome="fail",
        first=True,
    ),
    ReadingError(
        "sea-level pressure at altitude", "sea-level-pressure", units_typed.sea_level_pressure,
        "nearer to sea level's pressure than to the altitude's, where these differ by 4 kPa",
        "Read a barometer near the jars, or leave the air pressure out and give the altitude.",
        source="ISO 2533:1975, standard atmosphere", first=True,
    ),
    ReadingError(
        "unit of the methane share", "unit-of-methane-share", units_typed.share_unit,
        "a usual share above 200 % or below 1.2 %",
        "Write % for 60, no unit's 1 for 0.6, ppm for 600,000.",
        outcome="fail",
        first=True,
    ),
    ReadingError(
        "methane share over 100 %", "share-over-100", units_typed.share_over_hundred,
        "at most 100 %",
        "Calibrate the analyser; give the share again or leave it empty.",
        source="Mass balance", outcome="fail",
        first=True,
    ),
    ReadingError(
        "VS of fresh or of dry matter", "vs-of-fresh-or-dry", units_typed.solids_basis,
        "VS at most TS and at least 40 % of it (cellulose 97 %); a ratio to the inoculum off by TS",
        "Choose the column that says what the furnace figure was divided by.",
        source="Mass balance", outcome="fail",
        first=True,
    ),
    ReadingError(
        "litres and cubic metres", "litres-and-cubic-metres", units_typed.yield_unit,
        "yields a thousand times too small or too large",
        "Write the unit of the source into the column's brackets.",
        source="Angelidaki & Sanders 2004: no feed above 1014 NmL CH4/g VS", outcome="fail",
        first=True,
    ),
    ReadingError(
        "normalised twice", "normalised-twice", units_typed.normalised_twice,
        "volumes that do not follow the weather of their readings",
        "Give the volumes as read, or state 0 °C, 101.325 kPa and dry gas for them.",
        source="gas law; common practice, no source for the test",
    ),
    ReadingError(
        "scrubbed gas multiplied again", "scrubbed-twice", units_typed.scrubbed_twice,
        "a methane share given with a methane volume, or a control low by just that share",
        "After an absorber use “methane volume” and leave the methane share out.",
        outcome="fail",
        first=True,
    ),
    ReadingError(
        "warming headspace", "warming-headspace", headspace.first_day_rise,
        "a first-interval surplus of 3 to 16 % of the headspace, alike in all blanks",
        "Give the “closing temperature”: the warming is then computed and subtracted.",
        source="gas law; Wagner & Pruss 1992 for the vapour",
    ),
    ReadingError(
        "swapped labels", "swapped-labels", jars_compared.swapped_labels,
        "two jars that leave their own sets and fit each other's",
        "Look at the jars' labels and the log; exchange the names only if you can see the swap.",
    ),
    ReadingError(
        "day and month", "day-and-month", dates.day_and_month,
        "the way through the dates half as long with day and month exchanged",
        "Write dates as 2026-03-07, or set the cells' date format.",
        source="ISO 8601-1:2019 for the unambiguous form", outcome="fail",
        first=True,
    ),
    ReadingError(
        "duplicate reading", "duplicate-reading", counters.duplicate_reading,
        "the same jar and time twice, or all figures of a row or jar again",
        "Remove the copy, or type what was read.", first=True, whole_jars=True,
    ),
    ReadingError(
        "zero for not read", "zero-for-not-read", counters.zero_for_not_read,
        "exactly zero between readings far from it",
        "Leave the cell empty where nothing was read.", first=True,
    ),
    ReadingError(
        "gas not measured", "missing-readings", counters.not_measured,
        "a reading that says “not measured”",
        "Leave the jar out, unless the gas was too little to matter.", first=True,
    ),
    ReadingError(
        "sample below blank", "sample-below-blank", jars_compared.sample_below_blank,
        "more than 2.5 standard deviations of the blanks below their mean",
        "Check for leaks, look at the blank jars one by one, repeat with less feed.",
    ),
    ReadingError(
        "leaking jar", "leaking-jar", jars_compared.leaking_jar,
        "15 % below its replicate jars and 4.5 times their scatter; weight lost between ventings",
        "Test the jar under water; if it leaks, leave it out and write down why.",
        source=f"{D100}: above 20 % of the gas lost a jar is discarded; {D204} for the weight",
    ),
    ReadingError(
        "odd interval", "odd-interval", by_cause,
        "6.5 standard deviations from replicate jars, and gas that moves the yield by 1.5 %",
        "Look into the log of that day: a typing error, a venting not written down, a restart.",
    ),
    ReadingError(
        "round in another unit", "whole-round", by_cause,
        "four times off in all jars, by the factor between two units",
        "Write the figures of that round in the unit of the column.",
        outcome="fail",
    ),
    ReadingError(
        "round copied", "whole-round", by_cause,
        "the figures of the round before in more jars than chance allows",
        "Type what was read, or take the round out.",
    ),
    ReadingError(
        "venting", "pressure-fell", by_cause,
        "more after venting than before, or a pressure that stands in the next reading again",
        "Write “not vented” where the jar was left closed; exchange the two figures if they were.",
    ),
    ReadingError(
        "weights that do not chain", "weights", by_cause,
        "six times the scatter between a venting and the next weighing, and 3.5 scale divisions",
        "Look at the log for the digit; weigh the bottle again if the trial still runs.",
        source=f"{D204} for what a shut jar may lose",
    ),
    ReadingError(
        "mass or headspace of a jar", "jar-table", by_cause,
        "four times the others', or a sample unlike its replicates' whose gas does not follow it",
        "Look at the list of weighed portions and correct the table of jars.",
        outcome="fail",
    ),
    ReadingError(
        "date a month off", "day-and-month", by_cause,
        "out of the order of the table, and in its order a month away",
        "Correct the month.",
        outcome="fail",
    ),
    ReadingError(
        "methane share unlike its neighbours", "share-unlike-biogas", by_cause,
        "ten percentage points from the readings around it and from replicate jars",
        "Correct the share, or leave it empty: it is then interpolated.",
    ),
    ReadingError(
        "missing readings", "missing-readings", counters.missing_readings,
        "three readings that most jars have",
        "The gas of the gap counts only if the vessel or lid kept it; say so in a note.",
    ),
    ReadingError(
        "jar ends early", "missing-readings", counters.ends_early,
        "three rounds or more before most jars, and in under 60 % of their time",
        "Leave the jar out, and write why: a yield ends where the first of its jars ends.",
    ),
    ReadingError(
        "pressure fell while closed", "pressure-fell", headspace.pressure_fall,
        "4 kPa more than the temperature explains",
        "A venting that was not written down, a leak, or a log that began again.",
        source="gas law",
    ),
    ReadingError(
        "methane share unlike biogas", "share-unlike-biogas", units_typed.share_unlike,
        "a usual share of at most 90 %",
        "Check the analyser with a known gas; was the sample scrubbed, or was there excess alkali "
        "in the jar?",
        source="Buswell & Boyle: pure lipid gives 70 % (published-equation arithmetic)",
    ),
)  # fmt: skip


_WHOLE = frozenset(
    (
        "interval taken for cumulative",
        "cumulative taken for interval",
        "gauge and absolute pressure",
        "litres and cubic metres",
        "day and month",
    )
)
"""Errors of the whole table: while one stands, single readings tell nothing."""


def find_reading_errors(
    trial: Trial, kinds: tuple[ReadingError, ...] = READING_ERRORS
) -> tuple[Finding, ...]:
    """Return one finding per place where a kind was seen, and one per kind that was not.

    What can be told from the readings as they stand comes first, then the smallest cause of what
    does not fit, one by one; the other checks look at the readings without these causes. Jars
    that are measured in different ways are looked at apart, each set in its own way.
    """
    # gaps, noughts and figures that cannot be compare as false: nothing is told of them
    with np.errstate(all="ignore"):
        parts = [(way, _seen(of_way(trial, way), kinds)) for way in _ways(trial)]
    return tuple(
        answered(finding, trial)
        for kind in kinds
        for finding in _together([(way, kind.findings(found[kind.name])) for way, found in parts])
    )


ANSWER = "looked at"
_ROW = re.compile(r"row (\d+)")


def answered(finding: Finding, trial: Trial) -> Finding:
    """Return a finding that the log answers as looked at: it is then told, and no longer a caution.

    A note answers a caution about its own row; what it names (`looked at: leaking jar`) of its jar,
    or of no jar in particular, it answers whatever the outcome.
    """
    r = trial.readings
    if finding.outcome not in ("caution", "fail") or not any(r.note):
        return finding
    rows = set(map(int, _ROW.findall(finding.where)))
    named = {jar.name for jar in trial.jars} & set(re.split(r"[\s,()]+", finding.where))
    for row, j, note in zip(r.row.tolist(), r.jar.tolist(), r.note, strict=True):
        text = note.lower()
        by_name = finding.check.lower() in text and (not named or trial.jars[j].name in named)
        by_row = row in rows and finding.outcome == "caution"
        if ANSWER in text and (by_name or by_row):
            meaning = f"Answered in row {row} (“{note.strip()}”). {finding.meaning}"
            return replace(finding, outcome="pass", meaning=meaning, advice="")
    return finding


def is_answered(finding: Finding) -> bool:
    """Tell whether a finding passes only because the log answers it."""
    return finding.outcome == "pass" and finding.meaning.startswith("Answered in row ")


def _seen(trial: Trial, kinds: Sequence[ReadingError]) -> dict[str, tuple[Seen, ...] | None]:
    """Return what each check sees in jars of one way of measuring."""
    seen = look(trial)
    found = {kind.name: kind.detect(trial, seen) for kind in kinds if kind.first}
    claimed = np.zeros(trial.readings.jar.size, dtype=bool)
    for places in found.values():
        for place in places or ():
            claimed[list(place.readings)] = True
    causes: tuple[Cause, ...] = ()
    if not any(found.get(name) for name in _WHOLE):
        causes, trial, seen = explain(trial, claimed)
    for kind in kinds:
        told = tuple(
            Seen(one.value, one.where, one.detail) for one in causes if one.name == kind.name
        )
        if kind.first and kind.whole_jars and causes:
            # jars in each other's place look like copies of their true replicates
            still = {place.where for place in kind.detect(trial, seen) or ()}
            before = found[kind.name] or ()
            found[kind.name] = tuple(p for p in before if p.readings or p.where in still)
        if not kind.first:
            left = kind.detect(trial, seen)
            found[kind.name] = told + (left or ()) if told or left is not None else None
    return found


def _ways(trial: Trial) -> list[str]:
    """Return the ways in which jars that were read are measured; else the trial's own."""
    read = set(trial.readings.jar.tolist())
    ways = dict.fromkeys(
        jar.measured for j, jar in enumerate(trial.jars) if jar.role != "weight check" and j in read
    )
    return list(ways) or [trial.setup.measured]


def of_way(trial: Trial, way: str) -> Trial:
    """Return a trial of the jars that are measured in one way, as if there were no others."""
    kept = [
        j
        for j, jar in enumerate(trial.jars)
        if jar.measured == way or (jar.role == "weight check" and way == "mass")
    ]
    setup = replace(trial.setup, measured=way)
    if len(kept) == len(trial.jars):
        return trial if way == trial.setup.measured else replace(trial, setup=setup)
    r = trial.readings
    here = np.isin(r.jar, kept)
    readings = replace(
        r,
        jar=np.searchsorted(kept, r.jar[here]),
        time_d=r.time_d[here],
        row=r.row[here],
        columns={name: values[here] for name, values in r.columns.items()},
        not_vented=r.not_vented[here],
        emptied=r.emptied[here],
        note=tuple(r.note[i] for i in np.flatnonzero(here)),
        taken=None if r.taken is None else tuple(r.taken[i] for i in np.flatnonzero(here)),
    )
    jars = tuple(trial.jars[j] for j in kept)
    return replace(trial, setup=setup, jars=jars, readings=readings)


def _together(found: Sequence[tuple[str, tuple[Finding, ...]]]) -> tuple[Finding, ...]:
    """Put the findings of one kind over the ways of measuring together.

    What was not judged in one way does not pass by another.
    """
    if len(found) == 1:
        return found[0][1]
    seen = [f for _, findings in found for f in findings if f.outcome in ("caution", "fail")]
    if seen:
        return tuple(dict.fromkeys(seen))
    unsure = [(way, f) for way, findings in found for f in findings if f.outcome == "not judged"]
    if not unsure:
        return found[0][1]
    ways = " and ".join(way for way, _ in unsure)
    return (replace(unsure[0][1], meaning=f"{unsure[0][1].meaning} (jars measured by {ways})"),)
