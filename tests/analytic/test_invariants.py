"""What must hold for any machine: nothing in, nothing out; turned, a turned answer; linear in the bend."""

import copy
import math

import numpy as np
import pytest
from three_screws import RADIUS, circle, job, run, with_run_out

from bedsim.engines.equilibrium import linear_poses
from bedsim.model import assembly
from bedsim.units import GRAVITY

CROOKED = (
    {"eccentricity_tir_um": 60.0, "eccentricity_deg": 200.0, "bow_tir_um": 90.0, "bow_deg": -20.0},
    {"bow_tir_um": 150.0, "bow_deg": 30.0},
    {"tilt_tir_um_per_100mm": 40.0, "tilt_deg": 77.0},
)
ROLLING = {
    "joint": {"kind": "rolling", "travel_mm": 5.0},
    "guide": {"friction_n": 1.0},
    "mount": {"friction_coefficient": 0.1},
    "nut": {"drag_torque_n_mm": 5.0},
}


def test_a_straight_machine_does_not_move_sideways():
    """No imperfection in, no error out, but for the screws' own stretch under the weight, in closed form."""
    found = run()
    np.testing.assert_allclose(found.lateral_raw, 0, atol=1e-13)
    np.testing.assert_allclose(found.tilt, 0, atol=1e-13)
    work = job()
    a = assembly.nut_position(work.machine, found.layer)[:, 0]
    d, lead = 10e-3, 5e-3
    load = (3.0 / 3 + 0.5) * GRAVITY
    stretch = 1 / (206e9 * math.pi / 4 * d**2) + (lead / (2 * math.pi)) ** 2 / (79.4e9 * math.pi / 32 * d**4)
    # the nut comes down, the screw above which it hangs gets shorter and gives less
    np.testing.assert_allclose(found.height_error[:, 0], load * stretch * (a[0] - a), rtol=1e-6, atol=1e-15)
    assert found.height_error[-1, 0] > 0


def test_a_straight_machine_with_friction_does_not_move_sideways():
    found = run(**ROLLING, print={"layers": 3})
    np.testing.assert_allclose(found.lateral_error, 0, atol=1e-11)


def test_no_strength_no_imposed_extension():
    work = job(with_run_out(circle(), *CROOKED))
    path = assembly.Path(
        time=np.zeros(3), height=np.zeros((3, 3)), move_start=np.zeros((3, 3)), move_end=np.zeros((3, 3))
    )
    assert not np.any(work.machine.imposed(path, np.zeros_like(work.machine.amounts)))
    assert np.any(work.machine.imposed(path))


def turned(corners, by_deg):
    """The same machine turned about Z: places, offsets and directions."""
    c, s = math.cos(math.radians(by_deg)), math.sin(math.radians(by_deg))
    corners = copy.deepcopy(corners)
    for corner in corners:
        for table, x, y in ((corner, "x_mm", "y_mm"), (corner["mount"], "offset_x_mm", "offset_y_mm")):
            table[x], table[y] = c * table[x] - s * table[y], s * table[x] + c * table[y]
        alignment, guide = corner["screw"]["alignment"], corner["guide"]
        for table, x, y in (
            (alignment, "offset_x_um", "offset_y_um"),
            (guide, "offset_x_mm", "offset_y_mm"),
        ):
            table[x], table[y] = c * table[x] - s * table[y], s * table[x] + c * table[y]
        guide["straightness_deg"] += by_deg
        for key in ("eccentricity_deg", "bow_deg", "tilt_deg"):
            corner["screw"]["run_out"][key] = corner["screw"]["run_out"].get(key, 0.0) + by_deg
    return corners


def uneven():
    """Corners that have no symmetry at all."""
    corners = with_run_out(circle(start_deg=13.0), *CROOKED)
    for k, corner in enumerate(corners):
        corner["x_mm"] *= 1 + 0.1 * k
        corner["mount"] = {"offset_x_mm": 5.0 * k, "offset_y_mm": -3.0}
        corner["guide"] = {
            "offset_x_mm": 12.0,
            "offset_y_mm": 4.0 * k,
            "straightness_mm_per_m": 0.05 * k,
            "straightness_deg": 40.0,
            "radial_n_per_um": 30.0,
            "tangential_n_per_um": 50.0 - 10 * k,
        }
        corner["screw"]["alignment"] = {"offset_x_um": 20.0 * k, "offset_y_um": -15.0}
    return corners


def probes(by_deg):
    turn = np.exp(1j * math.radians(by_deg))
    places = [turn * p for p in (0, 100 + 20j, -60 + 90j)]
    return [{"name": f"p{k}", "x_mm": p.real, "y_mm": p.imag} for k, p in enumerate(places)]


@pytest.mark.parametrize(("by_deg", "parts", "tolerance"), [(37.0, {}, 1e-12), (120.0, ROLLING, 1e-9)])
def test_a_turned_machine_gives_a_turned_answer(by_deg, parts, tolerance):
    """A square bed on uneven corners; with friction turned by a third, as a joint's three balls are."""
    corners = uneven()
    if parts:
        corners = [merge_without_guide(corner) for corner in corners]
    one = run(corners, probe=probes(0.0), **parts, print={"layers": 4})
    other = run(turned(corners, by_deg), probe=probes(by_deg), **parts, print={"layers": 4})
    c, s = math.cos(math.radians(by_deg)), math.sin(math.radians(by_deg))
    own = slice(3)  # the probes above; the plate's corners, which a run adds, do not turn
    expected = one.lateral_error[:, own] @ np.array([[c, s], [-s, c]])
    assert np.abs(expected).max() > 1e-7
    np.testing.assert_allclose(other.lateral_error[:, own], expected, atol=tolerance)
    np.testing.assert_allclose(other.height_error[:, own], one.height_error[:, own], atol=tolerance)
    np.testing.assert_allclose(other.side_force, one.side_force, rtol=1e-5, atol=1e-3)


def merge_without_guide(corner):
    """With friction the guide's friction must stay the same in all corners' tables."""
    corner["guide"]["friction_n"] = 1.0
    return corner


def test_twice_the_run_out_twice_the_push():
    """A machine without friction is linear in its imperfections."""
    twice = [{k: v * 2 if "tir" in k else v for k, v in part.items()} for part in CROOKED]
    straight, once, double = (run(with_run_out(circle(), *case)).pose_raw for case in ((), CROOKED, twice))
    np.testing.assert_allclose(double - straight, 2 * (once - straight), rtol=1e-9, atol=1e-16)
    assert np.abs(once - straight).max() > 1e-7


def test_screws_add_up():
    """The answer to all three bent screws is the sum of the answers to each."""
    straight = run(circle()).pose_raw
    alone = [
        run(with_run_out(circle(), *[c if k == j else None for j in range(3)])) for k, c in enumerate(CROOKED)
    ]
    together = run(with_run_out(circle(), *CROOKED)).pose_raw
    summed = sum(one.pose_raw - straight for one in alone)
    np.testing.assert_allclose(together - straight, summed, rtol=1e-9, atol=1e-15)


def test_a_crooked_screw_changes_no_matrix():
    """Imperfections are imposed extensions: M, C, K of a straight and a crooked machine are the same bits."""
    layers = np.arange(1, 5)
    straight = job(circle()).machine.system(layers)
    crooked = job(with_run_out(circle(), *CROOKED)).machine.system(layers)
    for name in ("M", "C", "K", "weight", "imposed_force", "command_force"):
        assert np.array_equal(getattr(straight, name), getattr(crooked, name)), name


def test_a_batch_is_the_machines_one_by_one():
    one, other = (job(with_run_out(circle(), *case)) for case in (CROOKED, CROOKED[::-1]))
    both = copy.copy(one)
    object.__setattr__(both, "amounts", np.stack([one.machine.amounts, other.machine.amounts]))
    system = one.machine.system(np.arange(1, 4))
    poses = linear_poses(both, system)[0]
    for k, single in enumerate((one, other)):
        np.testing.assert_allclose(poses[k], linear_poses(single, system)[0][0], rtol=1e-12, atol=1e-18)


def wavelengths(lead, layer, layers):
    """Lateral error, and the period of its strongest line on the wall, mm."""
    corners = with_run_out(circle(), *[{"eccentricity_tir_um": 100.0}] * 3)
    ends = {"ends": "fixed-fixed", "lead_mm": lead, "length_mm": 400}
    found = run(corners, screw=ends, print={"layers": layers, "layer_mm": layer, "first_layer_nut_mm": 220})
    x = found.lateral_error[:, 0, 0]
    line = int(np.argmax(np.abs(np.fft.rfft(x - x.mean()))))
    return x, layers * layer / line


@pytest.mark.parametrize(
    ("lead", "layer", "layers", "seen"),
    [(5.0, 0.25, 60, 5.0), (2.0, 0.25, 24, 2.0), (2.0, 1.2, 30, 3.0)],
)
def test_wavelength_of_the_band(lead, layer, layers, seen):
    """The lead (common practice, no source); above half a lead a layer it aliases to 1/|1/lead - 1/layer|:
    lead 2 with layers of 1.2 gives 3 mm.
    """
    x, period = wavelengths(lead, layer, layers)
    assert period == pytest.approx(seen)
    assert np.ptp(x) > 0.1e-6


def test_a_layer_of_a_whole_lead_shows_no_band():
    """Every layer meets the screw at one angle: what is left follows the nut's height alone, one way."""
    x, _ = wavelengths(2.0, 2.0, 10)
    step = np.diff(x)
    assert np.all(step > 0) or np.all(step < 0)


def test_mirrored_joint_elements_decouple_rotation_from_sideways_motion():
    """Elements on one side only: a push sideways turns the nut, and lead/(2 pi) of that is height.

    A mirrored pair of the same stiffness takes the coupling away. Screws with the same push, straight lead.
    """

    def height(elements):
        joint = {
            "kind": "flexure",
            "element": elements,
            "rotation_nm_per_rad": 1.0,
            "travel_mm": 5.0,
        }
        corners = with_run_out(circle(), *[{"eccentricity_tir_um": 100.0}] * 3)
        level = {"height_mm": -30.0}
        rigid = {"tilt_nm_per_rad": 1e9, "yaw_nm_per_rad": 1e9, **level}
        found = run(
            corners,
            joint=joint | level,
            guide=rigid,
            frame={"rotation_nm_per_rad": 1e9},
            nut={"thread_height_mm": -30.0},
            mount=level,
            print={"layers": 20},
        )
        return np.ptp(found.height_error[:, 0])

    one_side = [{"x_mm": 25.0, "y_mm": 0.0, "lateral_n_per_mm": 20.0}]
    pair = [{"x_mm": x, "y_mm": 0.0, "lateral_n_per_mm": 10.0} for x in (25.0, -25.0)]
    assert height(one_side) > 0.2e-6
    assert height(pair) < 0.02 * height(one_side)


@pytest.mark.parametrize("count", [4, 5])
def test_more_screws_assemble_and_run(count):
    """Each screw beyond three adds ten motions and one shape of the plate; equal screws carry equal loads."""
    work = job(circle(count, 45.0))
    assert work.machine.coordinates.size == 6 + (count - 3) + 10 * count
    load = work.machine.system(np.array([1])).corner_load
    assert load.sum() == pytest.approx((3.0 + 0.5 * count) * GRAVITY, rel=1e-9)
    if count == 4:
        np.testing.assert_allclose(load, load.mean(), rtol=1e-6)
    found = run(with_run_out(circle(count, 45.0), *CROOKED), print={"layers": 3})
    assert np.all(np.isfinite(found.lateral_error)) and np.ptp(found.lateral_error) > 1e-8


def test_a_plate_twists_under_a_fourth_screw_that_is_off():
    """One of four screws d too high: a soft plate gives by its twist, a stiff one presses +-F on the corners.

    Two springs in a row, the plate's and the supports': the forces alternate and their size follows k_tw.
    """

    def loads(thickness, offset):
        corners = circle(4, 45.0)
        corners[0]["screw"] = {"travel": {"slope_um_per_300mm": offset}}
        bed = {"thickness_mm": thickness, "inertia_x_kg_m2": 0.02, "inertia_y_kg_m2": 0.02}
        return run(corners, bed=bed, print={"layers": 2}).axial_force[0]

    for thickness in (2.0, 20.0):
        change = loads(thickness, 90.0) - loads(thickness, 0.0)
        np.testing.assert_allclose(change / change[0], [1, -1, 1, -1], rtol=1e-5)
        assert change[0] > 0
        # supports: screw, nut, bearing, frame, mount, and motor and carriage turned by the thread
        work = job(circle(4, 45.0), bed={"thickness_mm": thickness})
        axial = work.machine.system(np.array([1])).axial_stiffness[0, 0]
        turned = (5e-3 / (2 * math.pi)) ** 2 * (1 / (50 * 0.4 * 0.7) + 1 / 2000 + 1 / 3000)
        support = 1 / (1 / axial + turned + 1 / 15e6)
        c = RADIUS / math.sqrt(2) * 1e-3
        plate = 25.9e9 * (thickness * 1e-3) ** 3 * 0.09 / (3 * c**2 * c**2)  # at the corners' own place
        d = 90e-6 / 0.3 * 0.2  # slope error times the place of the nut
        # virtual work with the alternating pattern: twist d/4, springs 4 k against k_tw
        expected = d / 4 * plate * support / (4 * support + plate)
        assert change[0] == pytest.approx(expected, rel=1e-4)
