"""Machines that cannot be computed are refused with a sentence that says why."""

import numpy as np
import pytest
from three_screws import circle, job, loaded, run

from bedsim.engines import base
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


@pytest.mark.parametrize("drive", [{}, {"topology": "belt"}])
def test_motors_that_cannot_raise_the_bed_are_refused(drive):
    """Torque by Newton's laws: all that hangs on the screws rises by a lead per turn, T = m g l/(2 pi) in
    sum."""
    machine = job(drive=drive, bed={"mass_kg": 3.0}, carriage={"mass_kg": 0.5}, nut={"mass_kg": 0.2}).machine
    lead = 2 * np.pi / abs(machine.command[machine.coordinates.rotor(0), 0])
    asked = (3.0 + 3 * 0.7) * machine.gravity * lead / (2 * np.pi)
    assert machine.torque_to_raise.sum() == pytest.approx(asked, rel=1e-12)
    enough = 1.001 * machine.torque_to_raise.max()
    given = {"drive": drive, "bed": {"mass_kg": 3.0}, "carriage": {"mass_kg": 0.5}, "nut": {"mass_kg": 0.2}}
    job(**given, motor={"holding_torque_n_m": enough, "current_percent": 100.0})
    with pytest.raises(InputError, match=r"motor\.holding_torque_n_m: raising the bed asks for"):
        job(**given, motor={"holding_torque_n_m": 0.998 * enough, "current_percent": 100.0})
    with pytest.raises(InputError, match=r"A run does not know sizing\.counterweight_n"):
        weak = {"holding_torque_n_m": 0.998 * enough, "current_percent": 100.0}
        job(**given, sizing={"counterweight_n": 9.0}, motor=weak)


def test_a_print_ends_where_a_motor_loses_steps(monkeypatch):
    """Lost is what asks for more than 0.7 rad here: this motor holds the bed at asin(1/1.5) = 0.73 rad."""
    monkeypatch.setattr(base, "LOST_STEP", 0.7)
    asked = job().machine.torque_to_raise.max()
    weak = {"holding_torque_n_m": 1.5 * asked, "current_percent": 100.0}
    with pytest.raises(InputError, match=r"layer 1: the motor at .* loses steps"):
        run(engine="propagator", motor=weak, print={"layers": 2})
