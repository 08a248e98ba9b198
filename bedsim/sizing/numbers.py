"""The plain SI numbers that sizing works with: a machine's corners and its duty, without any file format."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from bedsim.components.nut import Nut
from bedsim.components.screw import Screw
from bedsim.sizing.joint_parts import PlanarElement
from bedsim.sizing.wear import PlainPair
from bedsim.units import GRAVITY


@dataclass(frozen=True, slots=True, kw_only=True)
class ScrewNumbers:
    """A screw with its nut: the machine's own parts, and what sizing alone asks for, SI.

    `contact_diameter` is where the thread touches: the pitch diameter of a plain screw, the ball circle of a
    ball screw.  Friction as (low, likely, high).  Ratings in N.  `axial_play`: total, where it hangs on the
    motor; `mounting_moment` [N m] and `mounting_force` [N] on the bearing that has most to straighten.
    """

    shaft: Screw
    nut: Nut
    contact_diameter: float
    friction: tuple[float, float, float]
    run_out: float
    mounting_moment: float
    mounting_force: float
    dynamic_rating: float | None = None
    static_rating: float | None = None
    load_factor: float = 1.2
    speed_diameter_limit: float | None = None
    nut_length: float | None = None
    axial_play: float = 0.0

    @property
    def is_ball(self) -> bool:
        """Whether balls roll in it."""
        return self.shaft.balls

    @property
    def clearance(self) -> float:
        """Radial play [m] of a plain nut; balls have none."""
        return 0.0 if self.is_ball else self.nut.clearance


@dataclass(frozen=True, slots=True, kw_only=True)
class MotorNumbers:
    """A motor as seen at its own shaft: torque in N m, inertia in kg m2; curve as (turns/s, N m).

    `axial_limit` N: what its shaft may carry along itself.
    """

    holding_torque: float
    detent_torque: float
    detent_low: float
    place_errors: Mapping[int, tuple[float, float, float]]  # rad by cycles per four steps: low, likely, high
    rotor_inertia: float
    steps_per_turn: int
    microsteps: int
    gear_ratio: float
    gear_efficiency: float
    pull_out: tuple[tuple[float, float], ...]
    brake_torque: float
    belt_torsion: float | None = None
    axial_limit: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BallNumbers:
    """A ball of the joint: radius [m], contact modulus [Pa], pressure at first yield [Pa] if known."""

    name: str
    radius: float
    modulus: float
    yield_pressure: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class JointNumbers:
    """A joint: lateral and rotation stiffness, rolling or sliding friction over load, pull, travel (SI).

    `anti_rotation` [N m/rad] is what of the rotation stiffness an extra part adds; elements whose travel ends
    stand up to `reach` [m] from the screw's axis, and turning may take `twist_travel` [m] of it.  `parts`
    lists what the joint is made of, if the user gave it, cold and warm.  `growth`, `misalignment`, `bore` [m]
    are what the joint's travel must take beside the run-out.
    """

    kind: str
    bolted: bool
    lateral: float
    rotation: float
    anti_rotation: float
    reach: float
    friction_coefficient: float
    breakaway: float
    pull: float
    travel: float
    twist_travel: float
    axial: float
    growth: float
    misalignment: float
    bore: float
    parts: tuple[PlanarElement, ...] = ()
    parts_warm: tuple[PlanarElement, ...] = ()
    balls: tuple[BallNumbers, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class CornerNumbers:
    """One corner: its parts, where its nut goes [m], and its load [N] at the first and last layer.

    `shaken_off` [N]: most that the layer change as set takes off the mount, inertia and swinging; None where
    it is not known or bolted.
    `side_torque` [N m]: by what a standing side force turns the screw, out of true as it is, at most.
    """

    name: str
    screw: ScrewNumbers
    motor: MotorNumbers
    joint: JointNumbers
    mount_kind: str
    grooved: bool
    mount_x: float
    mount_y: float
    mount_pull: float
    mount_travel: float | None
    mount_growth: float
    carriage_mass: float
    nut_mass: float
    guide_lateral: float
    guide_friction: float
    guide_tilt: float
    guide_yaw: float
    frame_vertical: float
    nut_low: float
    nut_high: float
    room_below: float  # from there to the lower stop
    bed_load: tuple[float, float]
    counterweight: float
    side_torque: float = 0.0
    shaken_off: float | None = None

    @property
    def hanging(self) -> tuple[float, float]:
        """Weight [N] on the screw at the first and the last layer, counterweight taken off."""
        own = (self.carriage_mass + self.nut_mass) * GRAVITY - self.counterweight
        return self.bed_load[0] + own, self.bed_load[1] + own

    @property
    def moved_mass(self) -> float:
        """Mass [kg] that moves with the nut at its heaviest; a counterweight does not lighten it."""
        return max(self.bed_load) / GRAVITY + self.carriage_mass + self.nut_mass


@dataclass(frozen=True, slots=True, kw_only=True)
class Duty:
    """What the print asks for: speeds in m/s, accelerations in m/s2, lengths in m, times in s.

    `layer`: the thinnest; `way`: of a nut down per layer, hops included, and `seconds_per_layer`, their means
    over the print.
    """

    speed: float
    acceleration: float
    layer: float
    way: float
    seconds_per_layer: float
    sideways_acceleration: float
    moving_mass: float
    centre_above_mounts: float
    life_hours: float
    vibration_friction: float
    wear: PlainPair
    wear_clearance: float
    reversal_loss: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineNumbers:
    """The whole machine: its corners and what it is asked to do.

    `shaken_by`: what swings most in a layer change, empty where little does.
    `unassembled`: why no side forces are known; empty when they are.
    """

    corners: tuple[CornerNumbers, ...]
    duty: Duty
    unassembled: str = ""
    shaken_by: str = ""
