"""Results to report on: invented trials of every shape, made once each."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from bmp.analyze import analyze
from bmp.finding import Finding
from bmp.judge.criteria import Verdict
from bmp.judge.diagnosis import DoseSeries, DoseStep
from bmp.results import Results
from bmp.trial import Readings, Trial
from tests.simulate_trials import CELLULOSE, DAILY, FEEDS, SPARSE, Feed, simulate_trial

HOSTILE_TITLE = '=HYPERLINK("http://x") <img src=x>'
HOSTILE_FEED = "<script>alert(1)</script> $x_$ oil"
FORMULA_FEED = '=cmd|" /C calc"!A0'
DOSES = (DoseStep("whey", 0.25, 340.0, 170.0), DoseStep("whey", 1.0, 320.0, 80.0))
LONG_NAMES = (
    "maize silage", "food waste", "spent brewers' grain", "cow manure from the old shed",
    "goat bedding, with straw", "whey", "grass silage",
)  # fmt: skip


def _drawn(**options: object) -> Trial:
    return simulate_trial(np.random.default_rng(3), **options).trial


@cache
def plain() -> Results:
    """Cellulose and two feeds, three jars each, 45 days."""
    return analyze(_drawn())


@cache
def eight() -> Results:
    """Eight series."""
    yields = (340.0, 450.0, 330.0, 210.0, 190.0, 345.0, 335.0)
    feeds = [Feed(name, B0, 0.15) for name, B0 in zip(LONG_NAMES, yields, strict=True)]
    return analyze(_drawn(feeds=(CELLULOSE, *feeds), time_d=SPARSE))


@cache
def single() -> Results:
    """One jar a feed, one blank."""
    return analyze(_drawn(jars_per_material=1, blanks=1, time_d=SPARSE))


@cache
def one_series() -> Results:
    """Cellulose alone."""
    return analyze(_drawn(feeds=(CELLULOSE,), time_d=SPARSE))


@cache
def weighed() -> Results:
    """Closed jars that were weighed, with a dummy for the scale."""
    return analyze(_drawn(way="mass", with_volume=True, dummies=1, time_d=SPARSE))


@cache
def pressed() -> Results:
    """Closed jars whose pressure was read."""
    return analyze(_drawn(way="pressure", left_gauge_share=0.3, time_d=SPARSE))


@cache
def absorbed() -> Results:
    """Methane volume behind an absorber."""
    return analyze(_drawn(way="methane volume", time_d=SPARSE))


@cache
def blanks_only() -> Results:
    """No jar with a sample."""
    return analyze(_drawn(feeds=(), time_d=SPARSE))


def unfitted() -> Results:
    """No kinetics: nothing could be fitted."""
    return replace(three_readings(), fits={})


@cache
def many() -> Results:
    """Fourteen series, with names in other scripts, broad ones, long ones and equal yields."""
    names = (
        "\N{CJK UNIFIED IDEOGRAPH-725B}\N{CJK UNIFIED IDEOGRAPH-7CAA}",
        "WWWWWWWW MMMMMMMM WWWWWWWW",
        "a-name-without-a-single-blank-that-goes-on-and-on",
        *(f"feed {letter}" for letter in "abcdefghij"),
    )
    feeds = [Feed(name, 300.0 + number // 4, 0.15) for number, name in enumerate(names)]
    return analyze(_drawn(feeds=(CELLULOSE, *feeds), time_d=SPARSE, jars_per_material=2))


@cache
def three_readings() -> Results:
    """Three readings a jar."""
    return analyze(_drawn(time_d=(7.0, 21.0, 45.0)))


@cache
def unfinished() -> Results:
    """Eight days only."""
    return analyze(_drawn(time_d=DAILY[:8]))


@cache
def gross() -> Results:
    """No blank."""
    trial = _drawn(blanks=0, feeds=FEEDS, time_d=SPARSE)
    return analyze(replace(trial, setup=replace(trial.setup, blank=False)))


@cache
def hostile() -> Results:
    """A yield below zero, one per fresh mass, jars left out, and names meant to do harm."""
    feeds = (CELLULOSE, Feed(HOSTILE_FEED, -40.0, 0.2), Feed(FORMULA_FEED, 300.0, 0.2))
    trial = _drawn(feeds=feeds, time_d=SPARSE)
    jars = list(trial.jars)
    jars[-1] = replace(jars[-1], left_out="cracked lid on day 3")
    jars[0] = replace(jars[0], left_out="=spilt")
    materials = [*trial.materials[:-1], replace(trial.materials[-1], VS=None, VS_u=None)]
    setup = replace(trial.setup, title=HOSTILE_TITLE)
    ignored = ("column <b>foo</b> is not used",)
    return analyze(
        replace(trial, jars=tuple(jars), materials=tuple(materials), setup=setup, ignored=ignored)
    )


@cache
def handed_in() -> Results:
    """Curves that came corrected (`net yield`)."""
    drawn = plain()
    curves, trial = drawn.curves, drawn.trial
    kept = [i for i, jar in enumerate(trial.jars) if jar.role != "blank"]
    number = {old: new for new, old in enumerate(kept)}
    size = curves.jar.size
    readings = Readings(
        np.array([number[i] for i in curves.jar]),
        curves.time_d,
        np.arange(size),
        {"net_yield_mL_per_g": curves.net},
        np.zeros(size, bool),
        np.zeros(size, bool),
        ("",) * size,
    )
    jars = tuple(replace(trial.jars[i], measured="net yield") for i in kept)
    setup = replace(trial.setup, measured="net yield", blank=False)
    return analyze(replace(trial, jars=jars, readings=readings, setup=setup))


def judged() -> Results:
    """The plain trial with a finding of every outcome."""
    found = {"pass": 2.0, "caution": 7.25, "fail": "gas < air", "not judged": None}
    checks = tuple(
        Finding(f"check {outcome}", outcome, value, "at most 6 %", "a source", "What it means.",
                "What to do.", series)
        for outcome, value in found.items()
        for series in ("food waste", "whey")
    )  # fmt: skip
    return replace(
        plain(),
        checks=checks,
        verdict=Verdict(False, ("it is a test",), "a list of criteria"),
        feed_verdicts={"food waste": "Good enough for planning."},
        older_verdicts={"an older list": Verdict(True, (), "an older list")},
        doses=(DoseSeries("whey", DOSES, 3.5),),
    )


EVERY = {
    made.__name__: made
    for made in (
        plain,
        eight,
        single,
        one_series,
        blanks_only,
        unfitted,
        weighed,
        pressed,
        absorbed,
        many,
        three_readings,
        unfinished,
        gross,
        hostile,
        handed_in,
        judged,
    )
}
