# ruff: noqa: E501 (tables of the guide as they are written)
"""Measure how often reading errors are named, and how often an innocent jar is accused.

Run from the project root: `python -m tests.benchmarks.reading_errors [TRIALS] [KIND …]`. With
`--write` the guide's index is written. Errors of hands are planted into trials of `tests.worlds`
with jars read 0, 0.1, 2 and 10 minutes apart; the worst of the four stands in the table. An error
counts where it moves the yield of a feed by more than 2 % or makes an analysis refuse the trial.
Errors of whole tables (`tests.planted`) are planted as they are.
"""

from __future__ import annotations

import re
import sys
import warnings
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from bmp.check import check
from bmp.finding import Finding
from bmp.jar_columns import jar_columns
from bmp.judge.cause import ONE_OF
from bmp.judge.reading_errors import READING_ERRORS, find_reading_errors
from bmp.net import blank_means, net_curves, series_yields
from bmp.normalise import normalise
from bmp.normalise.gas_problems import impossible_falls, unknown_gas
from bmp.trial import Trial
from tests.planted import PLANTED
from tests.planted_by_hands import HANDS, Error, NotHere
from tests.worlds import MINUTES_APART, world

GUIDE = Path(__file__).parents[2] / "bmp" / "guide" / "reading_errors"
SETUP = ("jars of", "control present", "yield of the control", "pressure in shut jars")
"""Findings about the setup of a trial, which a world may have."""


def yields(trial: Trial) -> dict[str, float] | None:
    """Return the yield of each series; `None` where the trial is refused."""
    gas = normalise(trial)
    if [*impossible_falls(trial, gas), *unknown_gas(trial, gas)]:
        return None
    jars = jar_columns(trial)
    blanks = blank_means(gas, jars)
    columns = series_yields(gas, jars, net_curves(gas, jars, blanks), blanks)
    return dict(zip(jars.series_names, columns.value.tolist(), strict=True))


def moves(error: Error, least: float = 0.02) -> bool:
    """Tell whether the error moves a yield by more than a share of it."""
    assert error.sound is not None
    before, after = yields(error.sound), yields(error.trial)
    if before is None:
        return False
    if after is None:
        return True
    return any(
        abs(after.get(name, 0.0) - value) > least * abs(value) for name, value in before.items()
    )


def found(trial: Trial) -> list[Finding]:
    """Return what `bmp check` says of the readings."""
    told = check(trial)
    name_of_row = {
        int(row): trial.jars[int(jar)].name
        for row, jar in zip(trial.readings.row, trial.readings.jar, strict=True)
    }
    refused = [
        Finding("refused", "fail", None, "", "", p.what, "", name_of_row.get(p.row or 0, ""))
        for p in told.problems
    ]
    return [*refused, *(f for f in told.findings if not f.check.startswith(SETUP))]


def accused(finding: Finding, trial: Trial) -> set[str]:
    """Return the jars that a finding is about."""
    names = {jar.name for jar in trial.jars}
    return {word for word in re.findall(r"[\w-]+", finding.where) if word in names}


def outcome(error: Error) -> tuple[bool, bool]:
    """Return whether the error was named, and whether an innocent jar was accused."""
    named, innocent = False, False
    for finding in found(error.trial):
        jars = accused(finding, error.trial)
        if error.jars:
            named |= bool(jars & error.jars) or any(n in finding.where for n in error.jars)
            # of jars that explain it as well as one another none is accused
            one_of = finding.where.startswith(ONE_OF) and bool(jars & error.jars)
            innocent |= bool(jars - error.jars) and not one_of
        else:
            named = True
    return named, innocent


def measure(label: str, trials: int, minutes: float, seed: int = 1) -> Counter:
    """Plant one kind of error so many times and count."""
    plant = HANDS[label][1]
    rng = np.random.default_rng([seed, round(10 * minutes), *label.encode()[:8]])
    count: Counter = Counter()
    tries = 0
    while count["planted"] < trials and tries < 6 * trials:
        tries += 1
        try:
            error = plant(rng, minutes)
        except NotHere:
            continue
        if not moves(error) and "weight" not in label and "inoculum's VS" not in label:
            continue
        named, innocent = outcome(error)
        count.update(planted=1, named=named, innocent=innocent)
    return count


def false_alarms(trials: int, seed: int = 2) -> Counter:
    """Count, over trials without any error, which findings are named."""
    rng = np.random.default_rng(seed)
    count: Counter = Counter()
    for _ in range(trials):
        names = {f.check for f in found(world(rng).trial)}
        count.update(names)
        count["any"] += bool(names)
    return count


def wilson(hits: int, trials: int) -> tuple[float, float]:
    """Wilson 1927 score interval, 95 %."""
    z, p = 1.959964, hits / max(trials, 1)
    middle = (p + z * z / (2 * trials)) / (1 + z * z / trials)
    half = z * np.sqrt(p * (1 - p) / trials + z * z / (4 * trials**2)) / (1 + z * z / trials)
    return middle - half, middle + half


@dataclass(frozen=True)
class Row:
    """One kind of planted error: its worst rate and its counts by minutes between jars."""

    label: str
    each: dict[float, Counter]

    @property
    def worst(self) -> float:
        """Minutes between jars at which it is named least often."""
        return min(self.each, key=lambda m: self.rate(m))

    def rate(self, minutes: float) -> float:
        count = self.each[minutes]
        return count["named"] / max(count["planted"], 1)

    @property
    def planted(self) -> int:
        return sum(count["planted"] for count in self.each.values())

    @property
    def innocent(self) -> float:
        return sum(count["innocent"] for count in self.each.values()) / max(self.planted, 1)


def of_whole_tables(label: str, trials: int) -> Row:
    """Plant an error of a whole table and count whether its own check names it."""
    check_name, plant = PLANTED[label]
    rng = np.random.default_rng(2)
    count: Counter = Counter()
    for _ in range(trials):
        outcomes = [f.outcome for f in find_reading_errors(plant(rng)) if f.check == check_name]
        if "not judged" not in outcomes:
            count.update(planted=1, named="caution" in outcomes or "fail" in outcomes)
    return Row(label, {0.0: count})


def running_alarms(trials: int) -> Counter:
    """Count false alarms in trials that are cut off while they run."""
    rng = np.random.default_rng(3)
    count: Counter = Counter()
    for _ in range(trials):
        trial = world(rng).trial
        times = np.unique(trial.readings.time_d)
        last = times[int(rng.integers(times.size // 4, times.size - 1))]
        readings = trial.readings.where(trial.readings.time_d <= last)
        names = {f.check for f in found(replace(trial, readings=readings))}
        count.update(names)
        count["any"] += bool(names)
    return count


HEAD = """# Reading errors

`bmp analyze` and `bmp check` look for these errors. Each is named with the readings concerned and never corrected: the
readings stay as they are until you change them. What the readings cannot show is said to be not judged, which is not a
pass. The smallest cause is named first; what it explains is taken out before anything else is looked for.

A note of the reading that says “looked at” answers what is said of that reading; “looked at: leaking jar” answers that
of its jar. It is then shown as answered, and is no caution any more.

| reading error | when it is named | page |
|---|---|---|
"""
SEEN_FROM = """
## What cannot be seen

| what | from what size it begins to show |
|---|---|
| one reading too small or too large, or a lost interval | 6.5 times the scatter beside replicate jars (5 under 0.6 or over 2 times, 4 with next to nothing read), and 1.5 % of the feed's net gas: 3 % of one of two jars', 7.5 % of one of five |
| a pressure that stands in the next reading again, or gas of the last round only | four times the scatter beside replicate jars |
| which of two jars is wrong | where neither leaves its own rates, both are named |
| a figure of a blank | 10 % of the blank's gas |
| the first day | not judged: jars begin when they begin |
| a reading of next to nothing in another unit | 1 kPa or 4 mL where all jars are off by one factor, else 5 kPa or 20 mL |
| figures before and after venting exchanged | 3 kPa above the air's pressure |
| two jars exchanged | where their feeds' gas differs by a fifth and 1 % of a jar's gas is moved (4 % of a blank's) |
| which pair of two feeds with two jars each | where no curve jumps and no blank is among them, all four are named |
| a jar counted twice | not in figures so coarse that replicate jars often have the same (100 mL read in steps of 10 mL) |
| a copied round | not in figures that often stay the same from round to round |
| a leak | 15 % of the jar's gas and 4.5 times the scatter of the others; by weight three times the balance's error |
| digits of a sample's mass exchanged | 4 % where portions are weighed alike; else 3.7 times the scatter of the jars' yields |
| a weight that does not chain | 3.5 divisions of the balance and six times its scatter |
| a methane share | ten percentage points |
| VS of the other kind, in a feed above 40 % TS | 4.5 % where all feeds were weighed to one ratio of inoculum to feed; else only by a yield above theory |
| an inoculum's VS ten times too large, without its TS | 15 g of inoculum VS for each g of feed VS |
| an error that all jars share from the first day to the last (temperature, VS, air pressure) | only by the control's yield |
"""


def tables(trials: int, rows: list[Row], whole: list[Row], alarms: int) -> str:
    """Return the guide's page."""
    lines = [HEAD.rstrip()]
    lines += [f"| {e.name} | {e.limit} | [{e.page}]({e.page}.md) |" for e in READING_ERRORS]
    lines.append(SEEN_FROM)
    lines.append(
        "## How often errors of hands are named\n\n"
        "Measured on simulated trials (`python -m tests.benchmarks.reading_errors`): volumes, counters, kept vessels, absorbers,\n"
        "pressures and masses. Feeds have low yields, long lags or two parts. Readings are daily, on weekdays, with holidays,\n"
        "six-hourly or sparse. Figures are rounded to up to 10 mL. There are 2 to 5 jars a feed, read 0, 0.1, 2 or 10 minutes apart\n"
        "in random order, with rounds skipped. Only errors that move a feed's yield by more than 2 % (of masses: all).\n"
        "The worst of the four distances, worst kinds first; in brackets the lower 95 % bound (Wilson).\n"
        "An error that explains as well in another jar is named with “one of:”; no jar is accused then.\n"
    )
    lines += ["| planted | named, % | at minutes | named over all, % | innocent jar accused, % | trials |",
              "|---|---|---|---|---|---|"]  # fmt: skip
    for row in sorted(rows, key=lambda r: r.rate(r.worst)):
        at = row.worst
        count = row.each[at]
        low = 100 * wilson(count["named"], count["planted"])[0]
        over = sum(c["named"] for c in row.each.values()) / max(row.planted, 1)
        lines.append(
            f"| {row.label} | {100 * row.rate(at):.0f} ({low:.0f}) | {at:g} | {100 * over:.0f} "
            f"| {100 * row.innocent:.1f} | {row.planted} |"
        )
    lines.append("\n## How often errors of whole tables are named\n")
    lines += ["| planted | named by its own check, of judged, % | judged |", "|---|---|---|"]
    for row in sorted(whole, key=lambda r: r.rate(0.0)):
        count = row.each[0.0]
        low = 100 * wilson(count["named"], count["planted"])[0]
        lines.append(
            f"| {row.label} | {100 * row.rate(0.0):.1f} ({low:.1f}) | {count['planted']} |"
        )
    wrong, early = false_alarms(alarms), running_alarms(alarms)
    lines.append(
        f"\n## False alarms\n\nIn {alarms} trials without any error, and in {alarms} cut off while they run.\n"
    )
    lines += ["| reading error | false alarms, % | while running, % |", "|---|---|---|"]
    names = sorted((e.name for e in READING_ERRORS), key=lambda n: -wrong[n] - early[n])
    for name in ("any", *names):
        shown = "**any of them**" if name == "any" else name
        cells = (
            f"{100 * c[name] / alarms:.2f} ({100 * wilson(c[name], alarms)[1]:.1f})"
            for c in (wrong, early)
        )
        lines.append(f"| {shown} | {' | '.join(cells)} |")
    return "\n".join(lines) + "\n"


def main(trials: int, labels: list[str], write: bool) -> None:
    """Print how often each kind is named, and write the guide's page."""
    warnings.simplefilter("ignore")
    rows = []
    for label in labels or list(HANDS):
        row = Row(label, {m: measure(label, trials, m) for m in MINUTES_APART})
        rows.append(row)
        rates = " ".join(f"{100 * row.rate(m):.0f}" for m in MINUTES_APART)
        print(
            f"{label:45s} {rates}; innocent {100 * row.innocent:.0f} %; {row.planted}", flush=True
        )
    if write:
        whole = [of_whole_tables(label, 3 * trials) for label in PLANTED]
        page = tables(trials, rows, whole, 20 * trials)
        (GUIDE / "index.md").write_text(page, encoding="utf-8")


if __name__ == "__main__":
    words = [word for word in sys.argv[1:] if word != "--write"]
    count = int(words[0]) if words else 10
    main(count, words[1:], "--write" in sys.argv)
