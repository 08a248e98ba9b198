"""Sharing of loads, tilts and side pushes among the supports of a stiff plate, against hand statics."""

import numpy as np
import pytest

from bedsim.errors import ModelError
from bedsim.sizing import statics

TRIANGLE = [[-0.2, -0.1], [0.2, -0.1], [0.0, 0.2]]


def test_loads_balance_force_and_moments():
    """Three supports, two weights off centre: sums of force and of both moments are met exactly."""
    weights, at = [30.0, 5.0], [[0.02, 0.01], [-0.1, 0.05]]
    loads = statics.support_loads(TRIANGLE, weights, at)
    assert loads.sum() == pytest.approx(35.0)
    assert loads @ np.array(TRIANGLE) == pytest.approx(np.array(weights) @ np.array(at))


def test_weight_above_a_support_rests_on_it_alone():
    assert statics.support_loads(TRIANGLE, [10.0], [TRIANGLE[2]]) == pytest.approx([0, 0, 10])


def test_tilt_is_one_over_the_distance_to_the_line_of_the_others():
    """Raising the rear corner tilts about the front line, 0.3 m away."""
    assert statics.tilt_per_height(TRIANGLE)[2] == pytest.approx(1 / 0.3)


def test_overturning_relieves_a_corner_by_moment_over_altitude():
    assert statics.overturning_loads(TRIANGLE, 0.6)[2] == pytest.approx(2.0)


def test_supports_on_one_line_are_refused():
    with pytest.raises(ModelError, match="one line"):
        statics.support_loads([[0, 0], [0.1, 0.1], [0.2, 0.2]], [1.0], [[0, 0]])
