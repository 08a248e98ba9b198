"""All rows of a machine, given as plain SI numbers."""

from __future__ import annotations

from bedsim.sizing.numbers import MachineNumbers
from bedsim.sizing.rows import AtCorner, Subject
from bedsim.sizing.rows_holding import MOTORS_OFF, UNEQUAL
from bedsim.sizing.rows_joint import JOINT
from bedsim.sizing.rows_motor import MOTOR
from bedsim.sizing.rows_mount import MOUNTS
from bedsim.sizing.rows_nut import LIFE
from bedsim.sizing.rows_run_out import RUN_OUT
from bedsim.sizing.rows_screw import SCREW
from bedsim.sizing.rows_torque import TORQUE
from bedsim.sizing.rows_train import TRAIN
from bedsim.sizing.table import Check

SUBJECTS: tuple[Subject[AtCorner], ...] = (
    SCREW,
    TRAIN,
    TORQUE,
    MOTOR,
    LIFE,
    RUN_OUT,
    JOINT,
    MOUNTS,
    MOTORS_OFF,
    UNEQUAL,
)
"""Every row that a machine's numbers tell, in the order of the report."""


def size_machine(machine: MachineNumbers) -> list[Check]:
    """Compute every row of every corner, in the order of the report.

    Raises ModelError when the mounts stand on one line.
    """
    corners = [(AtCorner(machine, k), c.name) for k, c in enumerate(machine.corners)]
    return [check for s in SUBJECTS for at, name in corners for check in s.checks(at, name)]
