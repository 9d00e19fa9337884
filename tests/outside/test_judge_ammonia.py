"""Free ammonia against a table printed elsewhere."""

import pytest

from bmp.judge.diagnosis import free_ammonia_share


@pytest.mark.parametrize(
    ("temperature_C", "percent"), [(10, 1.83), (15, 2.65), (20, 3.83), (25, 5.28)]
)
def test_trussell_table_at_pH_8(temperature_C, percent):
    """Trussell 1972, % NH3 at pH 8.0, as printed in a manual; the equilibrium data behind the two
    differ by up to 3 % of the share.
    """
    assert 100 * free_ammonia_share(8.0, temperature_C) == pytest.approx(percent, rel=0.03)
