"""What a kind of mount is between carriage and bed, beside what every kind says of itself."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from bedsim import registry, units
from bedsim.components.mount import Mount
from bedsim.errors import InputError
from bedsim.registry import Kind
from bedsim.scenario import schema

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class MountKind(Kind):
    """A kind of mount.

    `make(part, point, outward)`: the mount in SI at a point (3,) m; `outward` (2,): away from the middle of
    all mounts.  `bolted`: the carriage goes with the bed, and the springs are not used; `grooved`: a seat
    that slides along its direction, rubs there and can be lifted out.
    """

    part: ClassVar[str] = "mount"
    functions: ClassVar[tuple[str, ...]] = ("make", "refused")
    make: Callable[[schema.MountKeys, Array, Array], Mount]
    bolted: bool = False
    grooved: bool = False


def mount_kind(name: str) -> MountKind:
    """The kind of mount of a name. Raises InputError where there is none."""
    kind = registry.find("mount", name)
    if not isinstance(kind, MountKind):
        raise InputError(f"mount.kind = {name}: was not made by MountKind.")
    return kind


def springs(part: schema.MountKeys, point: Array, outward: Array) -> Mount:
    """A mount of three springs without moment, the first along `outward` unless a direction is given."""
    if part.direction_deg is not None:
        angle = part.direction_deg * units.DEG
        outward = np.array([math.cos(angle), math.sin(angle)])
    return Mount(
        point=point,
        direction=outward,
        radial=part.radial_n_per_um * units.N_PER_UM,
        tangential=part.tangential_n_per_um * units.N_PER_UM,
        vertical=part.vertical_n_per_um * units.N_PER_UM,
        rotation=0.0,
        friction=part.friction_coefficient,
        breakaway=part.breakaway_um * units.UM,
        magnet_force=part.magnet_force_n,
    )
