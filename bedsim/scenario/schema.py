"""Every key of a scenario: unit (in the name), range, default, meaning.

The classes hold plain numbers in workshop units, exactly as named by the key; nothing is converted here and
no physics is known here.  What is not known exactly is given in the file as `{low, likely, high, basis}`: the
loader keeps the range beside the scenario and puts the likely value in (see `bedsim.scenario.load`).
Defaults that depend on the kind of a part (a profile rail against wheels) stand in
`bedsim.scenario.defaults`, with source.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, SerializeAsAny, model_validator

from bedsim.scenario.event_keys import Disturbance, PowerLoss, Tilt
from bedsim.scenario.kinds_of_parts import KeysOfKind, KnownKind, as_its_kind_asks
from bedsim.scenario.section import Angle, Height, Name, NonNegative, Positive, Section
from bedsim.scenario.sizing_keys import Prices, Sizing
from bedsim.scenario.upkeep_keys import Upkeep


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


class Print(Section):
    """What is printed."""

    layers: Annotated[int, Field(ge=1, le=20000)]
    """Number of layers."""
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
    """Mass of the part after the last layer; it grows evenly from nothing."""
    part_x_mm: float = 0.0
    """X of the part's centre."""
    part_y_mm: float = 0.0
    """Y of the part's centre."""


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

    kind: Literal["ground_ball", "rolled_ball", "plain"]
    """Ground or rolled ball screw, or a plain (trapezoidal) lead screw."""
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

    kind: Literal["rigid", "jaw", "helical", "disc", "not_known"] = "not_known"
    """Rigid sleeve, jaw with elastic spider, helical (slit) beam, or two packs of discs: sets the defaults
    here and of screw.coupling_nm_per_rad."""
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


class Corner(Section):
    """One screw's corner of the machine with all its parts."""

    name: Name
    """Name used in results and workshop advice."""
    x_mm: float
    """X of the screw axis."""
    y_mm: float
    """Y of the screw axis."""
    screw: ScrewKeys
    """The screw."""
    nut: NutKeys
    """The nut."""
    joint: Annotated[JointKeys, KeysOfKind("joint"), SerializeAsAny()]
    """Nut to carriage."""
    mount: Annotated[MountKeys, KeysOfKind("mount"), SerializeAsAny()]
    """Carriage to bed."""
    guide: GuideKeys
    """The guide."""
    frame: Frame
    """The frame behind it."""
    carriage: Carriage
    """The carriage."""
    motor: MotorKeys
    """The motor; with a belt the first corner's motor drives all."""
    coupling: Coupling
    """Motor to screw."""


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


class Output(Section):
    """What is kept beside the layers."""

    trace_layers: tuple[Annotated[int, Field(ge=2)], ...] = (2,)
    """Layers whose time history is stored and drawn (layer 2 is the first layer change)."""


class Scenario(Section):
    """A machine and a print, complete: every default filled in, every corner with all its parts."""

    title: Annotated[str, Field(min_length=1, max_length=200)]
    """What this scenario shows."""
    bed: BedKeys
    """The bed."""
    print: Print
    """The print."""
    motion: MotionKeys = MotionKeys()
    """The layer change."""
    damping: Damping = Damping()
    """Damping."""
    drive: Drive = Drive()
    """The drive."""
    corner: Annotated[tuple[Corner, ...], Field(min_length=3, max_length=64)]
    """The corners, at least three."""
    probe: tuple[Probe, ...] = ()
    """Points of interest; default: the centre and the four corners of the bed."""
    target: TargetKeys = TargetKeys()
    """What the print must meet."""
    output: Output = Output()
    """What is kept."""
    sizing: Sizing | None = None
    """What `bedsim size` needs beside the machine; `run` reads `joint_part` and `joint_warming_k` of it."""
    prices: Prices | None = None
    """What parts cost, for decisions between them."""
    power_loss: PowerLoss | None = None
    """What `bedsim size --power-loss` needs."""
    tilt: Tilt | None = None
    """A plane for `bedsim size --tilt`."""
    disturbance: Disturbance | None = None
    """What shakes the frame, for `bedsim size --shake`."""
    upkeep: Upkeep | None = None
    """How the machine is used and looked after, for `bedsim size --upkeep`."""
