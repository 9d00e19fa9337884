"""Which feed is better, by how much, and whether that is more than noise."""

from bmp.compare.across import (
    OverTrials,
    compare_inocula,
    compare_over_bridge,
    mean_over_trials,
)
from bmp.compare.bases import AllBases, compare_on_all_bases
from bmp.compare.family import Family, compare_all
from bmp.compare.feed import BASES, QUANTITIES, Blanks, Feed, NotComparable
from bmp.compare.mixture import compare_mixture
from bmp.compare.pair import Comparison, compare_pair, mean_of
from bmp.compare.trials import InoculaCompared, TrialsCompared, compare_trials
from bmp.compare.words import (
    as_record,
    borrowed_sentences,
    inocula_sentence,
    mixture_sentence,
    sentence,
    trials_sentence,
)

__all__ = [
    "BASES",
    "QUANTITIES",
    "AllBases",
    "Blanks",
    "Comparison",
    "Family",
    "Feed",
    "InoculaCompared",
    "NotComparable",
    "OverTrials",
    "TrialsCompared",
    "as_record",
    "borrowed_sentences",
    "compare_all",
    "compare_inocula",
    "compare_mixture",
    "compare_on_all_bases",
    "compare_over_bridge",
    "compare_pair",
    "compare_trials",
    "inocula_sentence",
    "mean_of",
    "mean_over_trials",
    "mixture_sentence",
    "sentence",
    "trials_sentence",
]
