"""A feed as a comparison sees it: one value a jar, and what its jars share with other feeds.

A jar's net yield is y_j = (M_j - m_I,j b) / m_VS,j with b the mean of the trial's blanks (Standard
BMP Methods 200 v1.7). The error of b is the same number in every jar of the trial, and that of the
volatile solids the same factor in every jar of the material; both are kept apart from the scatter
between jars here, so that a comparison can let them cancel.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from bmp.borrowed_scatter import Lent
from bmp.trial import FloatArray

SINGLE_BLANK = "the error of the blank (a single blank has no scatter)"


@dataclass(frozen=True)
class Quantity:
    """A quantity that feeds are compared in, with the words to say it."""

    name: str
    noun: str
    unit: str
    """Unit, with `{basis}` where it is counted per mass of feed."""
    per_basis: bool
    """Whether it is counted per mass of feed, so that another basis changes it."""
    by_ratio: bool
    """Whether a sentence gives per cent; otherwise the difference in its own unit."""
    phrase: str
    """What a feed did; `{size}`, `{more}` (either word below) and `{basis}` are filled in."""
    more: str
    less: str


QUANTITIES: dict[str, Quantity] = {
    q.name: q
    for q in (
        Quantity(
            name="yield",
            noun="yield",
            unit="NmL CH4/{basis}",
            per_basis=True,
            by_ratio=True,
            phrase="gave {size} {more} methane {basis}",
            more="more",
            less="less",
        ),
        Quantity(
            name="rate constant",
            noun="the rate constant",
            unit="1/d",
            per_basis=False,
            by_ratio=True,
            phrase="broke down {size} {more} (first-order rate constant)",
            more="faster",
            less="slower",
        ),
        Quantity(
            name="peak rate",
            noun="the peak rate",
            unit="NmL CH4/({basis} d)",
            per_basis=True,
            by_ratio=True,
            phrase="gave {size} {more} methane a day at its peak {basis}",
            more="more",
            less="less",
        ),
        Quantity(
            name="lag",
            noun="the lag",
            unit="d",
            per_basis=False,
            by_ratio=False,
            phrase="started {size} {more}",
            more="later",
            less="sooner",
        ),
        Quantity(
            name="t90",
            noun="the time to 90 % of the methane",
            unit="d",
            per_basis=False,
            by_ratio=False,
            phrase="reached 90 % of its methane {size} {more}",
            more="later",
            less="sooner",
        ),
    )
}


@dataclass(frozen=True)
class Basis:
    """What a yield is counted per."""

    name: str
    unit: str
    words: str
    needs: tuple[str, ...]
    """What of the feed has to be known."""


BASES: dict[str, Basis] = {
    b.name: b
    for b in (
        Basis("VS", "g VS", "per gram of volatile solids", ("VS",)),
        Basis("TS", "g TS", "per gram of dry matter", ("TS",)),
        Basis("fresh", "g fresh mass", "per gram of fresh feed", ()),
        Basis("bucket", "bucket", "per bucket of {bucket_L:g} L", ("bulk_density_kg_per_L",)),
    )
}


@dataclass(frozen=True)
class TrialBlanks:
    """The blanks of one trial."""

    methane_NmL_per_g: tuple[float, ...]
    """Each blank's methane per gram of its inoculum, at the end of the trial."""
    inoculum: str = ""


@dataclass(frozen=True)
class Feed:
    """One feed in one trial: a value a jar, never a value a reading.

    Raises
    ------
    ValueError
        Where a jar's name stands twice (readings of one jar are not jars), or arrays differ in
        length.
    """

    name: str
    trial: str
    jars: tuple[str, ...]
    values: Mapping[str, tuple[float | None, ...]]
    """One value a jar by name of the quantity (`QUANTITIES`); `None`: not determined in that
    jar. Yields and peak rates are counted per gram of `basis`."""
    inoculum_g_per_g: tuple[float, ...] | None = None
    """Inoculum per gram of `basis` in each jar; `None` where the net yield was handed in."""
    blanks: TrialBlanks | None = None
    basis: str = "VS"
    """What the values are counted per: `VS`, `TS` or `fresh`."""
    TS: float | None = None
    """Dry matter per fresh mass."""
    VS: float | None = None
    """Volatile solids per fresh mass."""
    TS_relative_u: float | None = None
    """Relative standard uncertainty of `TS`; the same for `VS` and the bulk density."""
    VS_relative_u: float | None = None
    TS_dof: float = np.inf
    """Degrees of freedom of `TS_relative_u`; the same for `VS`."""
    VS_dof: float = np.inf
    bulk_density_kg_per_L: float | None = None
    bulk_density_relative_u: float | None = None
    methane_share_relative_u: float = 0.0
    """Relative standard uncertainty of an assumed methane share, the same in all jars."""
    meter_relative_u: float = 0.0
    """Relative standard uncertainty of the meter that shares were read with, the same in all jars
    of the trial, so that it falls out of a ratio."""
    lent: Lent | None = None
    """Scatter of its yields that is borrowed; `None`: none."""
    material: str = ""
    """Material whose solids were measured, where several feeds share it; default: the name."""
    time_d: float | None = None
    """Day that the yields are of."""
    finished: bool | None = None
    """Whether every jar had met the stop rule by then; `None`: cannot be told."""
    still_runs: bool = False
    """It had not met the stop rule at its last reading: what comes last is not known yet."""
    no_bridge: str = ""
    """Of a control: why it does not vouch for its trial and so bridges none, a clause."""
    blank_influence: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    """For quantities that are not linear in the blank (rates, times): how far each blank moves the
    feed's mean, from `jackknife_influence`."""

    def __post_init__(self) -> None:
        doubled = sorted({jar for jar in self.jars if self.jars.count(jar) > 1})
        if doubled:
            raise ValueError(
                f"jar {', '.join(doubled)} of {self.name} stands more than once: "
                "readings of one jar are not jars"
            )
        for name, values in self.values.items():
            if len(values) != len(self.jars):
                raise ValueError(
                    f"{self.name}: {len(values)} values of {name} for {len(self.jars)} jars"
                )
        if self.inoculum_g_per_g is not None and len(self.inoculum_g_per_g) != len(self.jars):
            raise ValueError(f"{self.name}: as many inoculum ratios as jars are needed")


@dataclass(frozen=True, eq=False)
class FeedSample:
    """What of a feed enters a contrast, on one basis. Arrays may carry leading axes (trials)."""

    label: str
    trial: str
    values: FloatArray
    """Shape (..., jars)."""
    blank_influence: FloatArray | None
    """How far each blank moves the mean, shape (..., blanks); `None`: not known."""
    factors: Mapping[str, float] = field(default_factory=dict)
    """Relative standard uncertainty of each factor that all jars have in common, by its name:
    samples of one trial that name the same factor share its error."""
    factor_dof: Mapping[str, float] = field(default_factory=dict)
    """Degrees of freedom of these; one that is not named is taken as known."""
    inoculum: str = ""
    """Whose blanks they are: samples of one trial and inoculum share them."""
    unit: str = ""
    not_carried: tuple[str, ...] = ()
    """Plain words: errors that are not known and so not in any interval."""
    lent_scatter: tuple[FloatArray | float, float] | None = None
    """Relative SD between the jars and its degrees of freedom, where the scatter is borrowed;
    `None`: the jars' own."""

    @property
    def jars(self) -> int:
        """Number of jars."""
        return int(self.values.shape[-1])

    @property
    def mean(self) -> FloatArray:
        """Mean over jars, shape (...)."""
        return np.asarray(self.values.mean(axis=-1))


def blank_influence(inoculum_ratio: FloatArray, blanks: FloatArray) -> FloatArray:
    """Return how far each blank moves a mean net yield: -(mean ratio) (b_i - b). Shape (..., k).

    Parameters
    ----------
    inoculum_ratio : array, shape (..., jars)
        Inoculum per gram of what the yield is counted per.
    blanks : array, shape (..., k)
        Methane per gram of inoculum.
    """
    ratio = np.asarray(inoculum_ratio).mean(axis=-1)[..., None]
    return np.asarray(-ratio * (blanks - blanks.mean(axis=-1, keepdims=True)))


def with_lent(sample: FeedSample, lent: Lent) -> FeedSample:
    """Return a sample of yields with borrowed scatter between its jars, and of a single blank."""
    blank = f"blank of {sample.inoculum or sample.trial}"
    single = lent.blank_u > 0
    return replace(
        sample,
        lent_scatter=(lent.rsd, lent.freedom),
        factors={**sample.factors, **({blank: lent.blank_u} if single else {})},
        factor_dof={**sample.factor_dof, **({blank: lent.blank_freedom} if single else {})},
        not_carried=tuple(x for x in sample.not_carried if not (single and x == SINGLE_BLANK)),
    )


class NotComparable(ValueError):
    """A quantity or basis that a feed does not give; the message says what is missing."""


def sample_of(
    feed: Feed,
    quantity: str = "yield",
    basis: str = "VS",
    bucket_L: float = 10.0,
    solids_cancel: bool = False,
) -> FeedSample:
    """Return what of a feed enters a comparison of a quantity on a basis.

    Parameters
    ----------
    feed : Feed
    quantity, basis : str
        Keys of `QUANTITIES` and `BASES`.
    bucket_L : float
        Size of the bucket.
    solids_cancel : bool
        Leave the error of the solids out, where the comparison is built so that it cancels.

    Raises
    ------
    NotComparable
        Where the quantity is not determined in every jar, or the basis needs what is not known.
    """
    rule = QUANTITIES[quantity]
    values = _values(feed, quantity)
    scale = _scale(feed, basis, bucket_L) if rule.per_basis else 1.0
    factors, factor_dof, missing = (
        _factors(feed, basis, solids_cancel) if rule.per_basis else ({}, {}, ())
    )
    influence, blank_missing = _blank_part(feed, quantity)
    return FeedSample(
        label=feed.name,
        trial=feed.trial,
        values=values * scale,
        blank_influence=None if influence is None else influence * scale,
        factors=factors,
        factor_dof=factor_dof,
        inoculum=feed.blanks.inoculum if feed.blanks is not None else "",
        unit=unit_of(quantity, basis),
        not_carried=missing + blank_missing,
    )


def unit_of(quantity: str, basis: str) -> str:
    """Return the unit of a quantity on a basis; a bucket counts in litres."""
    unit = QUANTITIES[quantity].unit.format(basis=BASES[basis].unit)
    return unit.replace("NmL", "NL") if basis == "bucket" else unit


def _values(feed: Feed, quantity: str) -> FloatArray:
    given, rule = feed.values.get(quantity), QUANTITIES[quantity]
    if given is None and feed.still_runs and quantity == "t90":
        raise NotComparable(f"{feed.name} still made methane when it was last read")
    if given is None:
        raise NotComparable(f"{rule.noun} of {feed.name} was not determined")
    unknown = [jar for jar, value in zip(feed.jars, given, strict=True) if value is None]
    if unknown:
        # Leaving such a jar out would pick the jars by their result.
        raise NotComparable(
            f"{rule.noun} of {feed.name} is not determined in jar {', '.join(unknown)}"
        )
    return np.array(given, dtype=float)


def _scale(feed: Feed, basis: str, bucket_L: float) -> float:
    """Return what a value per gram of the feed's own basis is multiplied by."""
    content = {"VS": feed.VS, "TS": feed.TS, "fresh": 1.0}
    if basis == feed.basis:
        return 1.0
    needed = [name for name in BASES[basis].needs if getattr(feed, name) is None]
    if content[feed.basis] is None:
        needed.append(feed.basis)
    if needed:
        names = {"bulk_density_kg_per_L": "bulk density"}
        words = " and ".join(names.get(name, name) for name in needed)
        raise NotComparable(f"the {words} of {feed.name} was not given")
    own = content[feed.basis]
    assert own is not None
    if basis == "bucket":
        # NmL per g fresh = NL per kg fresh, times the kilograms that a bucket holds.
        assert feed.bulk_density_kg_per_L is not None
        return own * feed.bulk_density_kg_per_L * bucket_L
    target = content[basis]
    assert target is not None
    return own / target


def _factors(
    feed: Feed, basis: str, solids_cancel: bool
) -> tuple[dict[str, float], dict[str, float], tuple[str, ...]]:
    """Relative errors common to the feed's jars on this basis, their freedom, those not known.

    A yield per gram of VS is the net gas over (sample mass x VS): the error of VS is in it, and
    falls out again per gram of fresh mass, where only the scale's own error is left.
    """
    errors = {
        "VS": ("volatile solids", feed.VS_relative_u),
        "TS": ("dry matter", feed.TS_relative_u),
        "fresh": ("", 0.0),
        "bucket": ("bulk density", feed.bulk_density_relative_u),
    }
    what, relative_u = ("", 0.0) if solids_cancel else errors[basis]
    material = feed.material or feed.name
    found = {
        f"{what} of {material}": relative_u or 0.0,
        f"assumed methane share of {feed.name}": feed.methane_share_relative_u,
        "methane meter": feed.meter_relative_u,
    }
    dof = {"VS": feed.VS_dof, "TS": feed.TS_dof}.get(basis, np.inf)
    missing = (f"the error of the {what} of {material}",) if relative_u is None else ()
    freedom = {f"{what} of {material}": dof}
    return {name: u for name, u in found.items() if u > 0}, freedom, missing


def _blank_part(feed: Feed, quantity: str) -> tuple[FloatArray | None, tuple[str, ...]]:
    """Return how far each blank moves the feed's mean, or why that is not known."""
    if feed.blanks is None:
        return None, ("the error of the blank",)
    if len(feed.blanks.methane_NmL_per_g) < 2:
        return None, (SINGLE_BLANK,)
    if quantity in feed.blank_influence:
        return np.array(feed.blank_influence[quantity], dtype=float), ()
    if quantity == "yield" and feed.inoculum_g_per_g is not None:
        ratio = np.array(feed.inoculum_g_per_g, dtype=float)
        return blank_influence(ratio, np.array(feed.blanks.methane_NmL_per_g, dtype=float)), ()
    return None, ("the error of the blank",)
