"""What a kind of joint adds to the machine and to `size`, beside what every kind says of itself."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

from bedsim import registry
from bedsim.components.joint import Joint, JointPlace, JointRows, plate_rows
from bedsim.errors import InputError
from bedsim.registry import Kind
from bedsim.scenario import schema
from bedsim.scenario.sizing_keys import Sizing
from bedsim.sizing.rows import AtCorner, Row

Make = Callable[[schema.Corner, Sizing, float], Joint]

PLATE_KEYS = (
    "joint.lateral_n_per_mm",
    "joint.elements",
    "joint.element_radius_mm",
    "joint.element",
    "joint.rotation_nm_per_rad",
    "joint.friction_coefficient",
    "joint.magnet_force_n",
    "joint.breakaway_um",
    "joint.damping_n_s_per_m",
    "joint.travel_mm",
    "joint.stop_n_per_um",
)
"""Keys of a joint of two plates that move on each other."""
PART_KEYS = (
    "sizing.joint_part.magnet",
    "sizing.joint_part.spring",
    "sizing.joint_part.ball",
    "sizing.joint_part.ring",
    "sizing.joint_part.leaf",
)
"""Parts that such a joint may be made of."""


@dataclass(frozen=True, slots=True, kw_only=True)
class JointKind(Kind):
    """A kind of joint between nut and carriage.

    `make(corner, sizing, load)`: the joint in SI under a heaviest load N, None for a nut that is bolted.
    `rows(place, joint)`: what it adds to the machine at its corner.  `size`: rows of `bedsim size` beside
    those of every joint.  `wears`: it has contacts or leaves that wear or break; `balls`: balls roll in it.
    """

    part: ClassVar[str] = "joint"
    functions: ClassVar[tuple[str, ...]] = ("make", "rows", "refused")
    make: Make | None
    rows: Callable[[JointPlace, Joint], JointRows] = plate_rows
    size: tuple[Row[AtCorner], ...] = ()
    wears: bool = True
    balls: bool = False

    @property
    def bolted(self) -> bool:
        """Whether the nut stands in its carriage, without a joint."""
        return self.make is None


def joint_kind(name: str) -> JointKind:
    """The kind of joint of a name. Raises InputError where there is none."""
    kind = registry.find("joint", name)
    if not isinstance(kind, JointKind):
        raise InputError(f"joint.kind = {name}: was not made by JointKind.")
    return kind


def held_against_turning(part: schema.JointKeys) -> str:
    """The rule that is broken where neither elements nor an extra part keep the nut from turning."""
    circle = part.lateral_n_per_mm * part.element_radius_mm**2
    listed = sum(e.lateral_n_per_mm * (e.x_mm**2 + e.y_mm**2) for e in part.element)
    stiffness = part.rotation_nm_per_rad + (listed if part.element else circle)
    return "" if stiffness > 0 else "nothing keeps the nut from turning: rotation_nm_per_rad must be > 0"
