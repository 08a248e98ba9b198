"""Keys of what turns at a corner: screw with its imperfections, coupling, nut, motor."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from bedsim.scenario.kinds_of_parts import KnownKind
from bedsim.scenario.section import Angle, Height, NonNegative, Positive, Section


class RunOutKeys(Section):
    """The bent screw: centreline against axis of rotation, unloaded. TIR is twice the offset."""

    eccentricity_tir_um: NonNegative = 0.0
    """Offset of the thread from the axis, as total indicator reading (twice the offset)."""
    eccentricity_deg: Angle = 0.0
    """Direction of the offset, counter-clockwise from +X seen from above, at the clocking zero."""
    tilt_tir_um_per_100mm: NonNegative = 0.0
    """Growth of the total indicator reading along the screw from a tilted coupling or journal."""
    tilt_deg: Angle = 0.0
    """Direction of that tilt."""
    bow_tir_um: NonNegative = 0.0
    """Bow, as total indicator reading at its crest (mid-length; the upper end where it is free)."""
    bow_deg: Angle = 0.0
    """Direction of the bow."""
    bow_measured: Literal["free", "mounted"] = "free"
    """Bow read on the free screw (V-blocks, centres; clamped ends draw it straighter) or in the machine."""
    table: str | None = None
    """CSV of measured offsets, beside the scenario: columns position_mm, offset_x_um, offset_y_um."""
    table_measured: Literal["mounted", "free"] = "mounted"
    """Table read in the machine, or on the free screw over its whole length (clamped ends bend it anew)."""


class TravelKeys(Section):
    """Deviation of the nut's travel from lead times turns."""

    slope_um_per_300mm: float = 0.0
    """Error of the mean travel over 300 mm."""
    variation_pv_um: NonNegative = 0.0
    """Peak-to-valley of the slow variation along the travel."""
    variation_wavelength_mm: Positive = 120.0
    """Wavelength of that variation."""
    variation_deg: Angle = 0.0
    """Phase of that variation at the lower end."""
    once_per_turn_pv_um: NonNegative = 0.0
    """Peak-to-valley of the travel error that repeats every turn; it acts on height, not sideways."""
    once_per_turn_deg: Angle = 0.0
    """Phase of the once-per-turn error at the clocking zero."""
    table: str | None = None
    """CSV of measured travel deviation, beside the scenario: columns position_mm, deviation_um."""
    warm_up_k: float = 0.0
    """How much the screw warms up during the print."""
    warm_up_time_constant_min: Positive = 30.0
    """Time constant of the warm-up."""


class Alignment(Section):
    """The screw's axis against its guide: does not turn with the screw."""

    offset_x_um: float = 0.0
    """Axis off the nut's free position at the lower end, X."""
    offset_y_um: float = 0.0
    """Axis off the nut's free position at the lower end, Y."""
    slope_x_um_per_100mm: float = 0.0
    """Axis out of parallel with the guide, X."""
    slope_y_um_per_100mm: float = 0.0
    """Axis out of parallel with the guide, Y."""


class ScrewKeys(Section):
    """One screw with its bearings and coupling."""

    kind: Annotated[str, KnownKind("screw")]
    """What it is."""
    diameter_mm: Positive
    """Nominal diameter."""
    root_diameter_mm: Positive
    """Root diameter: the one that bends, stretches and twists."""
    lead_mm: Positive
    """Travel per turn (starts times pitch)."""
    starts: Annotated[int, Field(ge=1, le=12)] = 1
    """Number of thread starts."""
    hand: Literal["right", "left"] = "right"
    """Hand of the thread."""
    length_mm: Positive
    """Free length: between the bearings, or from the fixed end to the free end; on a motor, from the
    middle of the coupling."""
    ends: Literal[
        "fixed-free",
        "supported-supported",
        "fixed-supported",
        "fixed-fixed",
        "motor-free",
        "motor-supported",
    ] = "fixed-free"
    """How the ends are held, lower end first. Thrust is taken at the lower end (fixed-fixed: at both). On a
    motor: by its own bearings through the coupling alone."""
    bearing_radial_n_per_um: Positive
    """Radial stiffness of the lower bearing."""
    upper_bearing_radial_n_per_um: Positive
    """Radial stiffness of the upper bearing; not used when the upper end is free."""
    bearing_arrangement: Literal["back_to_back", "face_to_face", "single", "not_known"] = "not_known"
    """How the bearings of a fixed end stand: it sets the default of bearing_tilt_nm_per_rad."""
    bearing_tilt_nm_per_rad: Positive
    """Stiffness of a fixed end against tilting."""
    bearing_axial_n_per_um: Positive
    """Axial stiffness of the thrust bearing."""
    coupling_nm_per_rad: Positive
    """Torsional stiffness of the coupling."""
    axial_play_um: NonNegative = 0.0
    """Axial play where the screw hangs on the motor. Weight closes it; a run says when it would open, `bedsim
    size` how far the bed jumps then."""
    youngs_modulus_gpa: Positive = 206.0
    """Young's modulus of the screw."""
    shear_modulus_gpa: Positive = 79.4
    """Shear modulus of the screw."""
    density_kg_m3: Positive = 7850.0
    """Density of the screw."""
    expansion_um_per_m_k: NonNegative = 11.8
    """Thermal expansion of the screw."""
    clocking_deg: Angle = 0.0
    """Screw turned in its coupling, counter-clockwise seen from above, against the clocking zero."""
    run_out: RunOutKeys = RunOutKeys()
    """The bent centreline."""
    travel: TravelKeys = TravelKeys()
    """The imperfect lead."""
    alignment: Alignment = Alignment()
    """The screw's axis against the guide."""

    @property
    def on_motor(self) -> bool:
        """Whether its motor alone holds its lower end."""
        return self.ends.startswith("motor-")

    @model_validator(mode="after")
    def _root_is_inside(self) -> ScrewKeys:
        if self.root_diameter_mm > self.diameter_mm:
            raise ValueError(f"root_diameter_mm must not exceed diameter_mm = {self.diameter_mm:g}")
        if self.length_mm <= 4 * self.root_diameter_mm:
            raise ValueError("length_mm must be more than four root diameters")
        return self


class Coupling(Section):
    """The coupling between motor and screw. On a screw with a bearing of its own it turns it, no more."""

    kind: Annotated[str, KnownKind("coupling")] = "not_known"
    """What it is."""
    radial_n_per_um: Positive
    """Stiffness of its one side against the other, sideways."""
    tilt_nm_per_rad: Positive
    """The same against tilting."""
    axial_n_per_um: Positive
    """The same along the screw. Where the ends of both shafts meet inside it is far higher: give it then."""
    eccentricity_tir_um: NonNegative
    """Offset of its bores to each other, as total indicator reading; turns with the motor."""
    eccentricity_deg: Angle = 0.0
    """Direction of that offset at the clocking zero; alike at all screws is the worst."""
    angle_tir_um_per_100mm: NonNegative
    """Angle of its bores to each other: growth of the total indicator reading along a free screw."""
    angle_deg: Angle = 0.0
    """Direction of that angle."""


class NutKeys(Section):
    """The nut on its screw."""

    radial_n_per_um: Positive
    """Radial stiffness of the thread contact."""
    axial_n_per_um: Positive
    """Axial stiffness of the thread contact."""
    active_length_mm: Positive | None = None
    """Ball nut: length over which its balls carry, for the default of its tilt; left out: four turns."""
    tilt_nm_per_rad: Positive
    """Stiffness of the nut against tilting on the screw."""
    drag_torque_n_mm: NonNegative
    """Torque that holds the nut back on the turning screw without load (balls, seals, preload)."""
    drag_breakaway_deg: Positive = 1.0
    """Turn over which the drag builds up after a reversal."""
    thread_height_mm: Height = -35.0
    """Height of the middle of the nut's thread above the bed surface (negative: below)."""
    mass_kg: Positive = 0.1
    """Mass of the nut and what moves sideways with it."""
    inertia_kg_cm2: Positive = 0.3
    """Inertia of the nut about the screw."""
    bore_offset_x_um: float = 0.0
    """Nut bore off its place in the carriage, X."""
    bore_offset_y_um: float = 0.0
    """Nut bore off its place in the carriage, Y."""
    clearance_um: NonNegative = 0.0
    """Plain nut: radial clearance, centre to stop on one side."""
    friction_coefficient: NonNegative
    """Plain nut: sliding friction; ball nut: rolling friction of the balls."""
    flank_angle_deg: Annotated[float, Field(ge=0, lt=60)] = 15.0
    """Plain nut: half angle of the thread profile (ISO 2904: 15 degrees)."""


class MotorKeys(Section):
    """A stepper motor with its driver."""

    holding_torque_n_m: Positive
    """Holding torque at rated current."""
    current_percent: Annotated[float, Field(gt=0, le=100)] = 70.0
    """Current set in the driver over rated current; torque is taken proportional."""
    detent_torque_n_m: NonNegative
    """Detent torque without current, a data sheet's: what holds when power fails."""
    detent_deg: Angle = 0.0
    """Phase of that detent torque at the clocking zero (electrical)."""
    place_error_1_deg: NonNegative
    """Amplitude of the place error once in four full steps of the motor, in degrees of its turn."""
    place_error_1_phase_deg: Angle = 0.0
    """Its phase at the clocking zero (electrical); 0 is the worst where layers alternate."""
    place_error_2_deg: NonNegative
    """Amplitude of the place error twice in four full steps."""
    place_error_2_phase_deg: Angle = 0.0
    """Its phase at the clocking zero (electrical, times 2); 0 is the worst where layers alternate."""
    place_error_3_deg: NonNegative
    """Amplitude of the place error three times in four full steps."""
    place_error_3_phase_deg: Angle = 0.0
    """Its phase at the clocking zero (electrical, times 3); 0 is the worst where layers alternate."""
    place_error_4_deg: NonNegative
    """Amplitude of the place error once in a full step: what is left of detent under current."""
    place_error_4_phase_deg: Angle = 0.0
    """Its phase at the clocking zero (electrical, times 4); 0 is the worst where layers alternate."""
    steps_per_turn: Annotated[int, Field(ge=4, le=1000)] = 200
    """Full steps per turn; 200 means 50 rotor teeth."""
    microsteps: Annotated[int, Field(ge=1, le=1024)] = 16
    """Microsteps per full step that the driver really resolves."""
    rotor_inertia_g_cm2: Positive
    """Inertia of the rotor."""
    gear_ratio: Positive = 1.0
    """Motor turns per screw turn."""
    bearing_radial_n_per_um: Positive
    """Radial stiffness of one of its two bearings; with a gearbox these keys are the gearbox's."""
    bearing_axial_n_per_um: Positive
    """Axial stiffness of its bearings under the weight, play closed."""
    bearing_span_mm: Positive
    """Distance of its bearings."""
    shaft_diameter_mm: Positive
    """Diameter of its shaft."""
    shaft_overhang_mm: Positive
    """From its upper bearing to the middle of the coupling."""
    axial_force_limit_n: Positive
    """Largest axial force on its shaft, a data sheet's."""
