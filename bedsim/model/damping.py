"""Damping by part: a mode damps as the parts do in which its strain energy sits.

    zeta_mode = zeta + sum over parts of (zeta_part - zeta) U_part/U

A spring of the ratio zeta_part loses 4 pi zeta_part of its largest energy in every cycle, whatever its
frequency; the losses of all parts add up to 4 pi zeta_mode U of a mode whose shape is that without damping.
`zeta` stands for every part without a ratio of its own; where no part has one it is that of every mode.
Derivation: energy per cycle (modal strain energy).  Limits: small ratios; the coupling of modes through
unequal damping is left out, as it may be where their frequencies lie apart by more than they are wide.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

PART_OF: Mapping[str, str] = {
    "motor": "motor",
    "belt": "motor",
    "axial": "screw",
    "screw": "screw",
    "guide": "guide",
    "joint": "joint",
    "load": "joint",
    "mount": "mount",
    "plate": "bed",
}
"""Which part a link or a contact belongs to, by its connection; the screw's with bearings and nut, the
guide's with the frame, the joint's with the load that hangs in it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spring:
    """What belongs to `part`: rows (m, n) on the coordinates and their stiffness (l, m, m) in every layer."""

    part: str
    rows: Array
    stiffness: Array


def energy_shares(springs: Iterable[Spring], modes: Array, frequency: Array) -> dict[str, Array]:
    """Share (l, n) of every part in the strain energy of every mode.

    `modes` (l, n, n) in columns, mass-normalised; `frequency` (l, n) rad/s.
    """
    found: dict[str, Array] = {}
    for spring in springs:
        moved = spring.rows @ modes
        energy = np.einsum("lin,lij,ljn->ln", moved, spring.stiffness, moved) / frequency**2
        found[spring.part] = found.get(spring.part, np.zeros_like(energy)) + energy
    return found


def modal_ratio(shares: Mapping[str, Array], own: Mapping[str, float], ratio: Array) -> Array:
    """Damping ratio (l, n) of every mode: `own` of parts that have one, `ratio` (l, n) of all others."""
    found = ratio.copy()
    for part, value in own.items():
        found += (value - ratio) * shares.get(part, np.zeros_like(found))
    return found
