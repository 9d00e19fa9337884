"""The smallest cause first: each error that is found is taken out before the next is looked for.

So no jar is accused of what one wrong figure in another jar did.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from bmp.judge.cause import Cause
from bmp.judge.dates import month_off
from bmp.judge.exchanged import in_place_of_another, wrong_feed
from bmp.judge.jar_table import jar_table
from bmp.judge.odd_share import odd_share
from bmp.judge.one_reading import one_reading
from bmp.judge.peers import peers
from bmp.judge.rough_gas import RoughGas, look
from bmp.judge.venting import before_and_after
from bmp.judge.weights import weight_off, weights_exchanged
from bmp.judge.whole_round import air_pressure, copied_round, fahrenheit, odd_round
from bmp.trial import BoolArray, Trial

MOST_CAUSES = 12
"""A log with more errors than these is not taken apart any further."""

_FIRST: tuple[Callable[[Trial, RoughGas], Cause | None], ...] = (
    month_off, fahrenheit, air_pressure, before_and_after, weights_exchanged, wrong_feed,
    jar_table, odd_round, copied_round, in_place_of_another,
)  # fmt: skip


def explain(trial: Trial, claimed: BoolArray) -> tuple[tuple[Cause, ...], Trial, RoughGas]:
    """Return the causes found, and the trial without them with a look at it.

    Parameters
    ----------
    claimed : array, shape (readings,)
        Readings that another check tells of already.
    """
    causes: list[Cause] = []
    seen = look(trial)
    for _ in range(MOST_CAUSES):
        found = next(_causes(trial, seen, claimed), None)
        if found is None:
            break
        if isinstance(found, Cause):
            if any(found.name == one.name and found.where == one.where for one in causes):
                break  # taking it out did not help: it is not what is wrong
            causes.append(found)
            found = found.without
        if found.readings.row.size != claimed.size or np.any(
            found.readings.row != trial.readings.row
        ):
            told = set(trial.readings.row[claimed].tolist())
            claimed = np.isin(found.readings.row, list(told))
        trial = found
        seen = look(trial)
    return tuple(causes), trial, seen


def _causes(trial: Trial, seen: RoughGas, claimed: BoolArray) -> Iterator[Cause | Trial]:
    """Return causes, the surest first, each looked for only when none before it was found."""
    for search in _FIRST:
        found = search(trial, seen)
        if found is not None:
            yield found
    weight = weight_off(trial, seen, claimed)
    if weight is not None:
        yield weight
    share = odd_share(trial, seen, claimed)
    if share is not None:
        yield share
    if seen.value_name == "mass_before_g":
        return  # one wrong weight shows in the chain, whatever gas it makes
    cause, without = one_reading(trial, seen, peers(trial, seen), claimed)
    if cause is not None:
        yield cause
    elif without is not trial:
        yield without
