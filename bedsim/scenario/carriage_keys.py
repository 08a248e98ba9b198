"""Keys of what stands at a corner: joint, mount, guide, frame, carriage."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from bedsim.scenario.kinds_of_parts import KnownKind, as_its_kind_asks
from bedsim.scenario.section import Angle, Height, NonNegative, Positive, Section


class JointElement(Section):
    """One element of a joint at its own place: a ball with its magnet, a spring, a flexure."""

    x_mm: float
    """X from the screw axis."""
    y_mm: float
    """Y from the screw axis."""
    lateral_n_per_mm: NonNegative
    """Recentring stiffness of this element, the same in X and Y."""
    load_share: Annotated[float, Field(ge=0, le=1)] | None = None
    """Share of the corner's load carried here; default: equal shares."""


class JointKeys(Section):
    """What stands between nut and carriage."""

    kind: Annotated[str, KnownKind("joint")] = "rigid"
    """What it is."""
    height_mm: Height = -30.0
    """Height of the joint's plane above the bed surface (negative: below)."""
    lateral_n_per_mm: NonNegative
    """Recentring stiffness of the whole joint, if neither elements nor sizing.joint_part are listed."""
    elements: Annotated[int, Field(ge=1, le=24)]
    """Number of equal elements on a circle, if none are listed."""
    element_radius_mm: Positive
    """Radius of that circle."""
    element: tuple[JointElement, ...] = ()
    """Elements listed one by one, instead of the circle; sizing.joint_part goes before both."""
    rotation_nm_per_rad: NonNegative
    """Stiffness of an extra anti-rotation part about the screw."""
    friction_coefficient: NonNegative
    """Friction force over normal load, rolling or sliding."""
    magnet_force_n: NonNegative
    """Pull of magnets or springs that adds to the load on balls or slides, without sizing.joint_part."""
    breakaway_um: Positive
    """Travel over which friction builds up after a reversal."""
    damping_n_s_per_m: NonNegative
    """Viscous damping in the plane."""
    travel_mm: Positive
    """Free travel of every element from its middle to the stop; turning uses it up too (not that of slideways
    or of an air film)."""
    stop_n_per_um: Positive = 5.0
    """Stiffness of that stop, all elements together."""
    axial_n_per_um: Positive
    """Stiffness of the joint along the screw."""

    @model_validator(mode="after")
    def _shares_are_whole(self) -> JointKeys:
        shares = [element.load_share for element in self.element if element.load_share is not None]
        if shares and (len(shares) < len(self.element) or abs(sum(shares) - 1) > 1e-6):
            raise ValueError("load_share must be given for every element and add up to 1, or for none")
        return self

    @model_validator(mode="after")
    def _is_as_its_kind_asks(self) -> JointKeys:
        return as_its_kind_asks("joint", self)


class MountKeys(Section):
    """What holds the bed on a carriage."""

    kind: Annotated[str, KnownKind("mount")] = "groove"
    """What it is."""
    height_mm: Height = -15.0
    """Height of the mount above the bed surface (negative: below)."""
    offset_x_mm: float = 0.0
    """Mount beside the screw axis, X."""
    offset_y_mm: float = 0.0
    """Mount beside the screw axis, Y."""
    direction_deg: Angle | None = None
    """Direction of the groove; default: towards the centroid of the mounts."""
    radial_n_per_um: NonNegative
    """Stiffness along the groove."""
    tangential_n_per_um: Positive
    """Stiffness across the groove."""
    vertical_n_per_um: Positive
    """Vertical stiffness."""
    rotation_nm_per_rad: NonNegative
    """Flexure: stiffness against rotation, the same about all axes."""
    friction_coefficient: NonNegative
    """Friction along the groove over the vertical load."""
    breakaway_um: Positive = 5.0
    """Travel over which that friction builds up."""
    magnet_force_n: NonNegative = 0.0
    """Pull of a magnet or spring that keeps the mount seated."""

    @model_validator(mode="after")
    def _is_as_its_kind_asks(self) -> MountKeys:
        return as_its_kind_asks("mount", self)


class GuideKeys(Section):
    """The linear guide of a corner's carriage."""

    kind: Annotated[str, KnownKind("guide")]
    """What it is."""
    height_mm: Height = -40.0
    """Height of the guide's middle above the bed surface (negative: below)."""
    offset_x_mm: float = 0.0
    """Guide beside the screw axis, X."""
    offset_y_mm: float = 0.0
    """Guide beside the screw axis, Y."""
    radial_n_per_um: Positive
    """Stiffness towards the middle of the machine."""
    tangential_n_per_um: Positive
    """Stiffness across that direction."""
    tilt_nm_per_rad: Positive
    """Stiffness against tilting about both horizontal axes."""
    yaw_nm_per_rad: Positive
    """Stiffness against rotation about the vertical."""
    friction_n: NonNegative
    """Friction along the guide (rolling, seals, preload)."""
    breakaway_um: Positive
    """Travel over which that friction builds up."""
    straightness_mm_per_m: float = 0.0
    """Bow of the guide: deviation at mid-length over length."""
    straightness_deg: Angle = 0.0
    """Direction of that bow."""
    table: str | None = None
    """CSV of guide straightness, beside the scenario: columns position_mm, offset_x_um, offset_y_um."""

    @model_validator(mode="after")
    def _is_as_its_kind_asks(self) -> GuideKeys:
        return as_its_kind_asks("guide", self)


class Frame(Section):
    """The frame behind a corner's guide and thrust bearing."""

    section: Literal["20x20", "30x30", "40x40", "steel_40x20x2", "steel_60x40x2"] | None = None
    """Section of the post behind the guide (aluminium extrusion, steel tube): sets the sideways defaults."""
    free_length_mm: Positive | None = None
    """Free length of that post; default: 500 to 800."""
    post: Literal["held_both_ends", "free_standing"] = "held_both_ends"
    """Whether that post is held at both ends or stands free."""
    radial_n_per_um: Positive
    """Stiffness towards the middle of the machine."""
    tangential_n_per_um: Positive
    """Stiffness across that direction."""
    vertical_n_per_um: Positive
    """Vertical stiffness under the thrust bearing."""
    rotation_nm_per_rad: Positive
    """Stiffness against rotation of the guide, the same about all axes."""


class Carriage(Section):
    """The carriage of a corner."""

    mass_kg: Positive = 0.4
    """Mass of the carriage."""
    inertia_kg_cm2: Positive = 4.0
    """Moment of inertia about its centre, the same about all axes."""
    height_mm: Height = -35.0
    """Height of its centre of mass above the bed surface (negative: below)."""
