"""What the guide says against what the tool knows."""

from __future__ import annotations

from pathlib import Path

import pytest

from bmp.read.columns import ITEMS, JARS, MATERIALS, READINGS, Known
from bmp.read.setup import CHOICES

ROOT = Path(__file__).parents[1]
GUIDE = (ROOT / "bmp" / "guide" / "trial_files.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("known", [*ITEMS, *MATERIALS, *JARS, *READINGS], ids=lambda k: k.name)
def test_every_column_and_item_stands_in_the_guide(known: Known) -> None:
    start = known.name if known.unit is None else f"{known.name} ["
    assert f"`{start}" in GUIDE or f"| {start}" in GUIDE or f"`{known.name}`" in GUIDE


def test_every_choice_stands_in_the_guide() -> None:
    for choices in CHOICES.values():
        for word, meaning in choices.items():
            assert f"`{word}`" in GUIDE or f"`{meaning}`" in GUIDE, word
