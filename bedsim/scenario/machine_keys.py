"""Keys of what there is once: bed, print, layer change, damping, drive, and what is asked of them."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, PrivateAttr

from bedsim.program.laid import Laid
from bedsim.scenario.section import Height, Name, NonNegative, Positive, Section


class BedKeys(Section):
    """The heated bed with all that is fixed to it. Its surface at the XY origin is the reference point."""

    size_x_mm: Annotated[float, Field(ge=10)]
    """Width of the plate, X to the right."""
    size_y_mm: Annotated[float, Field(ge=10)]
    """Depth of the plate, Y to the back."""
    mass_kg: Positive
    """Mass of plate, heater, insulation and build surface together."""
    thickness_mm: Positive = 6.0
    """Thickness of the stiff plate: its twist is a motion of beds on four or more screws."""
    shear_modulus_gpa: Positive = 25.9
    """Shear modulus of the plate."""
    inertia_x_kg_m2: Positive | None = None
    """Moment of inertia about X through the centre of mass; default: a uniform plate."""
    inertia_y_kg_m2: Positive | None = None
    """Moment of inertia about Y through the centre of mass; default: a uniform plate."""
    inertia_z_kg_m2: Positive | None = None
    """Moment of inertia about Z through the centre of mass; default: a uniform plate."""
    centre_x_mm: float = 0.0
    """X of the centre of mass."""
    centre_y_mm: float = 0.0
    """Y of the centre of mass."""
    centre_height_mm: Height = -8.0
    """Height of the centre of mass above the bed surface (negative: below)."""
    temperature_rise_k: NonNegative = 60.0
    """How much warmer the bed is than when the machine was squared up."""
    expansion_um_per_m_k: NonNegative = 23.6
    """Thermal expansion of the bed."""


class PrintSection(Section):
    """Layers that differ: sections follow each other from layer 1 on, layers after the last are as in
    [print]."""

    layers: Annotated[int, Field(ge=1, le=20000)]
    """Number of layers."""
    layer_mm: Positive | None = None
    """Thickness of each; default: print.layer_mm."""
    seconds_per_layer: Positive | None = None
    """Time from one layer change to the next; default: print.seconds_per_layer."""
    settle_s: NonNegative | None = None
    """Pause between the end of the motion and the start of printing; default: print.settle_s."""
    z_hop_mm: NonNegative | None = None
    """Hop at a layer change; default: motion.z_hop_mm."""
    hop_dwell_s: NonNegative | None = None
    """Pause at the bottom of a hop; default: motion.hop_dwell_s."""
    hop_every: Annotated[int, Field(ge=1, le=20000)] = 1
    """Only one in so many layers of the section hops: the last of them."""
    new_object: bool = False
    """The section begins another object at the bottom, after what was printed before is done."""
    part_mass_kg: NonNegative | None = None
    """Mass of the object that begins here, when it is done; default: its share of print.part_mass_kg, by
    height."""
    part_x_mm: float | None = None
    """X of the centre of the object that begins here; default: print.part_x_mm."""
    part_y_mm: float | None = None
    """Y of the centre of the object that begins here; default: print.part_y_mm."""


class Print(Section):
    """What is printed."""

    program: Annotated[str, Field(min_length=1, max_length=200)] | None = None
    """The part's own motion program (ISO 6983, DIN 66025, RS-274), a file in the scenario's folder or below:
    layers, heights, times, hops, mass and walls are then its own."""
    program_x_mm: float | None = None
    """X on the bed of the program's X0 Y0; default: the bed's front left corner."""
    program_y_mm: float | None = None
    """Y on the bed of the program's X0 Y0; default: the bed's front left corner."""
    program_e: Literal["length", "volume"] = "length"
    """What the word E counts: mm of filament, or mm3 of material."""
    filament_diameter_mm: Positive = 1.75
    """Diameter of the filament that E counts by length."""
    density_g_cm3: Annotated[float, Field(gt=0, le=20)] = 1.24
    """Density of the material that the program lays; 1.24 is polylactide (from memory), others 1.0 to 1.3."""
    plane_acceleration_mm_s2: Positive = 1500.0
    """Acceleration in X and Y, for the times of the program's moves (common practice, no source)."""
    plane_corner_mm_s: Positive = 8.0
    """Jump of speed at a corner in X and Y, for the same (common practice, no source)."""
    program_z_least_mm: float = 0.0
    """Lowest Z to which the program may move; one that goes below is refused, with its line."""
    program_z_most_mm: Positive | None = None
    """Highest Z to which the program may move, likewise; default: its layers and hops must fit the screws."""
    layers: Annotated[int, Field(ge=1, le=20000)]
    """Number of layers; with a program: of its first ones alone, default all."""
    layer_mm: Positive
    """Thickness of a layer as commanded."""
    first_layer_nut_mm: Positive | None = None
    """Nut above the lower end of the screw's free length at layer 1; default: 60 mm below the upper end."""
    line_width_mm: Positive = 0.45
    """Width of an extruded line."""
    seconds_per_layer: Positive = 20.0
    """Time from one layer change to the next."""
    settle_s: NonNegative = 0.3
    """Pause between the end of the motion and the start of printing."""
    part_mass_kg: NonNegative = 0.3
    """Mass of the part after the last layer; it grows evenly from nothing. Of objects one after the other: of
    those together that have no mass of their own."""
    part_x_mm: float = 0.0
    """X of the part's centre."""
    part_y_mm: float = 0.0
    """Y of the part's centre."""
    section: tuple[PrintSection, ...] = ()
    """Layers that differ from the others, from the first layer on."""
    _laid: Laid | None = PrivateAttr(default=None)

    @property
    def laid(self) -> Laid | None:
        """What the program lays, as the loader read it; None without one."""
        return self._laid

    def lay(self, laid: Laid) -> None:
        """Keep what the program lays; the loader alone says so, once."""
        self._laid = laid


class MotionKeys(Section):
    """How a layer change is driven."""

    speed_mm_s: Positive = 3.0
    """Largest vertical speed."""
    acceleration_mm_s2: Positive = 100.0
    """Largest vertical acceleration."""
    jerk_mm_s3: NonNegative = 0.0
    """Largest jerk; 0 gives a trapezoid of speed."""
    z_hop_mm: NonNegative = 0.0
    """The bed is lowered by so much beyond the new layer and brought back; 0: no hop."""
    hop_dwell_s: NonNegative = 0.1
    """Pause at the bottom of a hop."""
    plane_step_um: NonNegative = 5.0
    """Step of X and Y, in which software takes off what it can; 0: as fine as wanted (common practice)."""


class Damping(Section):
    """Damping that is not friction."""

    ratio: Annotated[float, Field(gt=0, lt=1)] = 0.03
    """Damping ratio of every natural mode; with ratios by part below, of the parts left out."""
    motor_ratio: Annotated[float, Field(gt=0, lt=1)] | None = None
    """That of a motor held by its current, and its belt; 0.02 to 0.1 for a bare rotor (from memory)."""
    screw_ratio: Annotated[float, Field(gt=0, lt=1)] | None = None
    """That of screw, bearings, nut: 0.0014 measured along one axis, ball nuts 0.01 to 0.04 (design table)."""
    guide_ratio: Annotated[float, Field(gt=0, lt=1)] | None = None
    """That of guides and frame: steel alone 0.0001 to 0.0005, bolted joints 0.01 to 0.05 (design table)."""
    joint_ratio: Annotated[float, Field(gt=0, lt=1)] | None = None
    """That of the joints between nuts and carriages (0.005 to 0.05, assumed)."""
    mount_ratio: Annotated[float, Field(gt=0, lt=1)] | None = None
    """That of the bed's mounts (bolted 0.01 to 0.05, design table; loose balls assumed alike)."""
    bed_ratio: Annotated[float, Field(gt=0, lt=1)] | None = None
    """That of the bent bed on more than three screws (0.001 to 0.01, assumed)."""


class Drive(Section):
    """How the motors turn the screws."""

    topology: Literal["motor_per_screw", "belt"] = "motor_per_screw"
    """A motor at every screw, or one motor and a belt to all."""
    belt_n_per_um: Positive = 0.2
    """Stiffness of the belt between motor and each screw, along the belt."""
    pulley_pitch_diameter_mm: Positive = 20.0
    """Pitch diameter of the screws' pulleys."""
    pulley_eccentricity_tir_um: NonNegative = 0.0
    """Run-out (total indicator reading) of each screw's pulley."""
    pulley_inertia_g_cm2: NonNegative = 20.0
    """Inertia of each screw's pulley about its axis (belt drive)."""


class Probe(Section):
    """A point of the bed where the error is reported."""

    name: Name
    """Name used in results."""
    x_mm: float
    """X of the point."""
    y_mm: float
    """Y of the point."""


class TargetKeys(Section):
    """What the print must meet; each is optional."""

    lateral_pv_um: Positive | None = None
    """Largest allowed peak-to-valley lateral error."""
    height_pv_um: Positive | None = None
    """Largest allowed peak-to-valley height error."""


class Learnt(Section):
    """What readings of this machine have taught."""

    file: Annotated[str, Field(min_length=1, max_length=200)]
    """File of `bedsim learn`, beside the scenario: its likeliest numbers count, its machines give ranges."""


class Output(Section):
    """What is kept beside the layers."""

    trace_layers: tuple[Annotated[int, Field(ge=2)], ...] = (2,)
    """Layers whose time history is stored and drawn (layer 2 is the first layer change)."""
