"""How far load and drag turn a nut in its joint, and what holds it: by hand, and against what `run` finds."""

import math

import numpy as np
import pytest
from machines import loaded
from test_size_report import BALL, rows

from bedsim.analysis.sizing_gather import gather
from bedsim.analysis.sizing_report import size_scenario
from bedsim.engines import base
from bedsim.engines.equilibrium import EquilibriumEngine
from bedsim.scenario.load import load_scenario
from bedsim.simulation import make_job
from bedsim.sizing import joint_checks
from bedsim.units import DEG, MM, N_MM, UM

SOFT = BALL.replace('kind = "rolling"', 'kind = "rolling"\nlateral_n_per_mm = 2\nelement_radius_mm = 20')
SOFT = SOFT.replace("[nut]\n", "[nut]\ndrag_torque_n_mm = 5\nmass_kg = 0.1\n")


def test_turning_by_hand(tmp_path):
    """A third of 3.5 kg, 0.4 of carriage, 0.1 of nut: 16.344 N on lead 5 give 13.006 N mm, drag 5 more.

    2 N/mm on a radius of 20 mm: 0.8 N m/rad, so 22.51 mrad = 1.290 deg after raising and 10.01 mrad after
    lowering, 450 um at the balls. Computed with a calculator.
    """
    found = rows(size_scenario(loaded(tmp_path, SOFT)), "left")
    assert found["turned by load and drag, at most"].value == pytest.approx(1.290, abs=5e-4)
    assert found["turned by load and drag, at most"].note.startswith("0.57° after lowering")
    assert found["travel which that turning uses up"].value == pytest.approx(450.2, abs=0.1)
    assert "turning under load 450" in found["travel needed against travel"].note
    # 2 x 5 N mm on 0.8 N m/rad, the guide's yaw of 2000 and the frame's 3000 behind: lead/(2 pi) of that
    by_hand = 5 / (2 * math.pi) * 0.01 * (1 / 0.8 + 1 / 2000 + 1 / 3000) * 1e3
    assert found["height lost at each reversal"].value == pytest.approx(by_hand)


def test_margin_of_the_travel_counts_turning(tmp_path):
    """The softest joint in use: 0.2 N/mm turn the nut 4.5 mm out of 1 mm of travel."""
    soft = rows(size_scenario(loaded(tmp_path, SOFT.replace("mm = 2\nelement", "mm = 0.2\nelement"))), "left")
    row = soft["travel needed against travel"]
    assert row.within is False and row.value == pytest.approx(4502, rel=1e-3)
    assert "against turning" in row.missing
    held = SOFT.replace('kind = "rolling"\n', 'kind = "rolling"\nrotation_nm_per_rad = 500\n')
    assert rows(size_scenario(loaded(tmp_path, held)), "left")["travel needed against travel"].value < 1


def test_a_plain_nut_rubs_under_the_load(tmp_path):
    """Friction of the thread, f F d2/(2 cos 15 deg), turns the nut beside the drag of 1 N mm; lead 8."""
    corner = gather(loaded(tmp_path)).corners[0]
    force = max(corner.hanging)
    drag = 1.0 * N_MM + 0.12 * force * 3.5 * MM / math.cos(15 * DEG)
    twist = (force * 8 * MM / (2 * math.pi) + drag) / corner.joint.rotation
    found = rows(size_scenario(loaded(tmp_path)), "left")
    assert found["turned by load and drag, at most"].value == pytest.approx(twist / DEG)
    lost = 8 / (2 * math.pi) * 2 * drag * (1 / corner.joint.rotation + 1 / corner.guide_yaw) * 1e3
    assert found["height lost at each reversal"].value == pytest.approx(lost)


@pytest.mark.parametrize("kind", ["sliding", "air_film"])
def test_what_moves_as_a_whole_loses_no_travel_by_turning(tmp_path, kind):
    text = SOFT.replace('kind = "rolling"', f'kind = "{kind}"\nrotation_nm_per_rad = 2')
    found = rows(size_scenario(loaded(tmp_path, text)), "left")
    assert found["turned by load and drag, at most"].value > 0.1
    assert found["travel which that turning uses up"].value == 0
    job = make_job(loaded(tmp_path, text + "[output]\ntrace_layers = [2]\n", sizing={}))
    assert all(np.array_equal(end, np.eye(2, 3)) for (end,) in job.machine.joint_ends)


@pytest.mark.parametrize("sizing", [{}, {"joint_twist_um": 20}, {"joint_reversal_um": 0.2}])
def test_what_is_said_to_be_enough_is_just_enough(tmp_path, sizing):
    """With that stiffness as an anti-rotation part, or with springs on that radius: one figure is as wanted,
    the other within it."""
    said = rows(size_scenario(loaded(tmp_path, SOFT, sizing=sizing)), "left")
    travel, height = sizing.get("joint_twist_um", 100.0), sizing.get("joint_reversal_um", 1.0)
    stiffness = said["stiffness against turning that is enough"].value
    radius = said["radius at which the joint's springs are enough"].value
    part = f'kind = "rolling"\nrotation_nm_per_rad = {stiffness - 0.8}\n'
    wider = SOFT.replace("radius_mm = 20", f"radius_mm = {radius}")
    for text in (SOFT.replace('kind = "rolling"\n', part), wider):
        found = rows(size_scenario(loaded(tmp_path, text, sizing=sizing)), "left")
        used = found["travel which that turning uses up"].value / travel
        lost = found["height lost at each reversal"].value / height
        assert max(used, lost) == pytest.approx(1.0, rel=2e-3)


def test_radii_solve_their_equations():
    """T r/(k_r r^2 + k_a) = s, the larger root, and k_r r^2 + k_a = k; none needed where the part holds."""
    torque, way, lateral, part = 0.018, 50 * UM, 2000.0, 0.3
    r = joint_checks.radius_for_travel(torque, way, lateral, part)
    assert torque * r / (lateral * r**2 + part) == pytest.approx(way)
    assert torque * 0.99 * r / (lateral * (0.99 * r) ** 2 + part) > way
    assert joint_checks.radius_for_travel(torque, way, lateral, 1e3) == 0.0
    assert joint_checks.radius_for_travel(torque, way, 0.0, part) == math.inf
    assert lateral * joint_checks.radius_for_stiffness(8.0, lateral, part) ** 2 + part == pytest.approx(8.0)
    assert joint_checks.radius_for_stiffness(0.2, lateral, part) == 0.0
    assert joint_checks.stiffness_for_reversal(0.005, 5 * MM, 1 * UM, 5.0) == math.inf  # the carriage alone


def test_run_turns_the_nut_as_size_says(tmp_path):
    """Straight screws without friction but the nuts' drag: at rest after lowering, at the last layer."""
    text = SOFT.replace("[guide]\n", "[guide]\nfriction_n = 0\n").replace(
        "[mount]\n", "[mount]\nfriction_coefficient = 0\n"
    )
    text = text.replace("z_hop_mm = 0.4\n", "").replace(
        '"rolling"\n', '"rolling"\nfriction_coefficient = 0\n'
    )
    text += "[output]\ntrace_layers = [200]\n"
    (tmp_path / "m.toml").write_text(text)
    job = make_job(load_scenario(tmp_path / "m.toml", ["bed.temperature_rise_k=0"]))
    chunks = list(EquilibriumEngine().run(job))
    observer = base.make_observer(job.machine, job.machine.system(np.array([200])), job.probes)
    turn = observer.joint[:, 2] @ chunks[-1].histories[0].q[0]
    row = rows(size_scenario(loaded(tmp_path, text)), "left")["turned by load and drag, at most"]
    load, drag = 16.344 * 5e-3 / (2 * math.pi), 5e-3
    assert row.value * DEG == pytest.approx((load + drag) / 0.8, rel=1e-4)
    # the hand of a right-hand screw: the load turns the nut one way, the drag after lowering the other
    assert np.abs(turn) == pytest.approx(np.full(3, (load - drag) / 0.8), rel=0.01)
    largest = max(float(c.joint_excursion.max()) for c in chunks)
    assert largest == pytest.approx(0.02 * np.abs(turn).max(), rel=0.01)


def test_a_bolted_nut_gives_along_the_screw_in_both(tmp_path):
    """joint.axial in series with the rest: a corner's 1/k grows by 1/k_joint; N/um."""
    text = BALL.replace('kind = "rolling"', 'kind = "rigid"\naxial_n_per_um = {}')
    found = []
    for axial in ("500", "2"):
        one = loaded(tmp_path, text.replace("{}", axial, 1))
        row = rows(size_scenario(one), "left")["axial stiffness, softest"].value
        load_scenario(tmp_path / "machine.toml")
        job = make_job(load_scenario(tmp_path / "machine.toml"))
        found.append((row, job.machine.system(np.array([1])).axial_stiffness[0, 0] / 1e6))
    for soft, stiff in ((found[1][k], found[0][k]) for k in (0, 1)):
        assert 1 / soft - 1 / stiff == pytest.approx(1 / 2 - 1 / 500, rel=1e-6)
