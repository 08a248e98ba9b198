"""Keys that sizing needs: motor curve, load ratings, plain nut, brake, the joint's parts, prices.

All are optional; what is not given is said to be missing in the answer instead of being guessed.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Literal

from pydantic import Field, model_validator

from bedsim.scenario.kinds_of_parts import KnownKind
from bedsim.scenario.section import Angle, Name, NonNegative, Positive, Section


class PullOutPoint(Section):
    """One point of the motor maker's pull-out curve, at the driver voltage and current in use."""

    speed_rpm: NonNegative
    """Speed of the motor."""
    torque_n_m: NonNegative
    """Torque at which the motor loses step."""


class MagnetPart(Section):
    """A pair of disc magnets in attraction, one in each plate of the joint, on a common axis at rest."""

    name: Name = "magnets"
    """Name used in results."""
    x_mm: float
    """X from the screw axis."""
    y_mm: float
    """Y from the screw axis."""
    diameter_mm: Positive
    """Diameter of the disc on the nut's side."""
    thickness_mm: Positive
    """Its thickness."""
    other_diameter_mm: Positive | None = None
    """Diameter of the disc on the carriage's side; default: the same."""
    other_thickness_mm: Positive | None = None
    """Its thickness; default: the same."""
    remanence_t: Annotated[float, Field(gt=0, le=1.6)] = 1.3
    """Remanence of both at room temperature."""
    gap_mm: Positive
    """Distance between the facing surfaces."""


class SpringPart(Section):
    """A tension spring between the plates, free to swing at both hooks."""

    name: Name = "spring"
    """Name used in results."""
    x_mm: float
    """X from the screw axis."""
    y_mm: float
    """Y from the screw axis."""
    force_n: Positive
    """Pull at rest."""
    length_mm: Positive
    """Distance between the hooks at rest."""


class BallPart(Section):
    """A ball between the plates."""

    name: Name = "ball"
    """Name used in results."""
    x_mm: float
    """X from the screw axis."""
    y_mm: float
    """Y from the screw axis."""
    diameter_mm: Positive
    """Diameter of the ball."""
    dish_radius_mm: Positive | None = None
    """Radius of dished plates; default: flat plates."""
    dished_plates: Annotated[int, Field(ge=0, le=2)] = 0
    """How many of the two plates are dished."""
    ball_modulus_gpa: Positive = 206.0
    """Young's modulus of the ball."""
    plate_modulus_gpa: Positive = 206.0
    """Young's modulus of the plates."""
    poisson: Annotated[float, Field(gt=0, lt=0.5)] = 0.3
    """Poisson's ratio of both."""
    plate_yield_mpa: Positive | None = None
    """Yield stress of the softer plate; default: the pressure is shown without a limit."""
    wedge_deg: Annotated[float, Field(ge=0, le=5)] = 0.0
    """How far the plates are out of parallel; `bedsim size` alone counts it, whichever way it pushes."""

    @model_validator(mode="after")
    def _dish_is_wider(self) -> BallPart:
        if self.dished_plates and (
            self.dish_radius_mm is None or self.dish_radius_mm <= self.diameter_mm / 2
        ):
            raise ValueError("dished plates need a dish_radius_mm larger than half the ball's diameter_mm")
        if self.dish_radius_mm is not None and not self.dished_plates:
            raise ValueError("dish_radius_mm does nothing on flat plates: give dished_plates = 1 or 2")
        return self


class RingPart(Section):
    """A rubber O-ring squeezed between the plates."""

    name: Name = "O-ring"
    """Name used in results."""
    x_mm: float = 0.0
    """X of its centre from the screw axis."""
    y_mm: float = 0.0
    """Y of its centre from the screw axis."""
    mean_diameter_mm: Positive
    """Diameter through the middle of the cord."""
    cord_mm: Positive
    """Thickness of the cord when free."""
    height_mm: Positive
    """Distance of the plates."""
    hardness_shore_a: Annotated[float, Field(ge=20, le=80)] = 70.0
    """Hardness of the rubber."""


class LeafPart(Section):
    """An upright leaf or wire clamped in both plates."""

    name: Name = "flexure"
    """Name used in results."""
    x_mm: float
    """X from the screw axis."""
    y_mm: float
    """Y from the screw axis."""
    thickness_mm: Positive
    """Thickness, along `direction_deg`."""
    width_mm: Positive
    """Width, across that direction."""
    length_mm: Positive
    """Free length between the clamps."""
    direction_deg: Angle = 0.0
    """The soft direction, counter-clockwise from +X seen from above."""
    youngs_modulus_gpa: Positive = 206.0
    """Young's modulus."""
    carries_load: bool = False
    """Whether the leaves carry the corner's load (in equal shares, as compression)."""


class JointParts(Section):
    """The joint of every corner that has one as a list of what it is made of, for `bedsim run` and `size`."""

    magnet: tuple[MagnetPart, ...] = ()
    """Pairs of disc magnets."""
    spring: tuple[SpringPart, ...] = ()
    """Tension springs."""
    ball: tuple[BallPart, ...] = ()
    """Balls between the plates; they carry the load in equal shares."""
    ring: tuple[RingPart, ...] = ()
    """O-rings."""
    leaf: tuple[LeafPart, ...] = ()
    """Leaf or wire flexures."""


class OtherScrew(Section):
    """The screw of the other type that the decision table sets against the one in the machine."""

    kind: Annotated[str, KnownKind("screw")]
    """Its type."""
    diameter_mm: Positive
    """Nominal diameter."""
    root_diameter_mm: Positive
    """Root diameter."""
    lead_mm: Positive
    """Travel per turn."""
    starts: Annotated[int, Field(ge=1, le=12)] = 1
    """Number of thread starts."""
    friction_coefficient: Positive
    """Plain nut: sliding friction; ball nut: rolling friction."""
    flank_angle_deg: Annotated[float, Field(ge=0, lt=60)] = 15.0
    """Plain nut: half angle of the thread."""
    nut_axial_n_per_um: Positive
    """Axial stiffness of its nut."""
    drag_torque_n_mm: NonNegative = 0.0
    """Drag of its nut without load."""
    dynamic_load_rating_n: Positive | None = None
    """Ball screw: dynamic load rating."""
    eccentricity_tir_um: NonNegative | None = None
    """Run-out of its thread, as total indicator reading; default: that of the screw in the machine."""


class Sizing(Section):
    """What the sizing needs beside the machine itself; it holds for every corner."""

    pull_out: tuple[PullOutPoint, ...] = ()
    """The motor's pull-out curve: two points or more, speeds rising."""
    gear_efficiency: Annotated[float, Field(gt=0, le=1)] = 1.0
    """Efficiency of a gear or belt between motor and screw."""
    brake_torque_n_m: NonNegative = 0.0
    """Holding torque of a brake at each screw without current."""
    counterweight_n: NonNegative = 0.0
    """Lift of a counterweight or gas spring at each corner."""
    dynamic_load_rating_n: Positive | None = None
    """Ball screw: dynamic load rating from the maker."""
    static_load_rating_n: Positive | None = None
    """Ball screw: static load rating from the maker."""
    load_factor: Annotated[float, Field(ge=1, le=3)] = 1.2
    """Ball screw: load factor of the life formula."""
    ball_circle_diameter_mm: Positive | None = None
    """Ball screw: diameter of the circle of the balls' centres; default: the nominal diameter."""
    speed_diameter_mm_rpm: Positive | None = None
    """Ball screw: the maker's limit of speed times diameter; default: 60,000, the low end of all."""
    life_h: Positive = 5000.0
    """Hours of printing that screw or nut shall last."""
    plain_nut_length_mm: Positive | None = None
    """Plain nut: length of its thread."""
    plain_nut_material: Literal["bronze", "pom", "pom_ptfe", "pa66"] = "bronze"
    """Plain nut: bronze or brass, acetal, acetal with 22 % PTFE, or polyamide 66; for usual figures of wear
    and of pressure x velocity."""
    pressure_velocity_mpa_m_s: Positive | None = None
    """Plain nut: the maker's limit of pressure times sliding speed; default: a usual figure."""
    wear_low_mm3_per_n_m: Positive | None = None
    """Plain nut: lower wear coefficient; default: a usual figure."""
    wear_high_mm3_per_n_m: Positive | None = None
    """Plain nut: upper wear coefficient; default: a usual figure."""
    wear_clearance_um: Positive = 100.0
    """Plain nut: play along the screw at which it counts as worn out."""
    vibration_friction: Annotated[float, Field(ge=0, le=1)] = 0.0
    """Part of the friction that still holds the bed when the machine is shaken; 0: none is counted on."""
    frame_acceleration_mm_s2: NonNegative = 0.0
    """Largest sideways acceleration of the bed while the gantry shakes the frame."""
    mount_travel_mm: Positive | None = None
    """Free travel of a groove mount from its middle to the end of the groove."""
    joint_warming_k: NonNegative = 20.0
    """How much warmer the magnets of `joint_part` get than room temperature; `bedsim run` counts it too."""
    joint_part: JointParts = JointParts()
    """The joint from its parts: they stand for what [joint] says of stiffness, elements and magnets."""
    joint_twist_um: Positive | None = None
    """Travel that the nut's turning under load may take at the joint's elements; default: a tenth of it."""
    joint_reversal_um: Positive = 1.0
    """Height that the nut's turning may cost at a reversal or hop."""
    other_screw: OtherScrew | None = None
    """The screw of the other type for the decision table; default: derived from the one in the machine."""

    @model_validator(mode="after")
    def _curve_and_ranges(self) -> Sizing:
        speeds = [p.speed_rpm for p in self.pull_out]
        if len(speeds) == 1 or any(b <= a for a, b in pairwise(speeds)):
            raise ValueError("pull_out needs two points or more, with rising speed_rpm")
        low, high = self.wear_low_mm3_per_n_m, self.wear_high_mm3_per_n_m
        if low is not None and high is not None and low > high:
            raise ValueError("wear_low_mm3_per_n_m must not exceed wear_high_mm3_per_n_m")
        return self


class Prices(Section):
    """What the parts cost the user, per corner; only what is given enters the decision table."""

    currency: Annotated[str, Field(min_length=1, max_length=8)] = "EUR"
    """Currency of the prices."""
    ball_screw: NonNegative | None = None
    """A ball screw with nut and end machining."""
    plain_screw: NonNegative | None = None
    """A plain screw with nut and end machining."""
    brake: NonNegative | None = None
    """A brake or counterweight for one screw, needed where the screw does not hold by itself."""
