"""Damping by part: a mode damps as the parts do in which its strain energy sits.

    zeta_mode = zeta + sum over parts of (zeta_part - zeta) U_part/U

A spring of the ratio zeta_part loses 4 pi zeta_part of its largest energy in every cycle, whatever its
frequency; the losses of all parts add up to 4 pi zeta_mode U of a mode whose shape is that without damping.
`zeta` stands for every part without a ratio of its own; where no part has one it is that of every mode.
Derivation: energy per cycle (modal strain energy).  Limits: small ratios; the coupling of modes through
unequal damping is left out, as it may be where their frequencies lie apart by more than they are wide.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from bedsim.model.assembly import System

Array = NDArray[np.float64]

PART_OF: Mapping[str, str] = {
    "motor": "motor",
    "belt": "motor",
    "axial": "screw",
    "screw": "screw",
    "nut": "screw",
    "guide": "guide",
    "joint": "joint",
    "load": "joint",
    "mount": "mount",
    "plate": "bed",
}
"""Which part a row belongs to, by the word behind its corner's name; the screw's with bearings and nut, the
guide's with the frame, the joint's with the load that hangs in it."""


def part_of(name: str) -> str:
    """The part of a row called `name`."""
    return PART_OF.get(name.rsplit(".", 1)[-1].split()[0], "")


def energy_shares(system: System) -> dict[str, Array]:
    """Share (l, n) of every part in the strain energy of every mode, bristles stuck and flanks seated."""
    machine, modes = system.machine, system.modes
    found: dict[str, Array] = {}

    def add(part: str, rows: Array, stiffness: Array) -> None:
        moved = rows @ modes
        energy = np.einsum("lin,lij,ljn->ln", moved, stiffness, moved) / system.frequency**2
        found[part] = found.get(part, np.zeros_like(energy)) + energy

    for link in machine.links:
        where = machine.slices[link.name]
        add(part_of(link.name), machine.rows[where], system.stiffness[:, where, where])
    row = 0
    for friction in machine.frictions:
        here = slice(row, row + friction.jacobian.shape[0])
        stuck = system.friction_limit[:, here] / machine.breakaway[here]
        add(part_of(friction.name), machine.contact_rows[here], stuck[:, :, None] * np.eye(stuck.shape[1]))
        row = here.stop
    for k, flank in enumerate(machine.flanks):
        sideways = flank.jacobian[:2] @ machine.transform
        add("screw", sideways, system.seat[:, k, None, None] * np.eye(2))
    return found


def modal_ratio(system: System, ratio: float) -> Array:
    """Damping ratio (l, n) of every mode, `ratio` that of parts without one of their own."""
    found = np.full(system.frequency.shape, ratio)
    own = system.machine.part_damping
    if own:
        shares = energy_shares(system)
        for part, value in own.items():
            found += (value - ratio) * shares.get(part, np.zeros_like(found))
    return found
