"""What printed digits leave open."""

import math

import pytest
from printed import digits, half_unit, share


@pytest.mark.parametrize(
    ("text", "half"), [("12.5", 0.05), ("820", 0.5), ("2.06e5", 500.0), ("25e2", 50.0), ("-0.30", 0.005)]
)
def test_half_a_unit_of_the_last_digit(text, half):
    assert half_unit(text) == pytest.approx(half, rel=1e-12)


def test_a_power_multiplies_the_share_and_shares_add_by_their_squares():
    one, other = digits("12.5"), digits("70")
    found = share(lambda d, e, fixed: fixed * e * d**4, d="12.5", e="70", fixed=3.0)
    assert found == pytest.approx(math.hypot(4 * one, other), rel=1e-4)
    assert share(lambda d: d, d=(2.0, 0.1)) == pytest.approx(0.05)
    assert share(lambda d: d, d=2.0) == 0
