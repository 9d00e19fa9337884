"""What could not be judged of a diet, and what to measure: what is not known is not good."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from bmp.tank.feeds import PreparedFeed
from bmp.tank.inputs import TankSetup
from bmp.tank.result import TankState


def not_known(
    setup: TankSetup, state: TankState, feeds: Sequence[PreparedFeed], amounts: Sequence[float]
) -> Mapping[str, str]:
    """Return what is not known of a diet, by quantity, with what to measure."""
    fed = [item for item, kg in zip(feeds, amounts, strict=True) if kg > 0 and not item.is_water]

    if not fed:
        return {}

    def lacking(what: str) -> str:
        return ", ".join(f.feed.material.name for f in fed if getattr(f.holds, what) is None)

    found: dict[str, str] = {}
    if state.load_kgVS_per_m3_d is None:
        found["organic load"] = f"TS and VS of {lacking('VS')}"
    if state.C_to_N is None:
        names = lacking("nitrogen") or lacking("carbon")
        found["C:N"] = f"carbon and nitrogen of {names}" if names else "nitrogen of the feeds"
    if state.total_ammonia_N_mg_per_L is None:
        names = lacking("nitrogen")
        of_feeds = f", nitrogen of {names}" if names else ""
        found["ammonia"] = f"total ammonia N of the tank{of_feeds}"
    elif setup.pH is None:
        found["free ammonia"] = "pH of the tank"
    if state.lipid_share_of_COD is None:
        found["lipids"] = f"lipid of {lacking('lipid') or lacking('VS')}"
    if setup.pH is None:
        found["pH"] = "pH of the tank"
    if state.retention_d is None:
        found["retention"] = "the daily amounts"
    return found


def gaps_words(gaps: Mapping[str, str]) -> str:
    """Return the gaps in two sentences, each quantity and each measurement once."""
    if not gaps:
        return ""
    measure = dict.fromkeys(part for words in gaps.values() for part in [words])
    return f"Not known, so not judged: {', '.join(gaps)}. Measure: {'; '.join(measure)}."
