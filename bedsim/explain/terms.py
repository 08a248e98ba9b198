"""Words of the trade that are no key and no row: one sentence each, and where more is told."""

from __future__ import annotations

from collections.abc import Iterator

from bedsim.explain.entry import Entry, Fact
from bedsim.explain.sketches import SKETCHES

TERMS: tuple[tuple[str, str, tuple[str, ...], str], ...] = (
    (
        "TIR",
        "Total indicator reading: the span of a dial gauge's needle over one turn, twice the offset of "
        "a round screw's axis.",
        ("screw.run_out",),
        "screw.run_out",
    ),
    (
        "run-out",
        "How far the screw's centreline strays from the axis it turns about: eccentricity, tilt and "
        "bow, or a measured table.",
        ("screw.run_out", "recipe run-out"),
        "screw.run_out",
    ),
    (
        "bow",
        "A screw bent like a banana: its crest is in the middle where both ends are held.",
        ("screw.run_out.bow_tir_um",),
        "screw.run_out",
    ),
    (
        "lead",
        "Travel of the nut per turn of the screw; pitch times starts. Bent screws repeat at it.",
        ("screw.lead_mm",),
        "bands",
    ),
    (
        "tug of war",
        "Sideways: the bent screw pushes the nut, guide and frame hold against it; the softer "
        "side gives way.",
        ("guide.radial_n_per_um", "frame.radial_n_per_um", "joint.kind"),
        "tug of war",
    ),
    (
        "bands",
        "Stripes on a wall that repeat with height; at the lead they come from the screws.",
        ("lateral_band", "recipe bands"),
        "bands",
    ),
    (
        "row",
        "How every spring, contact and imperfection enters: extension = J q - imposed, force on q = "
        "-J^T (k extension + c rate + bristle).",
        ("lateral_pv",),
        "row",
    ),
    (
        "peak to valley",
        "Largest minus smallest value over the layers of a print.",
        ("lateral_pv", "height_pv"),
        "bands",
    ),
    ("amplitude", "Half of crest to valley of the wave at one length.", ("lateral_band",), "bands"),
    (
        "load angle",
        "How far the rotor lags behind the field, electrical: at 90 degrees a stepper has its "
        "largest torque, beyond it steps are lost.",
        ("load_angle", "motor.holding_torque_n_m"),
        "motor",
    ),
    (
        "place error",
        "Where a stepper under current rests away from its commanded place; it repeats every "
        "four full steps.",
        ("motor.place_error_1_deg",),
        "motor",
    ),
    (
        "detent",
        "Torque that holds an unpowered stepper; it holds no heavy bed.",
        ("motor.detent_torque_n_m",),
        "motor",
    ),
    (
        "preload",
        "Force that presses a nut's balls or a joint's parts together so that there is no play.",
        ("nut.drag_torque_n_mm", "joint.magnet_force_n"),
        "joint",
    ),
    (
        "play",
        "Free way of a nut on its screw before it touches the other flank.",
        ("nut.clearance_um",),
        "nut",
    ),
    (
        "joint",
        "What connects nut and carriage: bolted, or free to float sideways on balls, a film or posts.",
        ("joint.kind",),
        "joint",
    ),
    (
        "breakaway",
        "Way over which dry friction builds up to its full force.",
        ("joint.breakaway_um",),
        "joint",
    ),
    (
        "clocking",
        "How a screw is turned in its coupling: turns one screw's push against another's.",
        ("screw.clocking_deg",),
        "screw",
    ),
    ("probe", "A point of the bed at which errors are told.", ("probe.x_mm",), "bed"),
    (
        "lateral error",
        "How far the bed is sideways of where it should be, at the top of the part, against layer 1.",
        ("lateral_error", "lateral_pv"),
        "bands",
    ),
    (
        "height error",
        "How far the bed is off its commanded height, against layer 1; positive: nearer the nozzle.",
        ("height_error", "height_pv"),
        "motion",
    ),
    (
        "self-locking",
        "A screw that its load cannot turn: the friction angle is larger than the lead angle.",
        ("locking_friction", "efficiency_back"),
        "screw",
    ),
    ("buckling", "A slender screw under a load that bends it aside.", ("buckling",), "screw"),
    ("critical speed", "The speed of turning at which a screw whips.", ("critical_speed",), "screw"),
    ("basis", "What a number rests on: measured, datasheet, estimated or default.", ("scenario",), ""),
    (
        "range",
        "Low, likely and high of a number not known exactly; the answer is then a range, too.",
        ("scenario",),
        "",
    ),
    (
        "from memory",
        "Recalled when this was written, not read again: check it before you rest on it.",
        (),
        "",
    ),
    (
        "engine",
        "A way to solve the model: propagator (exact in time), reference (slow and safe), "
        "equilibrium (at rest).",
        ("tail_bound", "settle_time"),
        "motion",
    ),
)
"""Name, sentence, what to see, sketch."""


def term_entries() -> Iterator[Entry]:
    """Every word."""
    for name, what, see, sketch in TERMS:
        drawn = (Fact(label="sketch", text=SKETCHES[sketch], shape="verbatim"),) if sketch else ()
        yield Entry(name=name, sort="term", what=what, facts=drawn, see=see)
