"""Whole trials judged: validated or not and why, what each yield is good for, dose series."""

from dataclasses import replace

import numpy as np
import pytest

from bmp.analyze import analyze
from bmp.jar_columns import jar_columns
from bmp.judge.facts import CELLULOSE_NML_PER_G_VS, Measured
from bmp.judge.overall import judge_trial
from bmp.net import series_yields
from bmp.report.first_screen import first_screen
from tests.simulate_trials import CELLULOSE, FEEDS, Feed, Noise, simulate_trial

QUIET = replace(Noise(), between_jars=0.012, relative=0.005)


def made(seed=1, **changes):
    return simulate_trial(np.random.default_rng(seed), **({"noise": QUIET} | changes)).trial


def checks(results, outcome):
    return {(f.check, f.where) for f in results.checks if f.outcome == outcome}


@pytest.mark.parametrize("way", ["volume", "methane volume", "pressure", "mass"])
def test_a_sound_trial_is_validated_in_every_way_of_measuring(way):
    results = analyze(made(way=way))
    assert results.verdict.validated, results.verdict.words
    assert not checks(results, "fail")
    assert "You can use the yield" in results.feed_verdicts["maize silage"]


def test_a_poor_control_leaves_a_ranking_only():
    results = analyze(made(feeds=(replace(CELLULOSE, B0=300.0), *FEEDS)))
    assert not results.verdict.validated
    assert len(results.verdict.because) == 1
    assert results.verdict.because[0].startswith("yield of the control (cellulose): ")
    assert "for ranking feeds within this trial" in results.feed_verdicts["maize silage"]


def test_a_trial_cut_short_gives_a_lower_bound():
    results = analyze(made(time_d=tuple(float(d) for d in range(1, 13))))
    assert ("duration of the substrate", "maize silage") in checks(results, "fail")
    assert "is a lower bound" in results.feed_verdicts["maize silage"]
    assert not results.verdict.validated


def test_two_jars_are_an_indication():
    trial = made()
    jars = tuple(
        replace(jar, left_out="broken glass") if jar.name == "S1-3" else jar for jar in trial.jars
    )
    results = analyze(replace(trial, jars=jars))
    assert ("jars of substrate", "maize silage") in checks(results, "fail")
    assert "an indication only" in results.feed_verdicts["maize silage"]
    assert "You can use the yield" in results.feed_verdicts["food waste"]


def test_without_a_control_nothing_is_validated():
    results = analyze(made(feeds=FEEDS))
    assert ("control present", "") in checks(results, "fail")
    assert not results.verdict.validated


def test_a_control_on_another_inoculum_does_not_validate():
    trial = made()
    jars = tuple(
        replace(
            jar,
            inoculum="other sludge",
            material="other sludge" if jar.role == "blank" else jar.material,
        )
        if (jar.name[-1] in "345" and jar.role == "blank") or jar.role == "substrate"
        else jar
        for jar in trial.jars
    )
    inoculum = next(m for m in trial.materials if m.role == "inoculum")
    both = (*trial.materials, replace(inoculum, name="other sludge"))
    results = analyze(replace(trial, jars=jars, materials=both))
    assert ("control present", "other sludge") in checks(results, "fail")
    assert not any(
        f.where == inoculum.name and f.check == "control present" for f in results.checks
    )
    assert not results.verdict.validated


def test_without_a_blank_yields_are_gross_and_never_validated():
    trial = made()
    keep = [j for j, jar in enumerate(trial.jars) if jar.role != "blank"]
    here = np.isin(trial.readings.jar, keep)
    r = trial.readings
    readings = replace(
        r, jar=np.searchsorted(keep, r.jar[here]), time_d=r.time_d[here], row=r.row[here],
        columns={k: v[here] for k, v in r.columns.items()}, not_vented=r.not_vented[here],
        emptied=r.emptied[here], note=("",) * int(here.sum()),
    )  # fmt: skip
    gross = replace(
        trial,
        jars=tuple(trial.jars[j] for j in keep),
        readings=readings,
        setup=replace(trial.setup, blank=False),
    )
    results = analyze(gross)
    assert not results.verdict.validated
    assert ("blank measured", "") in checks(results, "fail")
    assert "still holds the inoculum's own gas" in results.feed_verdicts["maize silage"]


def test_a_blank_that_ends_early_is_said():
    trial = made()
    r = trial.readings
    blanks = np.array([jar.role == "blank" for jar in trial.jars])[r.jar]
    keep = ~(blanks & (r.time_d > 30))
    readings = replace(
        r, jar=r.jar[keep], time_d=r.time_d[keep], row=r.row[keep],
        columns={k: v[keep] for k, v in r.columns.items()}, not_vented=r.not_vented[keep],
        emptied=r.emptied[keep], note=("",) * int(keep.sum()),
    )  # fmt: skip
    results = analyze(replace(trial, readings=readings))
    failed = {f.check: f for f in results.checks if f.outcome == "fail"}
    assert failed["blank lasts as long as the control"].value == pytest.approx(15.0)


def test_a_yield_above_its_own_ceiling_fails():
    """Published: 918.53 mL CH4/g VS where 350 COD/VS allows 584.75 (vinasse, 157 %)."""
    trial = made(feeds=(CELLULOSE, Feed("vinasse", 918.53, 0.2, VS=0.024, TS=0.03)))
    plain = analyze(trial)
    limit = {"vinasse": 350.0 * 39.93 / 23.90}
    assert limit["vinasse"] == pytest.approx(584.75, abs=0.01)
    jars = jar_columns(trial)
    columns = series_yields(plain.gas, jars, plain.curves, plain.blanks)
    most = np.array([limit.get(name, np.nan) for name in jars.series_names])
    measured = Measured(jars, plain.gas, plain.blanks, plain.curves, columns, most)
    judged = judge_trial(measured, plain.yields)
    name = "yield of the substrate against its own theory"
    (found,) = [f for f in judged.checks if f.check == name and f.where == "vinasse"]
    assert found.outcome == "fail"
    assert found.value == pytest.approx(157.0, abs=6.0)
    assert judged.feed_verdicts["vinasse"].startswith("Do not use the yield of vinasse")


def test_more_than_fat_can_give_fails_without_any_analysis():
    results = analyze(made(feeds=(CELLULOSE, Feed("wonder", 1200.0, 0.2))))
    assert ("yield of the substrate against mass balance", "wonder") in checks(results, "fail")


def test_a_yield_below_zero_is_kept_and_said():
    results = analyze(made(feeds=(CELLULOSE, Feed("disinfectant", -30.0, 0.2))))
    assert ("yield of the substrate above zero", "disinfectant") in checks(results, "fail")
    inhibited = next(f for f in results.checks if f.check == "inhibition")
    assert "consistent with" in inhibited.meaning
    assert inhibited.value < 0
    assert results.feed_verdicts["disinfectant"].startswith("Do not use")


def test_slips_of_another_feed_do_not_touch_this_one():
    trial = made(leak_share={"S2-2": 0.5})
    results = analyze(trial)
    assert "leaking jar" in results.feed_verdicts["food waste"]
    assert "leaking jar" not in results.feed_verdicts["maize silage"]
    odd = next(f for f in results.checks if f.check == "jar unlike its replicates")
    assert "S2-2" in odd.meaning


def test_a_dose_series_is_recognised_and_its_inhibition_named():
    trial = made(feeds=(CELLULOSE, *(Feed(f"fish {n}", 400.0 - 60 * n, 0.3 / (1 + n))
                                     for n in range(3))))  # fmt: skip
    ratios = {"fish 0": 4.0, "fish 1": 2.0, "fish 2": 1.0}
    fish = replace(trial.material("fish 0"), name="fish")
    materials = (*(m for m in trial.materials if not m.name.startswith("fish")), fish)
    jars = tuple(
        replace(jar, material="fish", group=jar.material[-1],
                inoculum_g=jar.inoculum_g * ratios[jar.material] / 2.0)
        if jar.material in ratios else jar
        for jar in trial.jars
    )  # fmt: skip
    results = analyze(replace(trial, jars=jars, materials=materials))
    (series,) = results.doses
    assert series.material == "fish"
    assert [round(one.dose, 1) for one in series.doses] == [0.2, 0.5, 1.0]
    found = next(f for f in results.checks if f.check == "rate falling with dose")
    assert found.outcome == "caution"
    assert "consistent with inhibition" in found.meaning


def test_older_rule_sets_stand_beside_and_never_decide():
    results = analyze(made(blank_yield=90.0))
    assert set(results.older_verdicts) == {"Holliger et al. 2016", "VDI 4630"}
    assert not results.older_verdicts["VDI 4630"].validated
    assert results.verdict.validated


def test_no_slip_is_said_with_what_could_not_be_looked_for():
    results = analyze(made())
    found = next(f for f in results.checks if f.check == "reading errors")
    assert found.outcome == "pass"
    assert "Could not be judged: sea-level pressure at altitude" in found.meaning


def test_cellulose_by_its_formula():
    """Buswell & Boyle for C6H10O5 with 22,414 mL/mol: 414.7 NmL/g (published figure)."""
    mass = 6 * 12.011 + 10 * 1.008 + 5 * 15.999
    assert pytest.approx(22414 * 3 / mass, abs=0.05) == CELLULOSE_NML_PER_G_VS


def test_more_than_fat_can_give_fails_per_gram_of_fresh_mass_too():
    """A gram of fresh mass holds at most a gram of VS: Angelidaki & Sanders 2004, lipid 1014."""
    trial = made(feeds=(CELLULOSE, Feed("wonder", 1200.0, 0.2, VS=0.97, TS=0.98)))
    fresh = tuple(
        replace(m, TS=None, VS=None, TS_u=None, VS_u=None) if m.name == "wonder" else m
        for m in trial.materials
    )
    results = analyze(replace(trial, materials=fresh))
    (one,) = [y for y in results.yields if y.series == "wonder"]
    assert one.per == "fresh"
    assert ("yield of the substrate against mass balance", "wonder") in checks(results, "fail")
    assert results.feed_verdicts["wonder"].startswith("Do not use the yield of wonder")


def test_readings_that_are_all_nought_rank_nothing():
    trial = made()
    columns = {
        name: 0.0 * values if name == "volume_mL" else values
        for name, values in trial.readings.columns.items()
    }
    results = analyze(replace(trial, readings=replace(trial.readings, columns=columns)))
    assert results.comparisons.why_none == "no gas was read in any jar"
    assert results.comparisons.first is None
    assert not results.verdict.validated
    assert first_screen(results).basis == "No gas was read in any jar."
    for one in results.yields:
        assert results.feed_verdicts[one.series].startswith("Do not use")


def test_jars_that_are_copies_have_no_scatter_to_judge():
    trial = made()
    first = next(j for j, jar in enumerate(trial.jars) if jar.role == "control")
    jars = tuple(
        replace(
            jar, sample_g=trial.jars[first].sample_g, inoculum_g=trial.jars[first].inoculum_g,
            headspace_mL=trial.jars[first].headspace_mL,
        )
        if jar.role == "control"
        else jar
        for jar in trial.jars
    )  # fmt: skip
    r = trial.readings
    columns = {name: values.copy() for name, values in r.columns.items()}
    for j, jar in enumerate(trial.jars):
        if jar.role == "control":
            for values in columns.values():
                values[r.jar == j] = values[r.jar == first]
    results = analyze(replace(trial, jars=jars, readings=replace(r, columns=columns)))
    assert ("scatter of the control", "cellulose") in checks(results, "not judged")
    assert not results.verdict.validated


def test_a_control_at_half_its_yield_is_no_ground_for_a_tank():
    far = analyze(made(feeds=(replace(CELLULOSE, B0=170.0), *FEEDS))).feed_verdicts
    near = analyze(made(feeds=(replace(CELLULOSE, B0=310.0), *FEEDS))).feed_verdicts
    assert "Do not plan a tank with it" in far["maize silage"]
    assert "Plan a tank only with a wider span" in near["maize silage"]
    assert "More than half of first tests fail here" in near["cellulose"]


def test_a_control_that_still_makes_gas_is_not_called_broken():
    words = analyze(made(time_d=tuple(float(d) for d in range(1, 9)))).feed_verdicts
    assert "did not hold" not in " ".join(words.values())
    assert all("still made gas" in text or "still makes gas" in text for text in words.values())
