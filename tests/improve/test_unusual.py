"""What is unusual in a machine: planted flaws are named, and a sound machine is left in peace.

The long run with 40 machines is `by_hand.py`.
"""

import pytest
from planted import OUTSIDE, hunt

from bedsim.improve.answers import answer
from bedsim.improve.unusual import returns, unusual


@pytest.mark.parametrize("number", [0, 1, 2, 3])
def test_a_planted_flaw_is_named_first(shipped, number):
    """Fresh machines drawn over all ranges; what lies outside its range comes first."""
    flaw = [f for f in OUTSIDE if f.key.startswith(("guide.height", "screw.travel", "mount"))][number % 4]
    found = hunt(shipped("bent-rolled-rigid", "print.layers=20"), flaw, 300 + number)
    assert found is not None and found.harm > 1.1
    assert found.place == 0


def test_a_corner_apart_goes_back_to_the_others(shipped):
    loaded = shipped("bent-rolled-rigid", "corner.back.guide.tilt_nm_per_rad=300", "print.layers=20")
    back = [b for b in returns(loaded) if b.key == "guide.tilt_nm_per_rad"]
    assert [(b.corners, b.now, b.usual, b.outside) for b in back] == [(("back",), 300.0, 2000.0, True)]


def test_all_corners_go_back_to_the_default_together(shipped):
    loaded = shipped("bent-rolled-rigid", "guide.height_mm=-120")
    back = next(b for b in returns(loaded) if b.key == "guide.height_mm")
    assert len(back.corners) == 3 and back.usual == -40 and back.outside
    assert set(back.values) == {f"corner.{c}.guide.height_mm" for c in back.corners}


def test_defaults_are_not_unusual(shipped):
    keys = {b.key for b in returns(shipped("bent-rolled-rigid"))}
    assert not keys & {"guide.height_mm", "nut.axial_n_per_um", "coupling.radial_n_per_um"}


def test_what_costs_nothing_is_not_told(shipped):
    loaded = shipped("bent-rolled-rigid", "corner.back.mount.tangential_n_per_um=10", "print.layers=20")
    assert any(b.key == "mount.tangential_n_per_um" for b in returns(loaded))
    told = unusual(loaded, answer(loaded))
    assert all(one.cost > 1.02 for one in told)
    assert told == sorted(told, key=lambda one: (not one.back.outside, -one.cost))
