"""Single parts against geometry and energy: run-out, joint, plain nut, stop, loaded joint, plate."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from test_shaft_as_beam import SCREW

from bedsim.components import joint, nut, run_out
from bedsim.components.bed import Bed
from bedsim.components.frame import Coordinates
from bedsim.components.plate import POISSON, PlateShapes
from bedsim.components.row import Path
from bedsim.components.stop import flank_force, stop_force


def turn_path(angles):
    """A path whose height is the angle itself: sources are given the identity as angle."""
    z = np.asarray(angles, dtype=float)[:, None]
    return Path(time=np.zeros(z.size), height=z, move_start=z, move_end=z)


def imposed(part, s, angles, free_end=True):
    """Rows (t, 4) of a run-out at the axial place s over the angles."""
    sources = run_out.sources(
        part,
        corner=0,
        link="screw",
        screw=replace(SCREW, length=0.4, ends="fixed-free" if free_end else "supported-supported"),
        nut_position=lambda path: np.full(path.time.size, s),
        angle=lambda path: path.height[:, 0],
        motor_angle=lambda path: path.height[:, 0],
    )
    path = turn_path(angles)
    return sum(one.amount * one.values(path) for one in sources)


def test_a_dial_gauge_reads_twice_the_offset():
    """TIR = 2 |r|: definition of total indicator reading, the gauge at rest and the screw turning."""
    part = run_out.RunOut(eccentricity=30e-6 * np.exp(0.4j), tilt=1e-4 * np.exp(2j), bow=50e-6 * np.exp(-1j))
    angles = np.linspace(0, 2 * np.pi, 721)
    for s in (0.05, 0.2, 0.37):
        offset = (
            30e-6 * np.exp(0.4j) + 1e-4 * s * np.exp(2j) + 50e-6 * np.exp(-1j) * (1 - np.cos(np.pi * s / 0.8))
        )
        rows = imposed(part, s, angles)
        for column in (0, 2):
            assert np.ptp(rows[:, column]) == pytest.approx(2 * abs(offset), rel=1e-5)


@pytest.mark.parametrize("free_end", [True, False])
def test_the_slope_offered_is_the_derivative_of_the_offset(free_end):
    part = run_out.RunOut(
        tilt=2e-4 + 1e-4j, bow=80e-6j, table=(np.linspace(0, 0.4, 9), 1e-5 * np.arange(9) ** 1.5)
    )
    h, s = 1e-6, 0.173
    ahead, behind = (imposed(part, s + d, [0.7], free_end=free_end)[0] for d in (h, -h))
    rows = imposed(part, s, [0.7], free_end=free_end)[0]
    np.testing.assert_allclose(rows[[1, 3]], ((ahead - behind) / (2 * h))[[0, 2]], rtol=1e-6)


def test_a_bow_is_nothing_at_a_held_end():
    part = run_out.RunOut(bow=80e-6)
    assert imposed(part, 0.0, [0.0])[0, [0, 1]] == pytest.approx([0, 0], abs=1e-12)  # built in below
    np.testing.assert_allclose(imposed(part, 0.4, [0.0])[0, 0], 80e-6)  # crest at the free end
    assert imposed(part, 0.4, [0.0], free_end=False)[0, 0] == pytest.approx(0, abs=1e-12)
    assert imposed(part, 0.2, [0.0], free_end=False)[0, 0] == pytest.approx(80e-6)


def test_planar_stiffness_is_the_curvature_of_the_energy():
    """Sum of k/2 |displacement of each element's point|^2, by second differences of exact planar motion."""
    rng = np.random.default_rng(3)
    points, k = rng.normal(0, 0.02, (4, 2)), rng.uniform(1e3, 5e3, 4)

    def energy(x, y, turn):
        R = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
        moved = points @ R.T + [x, y] - points
        return float(np.sum(k / 2 * np.sum(moved**2, axis=1)))

    h = np.array([1e-5, 1e-5, 1e-4])
    hessian = np.zeros((3, 3))
    for i in range(3):
        for j in range(3):
            corners = [
                si * sj * energy(*(si * h * (np.arange(3) == i) + sj * h * (np.arange(3) == j)))
                for si in (1, -1)
                for sj in (1, -1)
            ]
            hessian[i, j] = sum(corners) / (4 * h[i] * h[j])
    np.testing.assert_allclose(joint.planar_stiffness(points, k), hessian, rtol=1e-4, atol=1e-4)


def test_elements_on_one_side_couple_and_a_mirrored_pair_does_not():
    """Closed form: K_x,turn = -sum k y, K_y,turn = sum k x."""
    one = joint.planar_stiffness(np.array([[0.03, 0.01]]), np.array([2e3]))
    assert one[0, 2] == pytest.approx(-2e3 * 0.01)
    assert one[1, 2] == pytest.approx(2e3 * 0.03)
    pair = joint.planar_stiffness(np.array([[0.03, 0.01], [-0.03, -0.01]]), np.array([2e3, 2e3]))
    np.testing.assert_allclose(pair, np.diag([4e3, 4e3, 4e3 * 0.001]), atol=1e-12)


def test_torsional_stiffness_grows_with_the_radius_squared_and_lateral_does_not():
    small, large = (joint.planar_stiffness(joint.ring(3, r), np.full(3, 1e3)) for r in (0.01, 0.02))
    np.testing.assert_allclose(small[:2, :2], large[:2, :2])
    assert large[2, 2] / small[2, 2] == pytest.approx(4)
    assert small[2, 2] == pytest.approx(3e3 * 0.01**2)
    np.testing.assert_allclose(small - np.diag(np.diag(small)), 0, atol=1e-12)


def gradient(energy, at, h=1e-9):
    return np.array([(energy(at + d) - energy(at - d)) / (2 * h) for d in h * np.eye(at.size)])


@pytest.mark.parametrize("at", [[3e-4, 4e-4], [2.1e-4, -0.1e-4], [0.0, -9e-4]])
def test_the_stop_gives_back_what_it_takes(at):
    """Force and tangent are first and second derivatives of k/2 max(|x| - gap, 0)^2."""
    gap, k, at = 2e-4, 5e6, np.array(at)

    def energy(x):
        return k / 2 * max(float(np.hypot(*x)) - gap, 0) ** 2

    force, tangent = stop_force(at, gap, k)
    np.testing.assert_allclose(force, gradient(energy, at), rtol=1e-5, atol=1e-4)
    columns = gradient(lambda x: stop_force(x, gap, k)[0], at)
    np.testing.assert_allclose(tangent, columns.T, rtol=1e-5, atol=1)
    assert not np.any(stop_force(0.3 * gap * at / np.hypot(*at), gap, k)[0])


@pytest.mark.parametrize("at", [[30e-6, -10e-6, -4e-6], [0.5e-6, 1e-6, 2e-6], [0.0, 0.0, -3e-6]])
def test_the_climbing_flank_gives_back_what_it_takes(at):
    """Derivatives of k/2 (a - c)^2 - k/2 a^2 with the climb c = slope (sqrt(x^2 + y^2 + r^2) - r)."""
    slope, rounding, k, at = math.tan(math.radians(15)), 2e-6, 40e6, np.array(at)

    def energy(x):
        climb = slope * (math.sqrt(x[0] ** 2 + x[1] ** 2 + rounding**2) - rounding)
        return k / 2 * ((x[2] - climb) ** 2 - x[2] ** 2)

    force, tangent = flank_force(at, slope, rounding, k)
    np.testing.assert_allclose(force, gradient(energy, at, 1e-10), rtol=1e-4, atol=1e-3)
    columns = gradient(lambda x: flank_force(x, slope, rounding, k)[0], at, 1e-10)
    np.testing.assert_allclose(tangent, columns.T, rtol=1e-4, atol=1e-4 * k)


def test_side_force_and_lift_of_a_loaded_flank():
    """Incline of angle beta, friction angle rho: F tan(beta + rho), lift x tan(beta), by virtual work."""
    load, beta, mu, k, x = 10.0, math.radians(15), 0.12, 40e6, 60e-6
    limit = load * math.tan(beta + math.atan(mu))
    # the axial link carries the load whatever the climb: k (a - c) = -F
    climb = math.tan(beta) * (math.hypot(x, nut.FLANK_ROUNDING) - nut.FLANK_ROUNDING)
    side, _, axial = flank_force(np.array([x, 0.0, climb - load / k]), math.tan(beta), nut.FLANK_ROUNDING, k)[
        0
    ]
    assert side == pytest.approx(load * math.tan(beta), rel=1e-3)  # restoring: against the displacement
    assert axial == pytest.approx(-k * climb)
    assert climb == pytest.approx(x * math.tan(beta), rel=0.04)  # the tip of the cone is rounded by 2 um
    made = plain_nut(mu)
    flank, stop, friction = nut.play(
        Coordinates(corners=3, free_shafts=(0, 1, 2)), 0, made, -5e-3, np.zeros((1, 42)), "axial", "nut"
    )
    assert side + friction.limit(np.array([load]))[0] == pytest.approx(limit, rel=1e-3)
    assert (stop.gap, stop.stiffness, flank.slope) == (
        made.clearance,
        made.radial,
        pytest.approx(math.tan(beta)),
    )


def plain_nut(mu):
    return nut.Nut(
        radial=30e6,
        axial=50e6,
        tilt=200.0,
        drag_torque=0.0,
        drag_breakaway=0.02,
        mass=0.1,
        inertia=3e-5,
        bore_offset=0j,
        plain=True,
        clearance=80e-6,
        friction=mu,
        flank_angle=math.radians(15),
        pitch_radius=4.5e-3,
        lead=2e-3,
    )


def test_friction_torque_of_a_plain_thread_is_the_power_screw_formula_at_no_lead():
    """[Shigley] T = (F d/2) (l + pi mu d sec a)/(pi d - mu l sec a), from memory, for l -> 0."""
    made, d, sec = plain_nut(0.12), 9e-3, 1 / math.cos(math.radians(15))
    lead = 1e-9
    formula = d / 2 * (lead + math.pi * 0.12 * d * sec) / (math.pi * d - 0.12 * lead * sec)
    contact = nut.drag(Coordinates(corners=3), 1, made, 1, "drag")
    assert contact.limit(np.array([7.0]))[0] == pytest.approx(7.0 * formula, rel=1e-5)


def test_a_loaded_joint_that_is_displaced_tilts_its_carriage():
    """Geometric stiffness as the curvature of the load's potential under full rotations.

    The nut stands in the carriage's plane; where the plane is tilted and the nut off centre the carriage
    stands lower or higher, and so does the load on it.
    """
    coordinates, load, height = Coordinates(corners=3), 12.0, -0.03
    planar = joint.planar_rows(coordinates, 1, height, np.zeros(2))
    link = joint.load_link(coordinates, 1, planar, "load")
    first = coordinates.carriage(1)
    K = link.jacobian.T @ link.stiffness_at(np.zeros(1), np.array([load]))[0] @ link.jacobian

    def potential(q):
        """Load times height of the joint's centre in the carriage, the nut at height zero."""
        turn = Rotation.from_rotvec(q[3:6]).as_matrix()
        centre = q[:2] + (turn @ [0, 0, height])[:2]
        away = q[6:8] - centre  # nut minus carriage
        normal = turn @ [0, 0, 1]
        # the plane through the centre contains the nut: normal . (away, 0 - z) = 0
        return load * float(normal[:2] @ away) / normal[2]

    h = 1e-4
    size = 9
    hessian = np.zeros((size, size))
    for i in range(size):
        for j in range(size):
            di, dj = h * (np.arange(size) == i), h * (np.arange(size) == j)
            terms = potential(di + dj) - potential(di - dj) - potential(dj - di) + potential(-di - dj)
            hessian[i, j] = terms / (4 * h * h)
    # compared where joint and tilt meet: that the centre sinks with a tilt squared is no load on the joint
    found = K[first : first + size, first : first + size]
    pairs = [(3, 7), (4, 6), (3, 1), (4, 0)]
    for i, j in pairs:
        assert found[i, j] == pytest.approx(hessian[i, j], rel=1e-5)
        assert found[i, j] == pytest.approx(found[j, i])
    assert found[3, 7] == pytest.approx(-load) and found[4, 6] == pytest.approx(load)


PLATE = Bed(
    mass=2.0,
    inertia=np.ones(3),
    centre=np.zeros(3),
    size=np.array([0.3, 0.22]),
    thickness=6e-3,
    shear_modulus=26e9,
    expansion=0.0,
    temperature_rise=0.0,
)


def test_twist_stiffness_of_a_plate():
    """k = G t^3 A/(3 xc^2 yc^2), and from corner forces P = 2 M_xy, M_xy = (G t^3/6) w_xy."""
    x, y = 0.13, 0.09
    shapes = PlateShapes(count=1, x=x, y=y)
    k = shapes.stiffness(PLATE)[0, 0]
    area, t, G = 0.3 * 0.22, 6e-3, 26e9
    assert k == pytest.approx(G * t**3 * area / (3 * x**2 * y**2), rel=1e-12)
    corner_force = 2 * G * t**3 / 6 / (x * y)
    assert k == pytest.approx(4 * corner_force * (0.15 * 0.11) / (x * y), rel=1e-12)
    assert shapes.mass(PLATE)[0][0, 0] == pytest.approx(2.0 / 9 * (0.15 * 0.11 / (x * y)) ** 2, rel=1e-12)


def test_bending_stiffness_of_a_plate_in_one_direction():
    """w = (x/xc)^2 has the energy D/2 (2/xc^2)^2 A, D = E t^3/(12 (1 - nu^2)). Cylindrical bending."""
    x = 0.15
    shapes = PlateShapes(count=2, x=x, y=0.11)
    D = 2 * 26e9 * (1 + POISSON) * 6e-3**3 / (12 * (1 - POISSON**2))
    assert shapes.stiffness(PLATE)[1, 1] == pytest.approx(D * 4 / x**4 * 0.3 * 0.22, rel=1e-12)
    assert shapes.stiffness(PLATE)[0, 1] == pytest.approx(0, abs=1e-3)
