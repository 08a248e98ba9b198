"""Which wall shows most: found anew by walking round every probe, degree by degree."""

import dataclasses

import numpy as np
import pytest
from made_up import made_up_layers

from bedsim.errors import InputError
from bedsim.wall.bands import band_amplitudes
from bedsim.wall.relief import wall_of_layers
from bedsim.wall.visibility import Viewing, judge
from bedsim.wall.worst import DIRECTIONS, WORST, PrintedWalls, showing, wall_places

VIEWING, LEADS, WIDTH = Viewing(), (5e-3,), 0.45e-3


@pytest.fixture(scope="module")
def run():
    """Bands of X, Y and height that differ in size and phase between the two probes."""
    layers = made_up_layers()
    z = layers.print_height / 5e-3 * 2 * np.pi
    lateral = np.zeros((z.size, 2, 2))
    lateral[:, 0] = 1e-6 * np.stack([np.sin(z), 0.2 * np.cos(z)], axis=1)
    lateral[:, 1] = 4e-6 * np.stack([np.sin(z), np.sin(z + 0.6)], axis=1)
    height = 0.3e-6 * np.stack([np.cos(3 * z), np.cos(z)], axis=1)
    layers = dataclasses.replace(layers, lateral_error=lateral, height_error=height)
    return PrintedWalls(layers=layers, leads=LEADS, line_width=WIDTH)


def ratio(run, wall, probe):
    """The verdict of one wall alone."""
    made = wall_of_layers(run.layers, wall=wall, line_width=WIDTH, probe=probe)
    return max(s.ratio for s in judge(band_amplitudes(made, LEADS), VIEWING) if np.isfinite(s.ratio))


def test_showing_is_what_every_wall_alone_is_judged_by(run):
    for probe in ("centre", "right"):
        each = [ratio(run, float(d), probe) for d in range(0, DIRECTIONS, 20)]
        assert showing(run, probe, VIEWING)[::20] == pytest.approx(each, rel=1e-9)


def test_worst_place_and_direction_are_found_and_named(run):
    (found,) = wall_places([run], [WORST], None, VIEWING)
    best = max((ratio(run, float(d), p), p, d) for d in range(360) for p in ("centre", "right"))
    assert found.probe == best[1] == "right"
    assert ratio(run, found.wall, found.probe) == pytest.approx(best[0], rel=1e-9)
    assert found.words == f"{found.wall.replace(' deg', '°')} at right (worst place and direction)"


def test_what_is_asked_for_is_kept_and_only_the_rest_is_sought(run):
    places = wall_places([run], ["+Y", WORST], "cen", VIEWING)
    assert places[0].words == "+Y at centre"
    assert places[1].sought == "worst direction" and places[1].probe == "centre"
    assert wall_places([run], ["-X"], None, VIEWING)[0].words == "-X at right (worst place)"


def test_a_print_too_low_for_bands_goes_by_its_relief(run):
    layers = run.layers
    few = dataclasses.replace(
        layers,
        print_height=layers.print_height[:4],
        lateral_error=np.linspace(0, 1e-6, 4)[:, None, None] * [[[1.0, 1.0], [3.0, 0.0]]],
        height_error=np.zeros((4, 2)),
    )
    (found,) = wall_places([dataclasses.replace(run, layers=few)], [WORST], None, VIEWING)
    assert found.wall in ("+X", "-X") and found.probe == "right"


@pytest.mark.parametrize(("wall", "told"), [("Y", r"mean \+Y\?"), ("x-", "mean -X"), ("up", "from [+]X.$")])
def test_a_wall_that_is_not_there_is_refused_with_the_nearest(run, wall, told):
    with pytest.raises(InputError, match=told):
        wall_places([run], [wall], None, VIEWING)
