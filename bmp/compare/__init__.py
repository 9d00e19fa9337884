"""Which feed is better, by how much, and whether that is more than noise."""

from bmp.compare.bases import AllBases
from bmp.compare.between_trials import (
    OverTrials,
    compare_inocula,
    compare_over_bridge,
    mean_over_trials,
)
from bmp.compare.feed import BASES, QUANTITIES, Feed, NotComparable, TrialBlanks
from bmp.compare.multiplicity import Family, compare_all
from bmp.compare.pair import Comparison, compare_pair, mean_of
from bmp.compare.synergy import compare_mixture
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
    "Comparison",
    "Family",
    "Feed",
    "InoculaCompared",
    "NotComparable",
    "OverTrials",
    "TrialBlanks",
    "TrialsCompared",
    "as_record",
    "borrowed_sentences",
    "compare_all",
    "compare_inocula",
    "compare_mixture",
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
