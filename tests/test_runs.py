"""Flat arrays of runs against plain loops."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from bmp.runs import first, flattened, interpolate, last, padded, previous, total

RUNS = st.lists(st.integers(1, 6), min_size=1, max_size=6)


def make(lengths: list[int], seed: int = 0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    run = np.repeat(np.arange(len(lengths)) * 2 + 1, lengths)
    at = np.concatenate([np.sort(rng.uniform(0, 40, size)) for size in lengths])
    return run, at, rng.normal(size=run.size)


@given(RUNS)
def test_totals_start_anew_with_every_run(lengths: list[int]) -> None:
    run, _, values = make(lengths)
    for number in np.unique(run):
        here = run == number
        assert np.allclose(total(values, run)[here], np.cumsum(values[here]))
        assert first(run)[here].tolist() == [True] + [False] * (here.sum() - 1)
        assert last(run)[here].tolist() == [False] * (here.sum() - 1) + [True]
        before = previous(values, run, np.full(run.size, 7.0))[here]
        assert before.tolist() == [7.0, *values[here][:-1]]


@given(RUNS)
def test_a_table_and_back(lengths: list[int]) -> None:
    run, _, values = make(lengths)
    table = padded(values, run, np.nan)
    assert table.shape == (len(lengths), max(lengths))
    assert flattened(table, run).tolist() == values.tolist()


@given(RUNS, RUNS)
def test_interpolation_is_numpys_in_every_run(known_lengths: list[int], lengths: list[int]) -> None:
    run_known, at_known, known = make(known_lengths, 1)
    run, at, _ = make(lengths, 2)
    values, outside = interpolate(run, at, run_known, at_known, known)
    for number in np.unique(run):
        here, there = run == number, run_known == number
        if not there.any():
            assert np.isnan(values[here]).all()
            assert outside[here].all()
            continue
        assert np.allclose(values[here], np.interp(at[here], at_known[there], known[there]))
        beyond = (at[here] < at_known[there].min()) | (at[here] > at_known[there].max())
        assert outside[here].tolist() == beyond.tolist()


def test_nothing_known() -> None:
    run, at, _ = make([3])
    empty = np.zeros(0)
    values, outside = interpolate(run, at, empty.astype(np.int64), empty, empty)
    assert np.isnan(values).all()
    assert outside.all()
    assert total(empty, empty.astype(np.int64)).size == 0
