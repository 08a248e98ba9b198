"""Which mount is worst: the one that is pressed least, in whichever layer, bolted ones left aside."""

from dataclasses import replace

import numpy as np
import pytest
import synthetic

from bedsim.analysis.cautions import warnings
from bedsim.analysis.figures import corner_figures, metric_values, places_of_worst

LEADS = (5e-3, 5e-3, 5e-3)


def layers_with(force):
    """A made-up run of three corners whose mount forces (layers, corners) N are these at first and in the
    middle, else larger than all of them."""
    layers = synthetic.layer_result(synthetic.scenario())
    whole = np.full(layers.mount_force.shape, 50.0)
    whole[[0, len(whole) // 2]] = force
    return replace(layers, mount_force=whole)


@pytest.mark.parametrize(
    ("force", "place", "least"),
    [
        ([[9, 30, 30], [30, 4, 30]], 1, 4.0),
        ([[9, 30, 3], [30, 4, 30]], 2, 3.0),
        ([[1, 40, 40], [40, 2, 3]], 0, 1.0),
        ([[-5, 40, 40], [40, -7, 3]], 1, -7.0),
    ],
)
def test_the_least_pressed_is_told_by_name(force, place, least):
    layers = layers_with(force)
    assert places_of_worst(layers)["mount_force"] == layers.corner_name[place]
    assert metric_values(layers, LEADS)["mount_force"] == least
    each = [min(column) for column in np.transpose(force)]
    assert [c.worst["mount_force"] for c in corner_figures(layers, LEADS)] == each


def test_a_bolted_mount_is_never_the_worst():
    layers = layers_with([[np.nan, 30, 20], [np.nan, 25, 40]])
    layers.mount_force[:, 0] = np.nan
    assert places_of_worst(layers)["mount_force"] == layers.corner_name[2]
    assert metric_values(layers, LEADS)["mount_force"] == 20.0


def test_every_mount_that_lifts_is_told_with_the_pull_it_lacks():
    """And no other: 0.1 N still presses."""
    layers = layers_with([[-2.5, 0.1, 30], [5, 6, -1.3]])
    told = [line for line in warnings(layers) if "lifts off" in line]
    assert len(told) == 2
    for line, corner, pull in zip(told, (0, 2), ("2.5 N", "1.3 N"), strict=True):
        assert layers.corner_name[corner] in line and pull in line
