"""All rows of a machine, given as plain SI numbers."""

from __future__ import annotations

from bedsim.sizing.numbers import MachineNumbers
from bedsim.sizing.rows_holding import holding_rows, unequal_rows
from bedsim.sizing.rows_joint import joint_rows
from bedsim.sizing.rows_motor import motor_rows
from bedsim.sizing.rows_mount import mount_rows
from bedsim.sizing.rows_nut import life_rows
from bedsim.sizing.rows_run_out import run_out_rows
from bedsim.sizing.rows_screw import axial_rows, column_rows, torque_rows
from bedsim.sizing.table import Check


def size_machine(machine: MachineNumbers) -> list[Check]:
    """Compute every row of every corner, in the order of the report.

    Raises ModelError when the mounts stand on one line.
    """
    duty, corners = machine.duty, machine.corners
    return [
        *(row for c in corners for row in column_rows(c, duty)),
        *(row for c in corners for row in axial_rows(c)),
        *(row for c in corners for row in torque_rows(c, duty)),
        *(row for c in corners for row in motor_rows(c, duty)),
        *(row for c in corners for row in life_rows(c, duty)),
        *(row for c in corners for row in run_out_rows(c)),
        *(row for c in corners for row in joint_rows(c, machine)),
        *mount_rows(machine),
        *(row for c in corners for row in holding_rows(c, duty)),
        *unequal_rows(machine),
    ]
