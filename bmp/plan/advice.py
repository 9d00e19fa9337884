"""What to watch in a planned trial, in plain sentences with their figures and sources."""

from __future__ import annotations

from bmp.plan.dosing import (
    ADVISED_RATIO,
    ADVISED_SUBSTRATE_VS_G,
    D304,
    LARGEST_HEADSPACE_ML_PER_G_VS,
    LEAST_HEADSPACE_ML_PER_G_VS,
)
from bmp.plan.draft import Draft, assumed_shares
from bmp.plan.gas import stop_days
from bmp.plan.literature import UNKNOWN_FEED
from bmp.plan.power import (
    design_of,
    detectable_difference,
    just_significant,
    weighing_rsd,
)
from bmp.plan.reading_rounds import (
    CAUTIOUS_GAUGE_KPA,
    Round,
    calendar,
    hours_until_gauge,
    planned_limit_kPa,
    worst_burden,
)
from bmp.plan.request_checks import LEAST_JARS

# Sizes in which cylinders and bags are sold, mL: common practice, no source.
COLLECTOR_SIZES_ML = (100, 250, 500, 1000, 2000, 5000, 10_000, 20_000, 50_000)
# A scale that adds less to the scatter between jars is not worth a word.
MOST_WEIGHING_RSD = 0.01
# With more jars of each feed than these what borrowed scatter gains is not said.
MOST_BORROWING_JARS = 3
DRAFT_2020 = "Standard BMP Methods, 2020 draft"

# What holds for every trial, before it starts and while it runs.
ALWAYS: tuple[str, ...] = (
    "inoculum: pH 7.0 to 8.5, at most 5 days old, sieved if it has lumps over 10 mm "
    f"({DRAFT_2020})",
    "weigh what goes into each jar and write it over the planned masses in the sheet “jars”",
    "flush the headspace (the gas space above the liquid) with at least 3 times its volume "
    f"({DRAFT_2020})",
    f"keep the jars within 2 °C and swirl each at least once a day ({DRAFT_2020})",
    f"read room temperature and air pressure at every round ({DRAFT_2020})",
    "stop when every jar's daily methane is below 1 % of its net total on 3 days in a row. "
    "Blanks go on as long (document 100 v1.9)",
)


def advise(draft: Draft, rounds: tuple[Round, ...]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return what to watch, and what was assumed."""
    vessel = _pressure(draft) if draft.request.outlet == "closed" else _collector(draft, rounds)
    watch = (
        *vessel,
        *_weighing(draft),
        *_methane(draft),
        *_ratios(draft),
        *_headspace(draft),
        *_jars(draft),
        *_length(draft),
        *ALWAYS,
    )
    return watch, _assumed(draft)


def _hours(hours: float | None) -> str:
    return "not within the trial" if hours is None else f"after {hours:.0f} h"


def _pressure(draft: Draft) -> list[str]:
    rating, units = draft.request.vessel_rating_kPa, draft.request.units
    if rating is None:
        return []

    def gauge(kPa: float) -> str:
        return f"{units.shown('gauge', kPa):.3g} {units.gauge}"

    bound = planned_limit_kPa(rating)
    planned = _hours(hours_until_gauge(draft, bound, "high"))
    rated_high = _hours(hours_until_gauge(draft, rating, "high"))
    rated_middle = _hours(hours_until_gauge(draft, rating, "middle"))
    lines = []
    if bound > CAUTIOUS_GAUGE_KPA:
        lines.append(
            f"planned up to {gauge(bound)} gauge: more than the cautious "
            f"{gauge(CAUTIOUS_GAUGE_KPA)} of document 304"
        )
    return [
        *lines,
        f"vented on plan, no jar passes {gauge(bound)} gauge, even at the highest and fastest "
        f"published gas; the vessel is rated {gauge(rating)}",
        "never miss the first ventings. "
        f"Left unvented from the start, the fastest jar reaches {gauge(bound)} {planned}. "
        f"It reaches the rating {rated_high} at the highest published gas, {rated_middle} at "
        "the typical",
    ]


def _collector(draft: Draft, rounds: tuple[Round, ...]) -> list[str]:
    high = max(worst_burden(draft, r.time_d - r.since_d, r.time_d) for r in rounds)
    given = draft.request.collector_mL
    lines = ["the outlet of every jar stays open: never close it, not even to move the jar"]
    if given is not None:
        lines.append(
            f"the collector of {given:g} mL holds the gas of every interval: at most {high:.0f} mL "
            "at the highest published gas"
        )
        daily = worst_burden(draft, 0.0, calendar(draft).longest_gap_d(1))
        if daily > given:
            lines.append(
                "some days have more than one round: a single round could bring "
                f"{daily:.0f} mL, more than the collector holds"
            )
        return lines
    if draft.request.measured == "mass":
        lines.append(
            f"each jar lets out up to {high:.0f} mL between two rounds: keep the room aired. Hang "
            "no bag on a jar that is weighed, its gas would be weighed with it"
        )
        return lines
    size = next((s for s in COLLECTOR_SIZES_ML if s >= high), None)
    words = f"{size} mL" if size else f"at least {high:.0f} mL"
    lines.append(
        f"a cylinder or bag of {words} a jar holds the gas of every interval: up to {high:.0f} mL "
        "in the fullest. Name a smaller one as “collector”, and the jars are filled for it"
    )
    feeds = [sample for sample in draft.samples if sample.role == "substrate"]
    if not all(feed.solids.measured for feed in feeds):
        lines.append(
            "that is for the highest VS that the feeds may have: with TS and VS measured a smaller "
            "one does"
        )
    return lines


def _weighing(draft: Draft) -> list[str]:
    request = draft.request
    if request.measured != "mass" or request.outlet != "open":
        return []
    return [
        "weigh every jar as soon as it is closed, into the logbook's first rows. Without it the "
        "gas of the first round is lost and the yield comes out too low"
    ]


def _methane(draft: Draft) -> list[str]:
    shares = assumed_shares(draft)
    if not shares:
        return []
    words = ", ".join(
        f"{name} {100 * share.low:.0f} to {100 * share.high:.0f} %"
        for name, share in shares.items()
    )
    most = max((share.high - share.low) / (share.high + share.low) for share in shares.values())
    return [
        f"nobody measures the methane share, so that of the kind of feed is assumed: {words}",
        f"that alone makes a yield uncertain by up to {100 * most:.0f} %. A syringe shaken with "
        "soda lye, or an absorber before the cylinder, would measure it",
    ]


def _ratios(draft: Draft) -> list[str]:
    lines = []
    for sample, dose in zip(draft.samples, draft.doses[1:], strict=True):
        pace, ratio = sample.literature.pace, sample.ratio
        advised = ADVISED_RATIO[pace]
        ratio_words = f"{sample.name}: inoculum to substrate {ratio:g}"
        if sample.role == "substrate" and pace != "medium" and advised != ratio:
            way = "down" if advised < ADVISED_RATIO["medium"] else "up"
            lines.append(
                f"{ratio_words}; for {pace} feeds {way} to {advised:g} is advised ({DRAFT_2020})"
            )
        elif not ADVISED_RATIO["slow"] <= ratio <= ADVISED_RATIO["fast"]:
            lines.append(
                f"{ratio_words} lies outside the advised 1 to 4 ({DRAFT_2020}). At 0.05 the lag "
                "passed 10 days and the yield was 15 % low (Koch et al. 2019)"
            )
        if not (sample.solids.measured and draft.inoculum_solids.measured):
            low, high = dose.ratio_low or 0.0, dose.ratio_high
            span = f"{low:.1f} to {high:.1f}" if high is not None else f"at least {low:.1f}"
            lines.append(
                f"{sample.name}: VS from a range, so the true ratio is anywhere from {span}; "
                "measure TS and VS"
            )
    return lines


def _headspace(draft: Draft) -> list[str]:
    most = max(d.sample_VS_g for d in draft.doses)
    least = min(d.sample_VS_g for d in draft.doses if d.sample_VS_g)
    headspace = draft.doses[0].headspace_mL
    rule = f"{D304}: {LEAST_HEADSPACE_ML_PER_G_VS:g} to {LARGEST_HEADSPACE_ML_PER_G_VS:g}"
    lines = []
    if headspace / most < LEAST_HEADSPACE_ML_PER_G_VS:
        lines.append(f"headspace of {headspace / most:.0f} mL per g VS is little ({rule})")
    if headspace / least > LARGEST_HEADSPACE_ML_PER_G_VS:
        lines.append(
            f"headspace of {headspace / least:.0f} mL per g VS is much ({rule}): the gas that "
            "stays in it makes readings less exact"
        )
    return lines


def _jars(draft: Draft) -> list[str]:
    request = draft.request
    n, lines = request.planned_jars, []
    if n < LEAST_JARS or request.planned_blanks < LEAST_JARS:
        lines.append(
            f"fewer than {LEAST_JARS} jars of a kind: the trial cannot be validated "
            "(document 100 v1.9)"
        )
    elif n == LEAST_JARS:
        lines.append(
            f"{LEAST_JARS} jars of a kind leave none to lose; 4 are advised, above all of blanks "
            "(document 100 v1.9)"
        )
    if request.planned_blanks == 1:
        lines.append("one blank: the scatter of the inoculum's own gas stays unknown")
    if not request.planned_control:
        lines.append(
            "no control: whether the inoculum is sound stays unknown. The trial cannot be "
            "validated (document 100 v1.9)"
        )
    return [*lines, *_least_VS(draft), *_scale(draft), *_power(draft)]


def _least_VS(draft: Draft) -> list[str]:
    least = min(d.sample_VS_g for d in draft.doses if d.role != "blank")
    if least >= ADVISED_SUBSTRATE_VS_G * 0.99:
        return []
    return [
        f"{least:.2f} g of VS in a jar; at least {ADVISED_SUBSTRATE_VS_G:g} g is advised ({D304}). "
        "Cut and mix the feed well, so that each jar is a fair sample"
    ]


def _scale(draft: Draft) -> list[str]:
    rsd, step = weighing_rsd(draft), draft.request.scale_g
    if rsd < MOST_WEIGHING_RSD:
        return []
    return [
        f"a scale that shows {step:.3g} g weighs the smallest sample to ± {200 * rsd:.0f} % "
        f"(95 %); one that shows {step / 10:.3g} g to ± {20 * rsd:.1g} %"
    ]


def _power(draft: Draft) -> list[str]:
    """Say what difference will show, with the test that compares the feeds of this trial."""
    feeds = sum(s.role == "substrate" for s in draft.samples)
    n, rsd = draft.request.planned_jars, draft.request.expected_rsd
    if feeds < 2:
        return []
    measured = all(s.solids.measured for s in draft.samples)
    design = design_of(draft, fresh=not measured)
    basis = "per g VS" if measured else "per g of fresh feed"
    if design is None:
        return [
            "one jar of each feed: its own scatter judges no difference between feeds. Two jars of "
            f"each find one of {_shows(draft, 2, not measured)} {basis} four times in five",
            _borrowed(draft, not measured),
        ]
    more = max(LEAST_JARS, n + 1)
    corrected = f", corrected for {design.comparisons} comparisons"
    lines = [
        f"{n} jars of each feed find a true difference of {_shows(draft, n, not measured)} {basis} "
        f"four times in five; {more} jars find {_shows(draft, more, not measured)}",
        f"a difference below {100 * just_significant(design):.0f} % is usually not significant "
        f"(scatter {100 * rsd:g} %, level 5 %{corrected if design.comparisons > 1 else ''})",
    ]
    if n <= MOST_BORROWING_JARS:
        lines.append(_borrowed(draft, not measured))
    by_VS = None if measured else design_of(draft, fresh=False)
    if by_VS is not None and detectable_difference(by_VS) > detectable_difference(design):
        lines.append(
            f"per g VS they find {_shows(draft, n, False)} only, because VS comes from a range: "
            "measure TS and VS"
        )
    return lines


def _borrowed(draft: Draft, fresh: bool) -> str:
    n = draft.request.planned_jars
    jars = f"{n} jar{'' if n == 1 else 's'} of each feed find{'s' if n == 1 else ''}"
    more = f"{n + 1} find {_shows(draft, n + 1, fresh, borrowed=True)}"
    return (
        "with borrowed scatter (other feeds and published trials also say how jars scatter) "
        f"{jars} a difference of {_shows(draft, n, fresh, borrowed=True)}; {more}"
    )


def _shows(draft: Draft, jars: int, fresh: bool, borrowed: bool = False) -> str:
    design = design_of(draft, jars=jars, fresh=fresh, borrowed=borrowed)
    assert design is not None
    return f"{100 * detectable_difference(design):.0f} %"


def _length(draft: Draft) -> list[str]:
    warm, inoculum, lines = draft.request.incubation_temperature_C, draft.inoculum_literature, []
    for sample, dose in zip(draft.samples, draft.doses[1:], strict=True):
        early, late = stop_days(dose, sample.literature, inoculum, warm)
        if sample.literature.name == UNKNOWN_FEED:
            lines.append(f"{sample.name}: no literature feed named, so its rate is unknown")
        elif late > draft.request.days:
            lines.append(
                f"{sample.name}: {draft.request.days:g} days may be too short; stop rule met "
                f"between day {early:.0f} and {late:.0f} "
                f"(rates of {sample.literature.name}, {warm:.3g} °C)"
            )
    return lines


def _assumed(draft: Draft) -> tuple[str, ...]:
    request, lines = draft.request, []
    if request.started is None:
        on = " on a Monday" if request.place == "school" else ""
        lines.append(f"no start given: rounds are set as if the jars were closed at 10:00{on}")
    if request.ambient_kPa is None:
        lines.append(
            "air pressure not given: 101.325 kPa. Altitude lowers it by about 1.2 kPa each 100 m"
        )
    solids = [("inoculum", draft.inoculum_solids), *((s.name, s.solids) for s in draft.samples)]
    for name, one in solids:
        if not one.measured:
            span = f"{100 * one.low:.1f} to {100 * one.high:.1f} % of fresh mass"
            lines.append(f"{name}: VS not measured, taken from {one.source}: {span}")
    ranges = ", ".join(_range_words(s.name, s.literature.name) for s in draft.samples)
    lines.append(f"expected gas from the literature's range of {ranges}")
    if request.methane_known_by is None and request.measured != "methane volume":
        lines.append(
            "no way to find the methane share was given (“methane known by”); without one only raw "
            "gas can be shown"
        )
    if request.planned_control and all(w.material.role != "control" for w in request.materials):
        lines.append(
            "microcrystalline cellulose as control, VS 99 % of fresh mass (documents 303 "
            "and 304); enter the VS of yours"
        )
    lines.append(f"mixtures have 1 g/mL ({D304})")
    return tuple(lines)


def _range_words(name: str, of: str) -> str:
    return name if name == of else f"{of} ({name})"
