"""Machines that cannot be computed are refused with a sentence that says why."""

import pytest
from three_screws import circle, job, loaded

from bedsim.errors import BedsimError, InputError, ModelError


def test_two_screws_are_refused():
    with pytest.raises(InputError, match="three screws"):
        loaded(circle(2))


@pytest.mark.parametrize("offset", [0.0, 0.01])
def test_mounts_on_one_line_are_refused(offset):
    corners = [
        {"name": n, "x_mm": x, "y_mm": offset * x} for n, x in (("A", -150.0), ("B", 0.0), ("C", 160.0))
    ]
    with pytest.raises(BedsimError, match="line"):
        job(corners)


def test_a_loose_motion_is_named():
    """Three grooves that all point along X leave the bed free to slide that way."""
    corners = circle()
    for corner in corners:
        corner["mount"] = {"direction_deg": 0.0}
    with pytest.raises(ModelError, match=r"nothing holds this motion: .*bed x"):
        job(corners).machine.system([1])


def test_a_joint_that_turns_freely_is_refused():
    with pytest.raises(InputError, match="turning"):
        loaded(joint={"kind": "sliding", "rotation_nm_per_rad": 0.0})


def test_a_load_near_the_buckling_load_is_refused():
    with pytest.raises(ModelError, match="buckling"):
        job(bed={"mass_kg": 100.0}, screw={"root_diameter_mm": 4.0}).machine.system([1])
