"""The table for a school report."""

from dataclasses import replace

from bmp.compare import compare_all, school_table, sentence
from tests.compare_feeds import GOAT, HAY, HORSE, SCRAPS

FEEDS = [GOAT, HORSE, HAY, SCRAPS]


def test_a_row_a_feed_and_the_words_under_it() -> None:
    family = compare_all(FEEDS)
    table = school_table(FEEDS, family)
    assert table.columns[2] == "mean [NmL CH4/g VS]"
    assert table.rows[0] == (
        "goat bedding",
        "3",
        "236",
        "228 to 245",
        "more than horse manure; not told apart from old hay; no verdict against kitchen scraps",
    )
    assert table.rows[3][3] == "none: one jar only: nothing tells its scatter"
    assert [sentence(c) for c in family.comparisons] == list(table.words[1:7])
    assert table.words[0].startswith("We tested four feeds in one to three jars each")
    assert table.words[7] == family.why
    assert all(len(row) == len(table.columns) for row in table.rows)


def test_curves_that_came_net_claim_no_correction_of_ours() -> None:
    handed_in = [replace(feed, inoculum_g_per_g=None, blanks=None) for feed in (GOAT, HORSE)]
    table = school_table(handed_in, compare_all(handed_in))
    assert table.caption.endswith("net curves as they were handed in")
    assert "Whoever made the curves took off what the inoculum gives" in table.words[0]
