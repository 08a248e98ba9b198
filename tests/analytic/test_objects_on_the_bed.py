"""Objects that stand at places of their own: mass and weight against point masses and closed statics."""

import numpy as np
import pytest
from three_screws import circle, job, loaded

from bedsim.errors import InputError
from bedsim.model.convert import pieces_of

G = 9.80665
OBJECTS = [
    {"layers": 2, "layer_mm": 4.0, "part_x_mm": 60.0, "part_y_mm": -40.0},
    {"layers": 1, "layer_mm": 2.0},
    {"layers": 3, "layer_mm": 3.0, "new_object": True, "part_mass_kg": 1.2, "part_x_mm": -50.0},
]
TOP = ([0, 4, 8, 10, 10, 10, 10], [0, 0, 0, 0, 3, 6, 9])  # mm of both objects, layer by layer


def prints(**changes):
    """The base machine's layers, and these of two objects."""
    return {
        "print": {"layers": 6, "layer_mm": 0.25, "section": OBJECTS, "part_y_mm": 30.0, "part_mass_kg": 2.0}
        | changes
    }


def points(layer):
    """Mass kg and place m of points that stand for both columns: three each, at Gauss' places in height."""
    place, share = np.polynomial.legendre.leggauss(3)
    for tops, mass, x, y in zip(TOP, (2.0, 1.2), (60, -50), (-40, 30), strict=True):
        height = tops[layer] * 1e-3
        for at, part in zip(place, share, strict=True):
            yield (
                mass * tops[layer] / tops[-1] * part / 2,
                np.array([x * 1e-3, y * 1e-3, height * (1 + at) / 2]),
            )


def speed(machine, q, point):
    """Of a point that stands on the plate: rigid motion, the plate's shapes, and their slopes by differences
    times its height."""
    x, y, z = point
    amplitude, step = q[6 : 6 + machine.coordinates.shapes], 1e-4

    def deflection(x, y):
        return amplitude @ machine.plate_at(np.array([[x, y]]))[0]

    by_x = (deflection(x + step, y) - deflection(x - step, y)) / (2 * step)
    by_y = (deflection(x, y + step) - deflection(x, y - step)) / (2 * step)
    return q[:3] + np.cross(q[3:6], point) + [-z * by_x, -z * by_y, deflection(x, y)]


@pytest.mark.parametrize("corners", [3, 5])
def test_the_mass_matrix_is_that_of_the_points_of_the_objects(corners):
    """Kinetic energy sum m v^2/2 and power of the weight -sum m g v_z, of random motions."""
    machine = job(circle(corners), **prints()).machine
    for layer in (1, 3, 4, 6):
        M, weight = (rows[0] for rows in machine.part.matrices(np.array([layer]), G))
        for q in np.random.default_rng(layer).normal(0, 1, (3, machine.coordinates.size)):
            v = [(m, speed(machine, q, point)) for m, point in points(layer)]
            assert q @ M @ q == pytest.approx(sum(m * u @ u for m, u in v), rel=1e-9)
            assert q @ weight == pytest.approx(-G * sum(m * u[2] for m, u in v), rel=1e-9)


def test_two_objects_tilt_the_bed_as_statics_tell():
    """Loads of the supports by forces and moments about both axes; drops by the stiffness that a load in the
    middle finds; the tilt is that of the plane through them.  Linear springs: grooves, rigid joints."""
    axes = job().machine.corner_position
    masses, x, y = np.array([2.0, 0.6]), np.array([0.06, -0.05]), np.array([-0.04, 0.03])
    moments = G * np.array([masses, masses * x, masses * y]).sum(axis=1)
    pressed = np.linalg.solve(np.vstack([np.ones(3), axes.T]), moments)
    bare, middle = standing([0, 0], [0, 0], [0, 0]), standing([1.5, 0], [0, 0], [0, 0])
    both = standing(masses, x, y)
    np.testing.assert_allclose((both.corner_load - bare.corner_load)[0], pressed, rtol=1e-9)
    k = 1.5 * G / 3 / (rest(bare) - rest(middle))[2]
    plane = np.linalg.solve(np.stack([np.ones(3), axes[:, 1], -axes[:, 0]], axis=1), -pressed / k)
    np.testing.assert_allclose((rest(both) - rest(bare))[2:5], plane, rtol=1e-6)


def standing(masses, x, y):
    """The machine at layer 4 of an object of 3 and one of 2 layers: the second half done."""
    place = [{"part_x_mm": 1e3 * a, "part_y_mm": 1e3 * b} for a, b in zip(x, y, strict=True)]
    second = {"layers": 2, "new_object": True, "part_mass_kg": 2 * float(masses[1])}
    rows = [{"layers": 3} | place[0], second | place[1]]
    return job(**prints(section=rows, layers=5, part_mass_kg=masses[0])).machine.system(np.array([4]))


def rest(system):
    """Where the bed rests under its weights."""
    return np.linalg.solve(system.K[0], system.weight[0])[:6]


def test_objects_without_a_mass_share_that_of_the_print_by_height():
    sections = [
        {"layers": 2, "layer_mm": 0.5},
        {"layers": 2, "new_object": True, "part_mass_kg": 0.4},
        {"layers": 4, "new_object": True, "layer_mm": 0.75},
    ]
    pieces = pieces_of(loaded(**prints(section=sections, layers=8, part_mass_kg=0.8)).scenario)
    np.testing.assert_allclose(pieces.mass, [0.1, 0.1, 0.2, 0.2, 0.15, 0.15, 0.15, 0.15])
    assert pieces.weighed[0] == pytest.approx(1.2)


def test_a_place_belongs_to_a_section_that_begins_an_object():
    rows = [{"layers": 2}, {"layers": 2, "part_x_mm": 40.0}]
    with pytest.raises(InputError, match=r"print.section.2.part_x_mm = 40.*begins none.*new_object = true"):
        loaded(**prints(section=rows))


def test_a_mass_that_no_object_takes_is_refused():
    rows = [{"layers": 3, "part_mass_kg": 0.2}, {"layers": 3, "new_object": True, "part_mass_kg": 0.1}]
    with pytest.raises(InputError, match=r"print.part_mass_kg = 0.4: does nothing.*mass of its own"):
        loaded(**prints(section=rows, part_mass_kg=0.4))
