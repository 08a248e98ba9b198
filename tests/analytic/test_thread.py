"""What a threaded shaft weighs and how it turns, against bodies cut up otherwise and against ISO 2904."""

import math

import numpy as np
import pytest
from three_screws import job, loaded

from bedsim.analysis.sizing_gather import gather
from bedsim.components.thread import ball_profile, mean_power, trapezoidal_profile
from bedsim.sizing import loads

MM = 1e-3
# designation, d, d3, pitch, starts; d3 as printed after ISO 2904 (RoyMech; Tr16x4: Engineers Edge)
THREADS = [("Tr8x1.5", 8, 6.2, 1.5, 1), ("Tr10x2", 10, 7.5, 2, 1), ("Tr16x4", 16, 11.5, 4, 1)]
THREADS += [("Tr8x8(P2)", 8, 5.5, 2, 4)]


def body(radius_at, lead, starts):
    """Volume and polar moment over one lead of a body cut into square columns along the axis.

    Column by column, at (x, y), the metal is where r < radius(z - angle lead/2 pi): each point of space is
    asked, so nothing is taken of cross-sections that are alike.
    """
    cells, slices, outer = 160, 6 * starts, radius_at(np.linspace(0, lead, 500)).max()
    edge = (np.arange(cells) + 0.5) / cells * 2 * outer - outer
    x, y = np.meshgrid(edge, edge)
    r, angle = np.hypot(x, y), np.arctan2(y, x)
    cell = (2 * outer / cells) ** 2 * lead / slices
    volume = moment = 0.0
    for z in (np.arange(slices) + 0.5) * lead / slices:
        metal = r < radius_at(z - angle * lead / (2 * math.pi))
        volume, moment = volume + metal.sum() * cell, moment + (metal * r**2).sum() * cell
    return volume, moment


@pytest.mark.parametrize(("name", "d", "root", "pitch", "starts"), THREADS)
def test_a_trapezoidal_shaft_as_a_body_in_space(name, d, root, pitch, starts):
    """Drawn from ISO 2904's widths: crest 0.366 P, bottom of the groove 0.366 P - 0.536 ac."""
    clearance = (d - root - pitch) / 2
    crest, bottom = 0.36603 * pitch, 0.36603 * pitch - 0.53590 * clearance
    z = [0, bottom / 2, (pitch - crest) / 2, (pitch + crest) / 2, pitch - bottom / 2, pitch]
    r = [root / 2, root / 2, d / 2, d / 2, root / 2, root / 2]
    lead = pitch * starts
    volume, moment = body(lambda at: np.interp(np.mod(at, pitch), z, r), lead, starts)
    assert math.pi / 4 * mean_power(2, False, d, root, pitch) * lead == pytest.approx(volume, rel=2e-3)
    assert math.pi / 32 * mean_power(4, False, d, root, pitch) * lead == pytest.approx(moment, rel=2e-3)


@pytest.mark.parametrize(("name", "d", "root", "pitch", "starts"), THREADS)
def test_a_trapezoidal_profile_in_closed_form(name, d, root, pitch, starts):
    """Crest, root and two cones: the mean of d^4 over a cone is (d^5 - d3^5)/(5 (d - d3))."""
    tangent = math.tan(math.radians(15))
    crest = pitch / 2 - pitch / 2 * tangent
    bottom = crest - (d - root - pitch) * tangent
    cone = (d**5 - root**5) / (5 * (d - root))
    expected = (crest * d**4 + bottom * root**4 + (pitch - crest - bottom) * cone) / pitch
    assert mean_power(4, False, d, root, pitch) == pytest.approx(expected, rel=1e-5)


def test_the_thread_is_half_a_pitch_wide_at_its_pitch_diameter():
    """ISO 2904: at d2 = d - P/2 thread and groove are equally wide; crest and root are flats."""
    z = np.array([0.0, 0.5, 1.0])
    np.testing.assert_allclose(trapezoidal_profile(z, 10.0, 7.5, 2.0), [7.5, 9.0, 10.0])


def test_a_ball_groove_in_closed_form():
    """A half circle of radius h in a cylinder d: powers of the chord by hand, mean over its width 2 h of
    sqrt(h^2 - z^2)^n: pi h/4, 2 h^2/3, 3 pi h^3/16, 8 h^4/15."""
    d, root, pitch = 16.0, 13.4, 5.0
    h = (d - root) / 2
    means = [1.0, math.pi * h / 4, 2 * h**2 / 3, 3 * math.pi * h**3 / 16, 8 * h**4 / 15]
    groove = sum(math.comb(4, n) * d ** (4 - n) * (-2) ** n * means[n] for n in range(5))
    expected = d**4 + 2 * h / pitch * (groove - d**4)
    assert mean_power(4, True, d, root, pitch) == pytest.approx(expected, rel=1e-5)
    groove = d**2 - 4 * d * means[1] + 4 * means[2]
    expected = d**2 + 2 * h / pitch * (groove - d**2)
    assert mean_power(2, True, d, root, pitch) == pytest.approx(expected, rel=1e-5)
    np.testing.assert_allclose(ball_profile(np.array([0.0, h, 2.5]), d, root), [root, d, d], atol=1e-6)


@pytest.mark.parametrize("balls", [False, True])
def test_a_shaft_without_thread_is_a_cylinder(balls):
    assert mean_power(4, balls, 12.0, 12.0, 3.0) == pytest.approx(12.0**4, rel=1e-12)


@pytest.mark.parametrize(("kind", "root", "pitch"), [("plain", 9.5, 2.0), ("rolled_ball", 10.0, 4.0)])
def test_run_and_size_turn_the_same_screw(kind, root, pitch):
    """The rotor's entry of the mass matrix, against sizing's, against the polar moment written out."""
    screw = {"kind": kind, "diameter_mm": 12, "root_diameter_mm": root, "lead_mm": 8.0}
    parts = {"screw": {**screw, "starts": round(8.0 / pitch)}, "motor": {"rotor_inertia_g_cm2": 60.0}}
    machine = job(**parts).machine
    sized = gather(loaded(**parts)).corners[0]
    at = machine.coordinates.rotor(0)
    polar = math.pi / 32 * mean_power(4, kind != "plain", 12 * MM, root * MM, pitch * MM)
    expected = 60e-7 + 7850 * 0.3 * polar
    assert machine.mass[at, at] == pytest.approx(expected, rel=1e-12)
    assert loads.inertia_at_screw(sized) == pytest.approx(expected, rel=1e-12)
