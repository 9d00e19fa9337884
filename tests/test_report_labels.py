from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from bmp.report.labels import in_lines, spread
from bmp.report.series_style import LOOKS, look_of

LABELS = st.lists(st.tuples(st.floats(0.0, 100.0), st.floats(0.5, 6.0)), min_size=1, max_size=12)


@given(LABELS)
def test_labels_never_overlap_and_stay_between_the_edges(labels) -> None:
    wanted, heights = zip(*labels, strict=True)
    places = spread(wanted, heights, 0.0, 100.0)
    order = np.argsort(places)
    gaps = np.diff(places[order])
    room = (np.array(heights)[order][1:] + np.array(heights)[order][:-1]) / 2
    assert np.all(gaps >= room - 1e-9)
    assert np.all(places - np.array(heights) / 2 >= -1e-9)
    assert np.all(places + np.array(heights) / 2 <= 100.0 + 1e-9)
    if max(heights) <= 3.0 and np.all(np.diff(sorted(wanted)) > 6.0):
        inside = np.clip(wanted, np.array(heights) / 2, 100.0 - np.array(heights) / 2)
        np.testing.assert_allclose(places, inside)


def test_crowded_labels_move_as_little_as_they_can() -> None:
    np.testing.assert_allclose(spread([10.0, 10.0], [4.0, 4.0], 0.0, 100.0), [8.0, 12.0])
    np.testing.assert_allclose(spread([1.0, 50.0], [4.0, 4.0], 0.0, 100.0), [2.0, 50.0])
    assert spread([], [], 0.0, 1.0).size == 0


def test_long_names_are_broken_and_cut() -> None:
    assert in_lines("whey") == ["whey"]
    assert in_lines("goat bedding, with straw") == ["goat bedding,", "with straw"]
    cut = in_lines("a very long name that goes on and on and on", 12)
    assert len(cut) == 2
    assert "…" in cut[1]
    one, other = (in_lines(f"cattle slurry with straw and {x} % lime", 17, 2) for x in (1, 2))
    assert one != other
    assert in_lines("") == [""]
    assert max(len(line) for line in in_lines("WWWWWWWWWWWWWWWWWWWWWWWWWW")) <= 10
    assert max(len(line) for line in in_lines(30 * "\N{CJK UNIFIED IDEOGRAPH-9EC4}")) <= 8


def test_no_two_of_many_series_look_alike() -> None:
    looks = [look_of(number) for number in range(3 * len(LOOKS))]
    assert len({(look.colour, look.marker) for look in looks}) == len(looks)
    first = looks[: len(LOOKS)]
    assert len({look.marker for look in first}) == len({look.line for look in first}) == len(first)
