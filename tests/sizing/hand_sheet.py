"""Every row of `bedsim size`, worked out by hand from a machine's file: N, mm, s, kg and degrees throughout.

Nothing here comes from the product. A machine's numbers are read from its TOML file as they stand there;
beams are columns of finite elements, magnets are rings of current, plates are sums of forces and moments.
Each block says where its formula is from. A new row of the report gets a line in the block of its
subject (`hand_drive.py`, `hand_joint.py`, `hand_bed.py`):
`shown` (no limit), `most` (stay below) or `least` (stay above), with the numbers of its note in order.
"""

from __future__ import annotations

from pathlib import Path

from hand_bed import mount_rows, off_rows, slip_rows, unequal_rows
from hand_corner import Corner
from hand_drive import life_rows, motor_rows, screw_rows, torque_rows, train_rows
from hand_file import Row, belted, machine
from hand_joint import ball_rows, joint_rows, run_out_rows


def sheet(file: Path, side_torques: list[float]) -> list[tuple[str, str, str, Row]]:
    """(corner, subject, name, row) of every row, in any order. `side_torques` N m: of the standing side force
    on each bent screw, held in tests/analytic/test_side_torque.py; here what becomes of it."""
    m = machine(file)
    corners = [Corner(m, k, torque) for k, torque in enumerate(side_torques)]
    found = []
    for c in corners:
        subjects = {
            "Screw": screw_rows(c),
            "Axial train": train_rows(c),
            "Torque at the screw": torque_rows(c),
            "Motor": motor_rows(c) | (slip_rows(c) if not belted(m) else {}),
            "Life": life_rows(c),
            "Run-out": run_out_rows(c),
            "Joint": joint_rows(c, corners),
            "Mounts": mount_rows(c, corners),
            "Motors off": off_rows(c),
            "Unequal corners": unequal_rows(c, corners),
        }
        found += [(c.name, subject, n, row) for subject, rows in subjects.items() for n, row in rows.items()]
        found += [(c.name, "Joint", name, row) for name, row in ball_rows(c)]
    if belted(m):
        found += [("all corners", "Motor", name, row) for name, row in slip_rows(corners[0]).items()]
    return found
