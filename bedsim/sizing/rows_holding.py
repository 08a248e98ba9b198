"""Rows about the drive without current and about corners that do not move alike."""

from __future__ import annotations

import math

import numpy as np

from bedsim.number_text import number
from bedsim.sizing import buckling, holding, loads, statics, unit
from bedsim.sizing.numbers import CornerNumbers, MachineNumbers
from bedsim.sizing.rows import AtCorner, Row, RowValue, Subject
from bedsim.units import DEG, GRAVITY, MM, N_MM

AT_REST, SHAKEN = "hold_at_rest", "hold_shaken"


def resting_torque(corner: CornerNumbers) -> float:
    """Return the torque [N m] at the screw that holds a rotor at rest in its valley without current: brake +
    lowest detent."""
    return corner.motor.brake_torque + corner.motor.detent_low * corner.motor.gear_ratio


def missing_words(corner: CornerNumbers, friction: float, held: float) -> str:
    """Say which brake torque or counterweight is lacking at one corner beside what is `held` [N m] at its
    screw; empty when none is."""
    screw = corner.screw
    lacking = holding.torque_missing(loads.torque_to_hold(corner, screw, friction), held)
    if lacking <= 0:
        return ""
    brake = f"a brake of {rounded_up(lacking / N_MM)} N mm more at each screw"
    back, left = loads.efficiency_back(screw, friction), held - corner.side_torque
    if back <= 0 or left < 0:  # the side force alone turns the screw
        return brake
    lift = holding.counterweight_missing(max(corner.hanging), holding.load_held(left, screw.shaft.lead, back))
    return (
        f"{brake}, or {rounded_up(lift)} N ({rounded_up(lift / GRAVITY)} kg) more of counterweight at each "
        "corner"
    )


def rounded_up(value: float) -> str:
    """Write a positive need with two digits, never less than it is."""
    step = 10.0 ** (math.floor(math.log10(value)) - 1)
    return f"{number(math.ceil(value / step - 1e-9) * step, 2)}"


def _shaken_friction(at: AtCorner) -> float:
    """Friction that is counted on while something shakes."""
    return at.corner.screw.friction[0] * at.duty.vibration_friction


def _held(corner: CornerNumbers, friction: float, held: float, note: str) -> RowValue:
    return RowValue(
        loads.torque_to_hold(corner, corner.screw, friction),
        held,
        note=f"load {number(max(corner.hanging))} N, friction {friction:g}; {note}",
        missing=missing_words(corner, friction, held),
    )


def _at_rest(at: AtCorner) -> RowValue:
    """Detent is a potential: it holds a rotor that rests in one of its valleys, and gives back on the way
    down what it took on the way up."""
    return _held(
        at.corner,
        at.corner.screw.friction[0],
        resting_torque(at.corner),
        "detent holds only a rotor that rests in its valley: bedsim size --power-loss follows the others",
    )


def _shaken(at: AtCorner) -> RowValue:
    """A shaken rotor passes the hills: only a brake counts then."""
    brake = at.corner.motor.brake_torque
    return _held(at.corner, _shaken_friction(at), brake, "a shaken rotor passes its detent")


def _sinking(at: AtCorner) -> RowValue:
    corner, screw = at.corner, at.corner.screw
    return RowValue(
        holding.fall_acceleration(
            load=max(corner.hanging),
            mass=corner.moved_mass,
            lead=screw.shaft.lead,
            efficiency_back=loads.efficiency_back(screw, _shaken_friction(at)),
            holding_torque=corner.motor.brake_torque - corner.side_torque,
            inertia=loads.inertia_at_screw(corner),
        )
    )


MOTORS_OFF = Subject(
    title="Motors off",
    rows=(
        Row(
            key=AT_REST,
            name="torque to hold at the lowest friction",
            unit=unit.N_MM,
            tell=_at_rest,
            stays="below",
            formula="F l eta2/(2 pi) + T_side against brake + detent, no help from guide and nut drag",
            source="THK torque; Shigley section 8-2",
        ),
        Row(
            key=SHAKEN,
            name="torque to hold when shaken",
            unit=unit.N_MM,
            tell=_shaken,
            stays="below",
            formula="F l eta2/(2 pi) + T_side against brake, no help from guide and nut drag",
            source="THK torque; Shigley section 8-2",
        ),
        Row(
            key="fall_acceleration",
            name="acceleration at which a shaken bed begins to sink",
            unit=unit.M_S2,
            tell=_sinking,
            formula="(F l eta2/(2 pi) + T_side - brake)/(2 pi J/l + m l eta2/(2 pi))",
            source="Newton's second law",
            note="0: held by these numbers. bedsim size --power-loss gives the course of a fall",
        ),
    ),
)


def _steepness(at: AtCorner) -> float:
    """Tilt [rad/m] of the plate for a height that its corner alone goes up or down."""
    places = [(c.mount_x, c.mount_y) for c in at.machine.corners]
    return float(statics.tilt_per_height(places)[at.index])


def _tilt_allowed(corner: CornerNumbers, machine: MachineNumbers) -> float:
    """Tilt [rad] that uses up one corner's groove; unknown (nan) if its length is not given."""
    if not corner.grooved or corner.mount_travel is None:
        return math.nan
    centre = np.mean([(c.mount_x, c.mount_y) for c in machine.corners], axis=0)
    radius = math.hypot(corner.mount_x - centre[0], corner.mount_y - centre[1])
    # the mount lifted alone turns about the line of the other two, 1.5 R away on three radial grooves
    return holding.tilt_at_foreshortening(corner.mount_travel, 1.5 * radius)


def _others_drop(at: AtCorner) -> RowValue:
    others = (c.room_below for k, c in enumerate(at.machine.corners) if k != at.index)
    return _height(at, max(others), "first")


def _drops_alone(at: AtCorner) -> RowValue:
    return _height(at, at.corner.room_below, "first")


def _others_rise(at: AtCorner) -> RowValue:
    others = (c for k, c in enumerate(at.machine.corners) if k != at.index)
    return _height(
        at, max(c.screw.shaft.length - c.screw.shaft.root_diameter - c.nut_low for c in others), "last"
    )


def _height(at: AtCorner, possible: float, layer: str) -> RowValue:
    """A height [m] by which a corner can stand apart from the others, and what the mounts' grooves take of
    it."""
    per_height = _steepness(at)
    tilt = min(_tilt_allowed(c, at.machine) for c in at.machine.corners)
    # the supports keep their distances in the plate, so a height is a sine; beyond the plate's own width
    # something gives before
    steep = per_height * possible
    note = f"from the {layer} layer to the end of a screw: " + (
        f"tilt {number(math.asin(steep) / DEG)}° if nothing stops it"
        if steep < 1
        else "more than the plate is wide"
    )
    if math.isnan(tilt):
        return RowValue(possible, note=note, missing="sizing.mount_travel_mm" if _groove(at) else "")
    limit = math.sin(tilt) / per_height
    return RowValue(
        possible,
        limit,
        note=note + "; the limit is where the first mount runs out of its groove",
        missing="an end stop, sensor or monitor that catches the difference earlier"
        if possible > limit
        else "",
    )


def _groove(at: AtCorner) -> bool:
    return at.corner.grooved


def _no_groove(at: AtCorner) -> bool:
    return not _groove(at)


def _blocked(at: AtCorner) -> RowValue:
    screw, motor = at.corner.screw, at.corner.motor
    at_screw = motor.holding_torque * motor.gear_ratio * motor.gear_efficiency
    push = holding.thrust_of_motor(
        at_screw, screw.shaft.lead, loads.efficiency_raising(screw, screw.friction[0])
    )
    critical, _ = buckling.critical_load(screw.shaft, at.corner.nut_low, at.corner.nut_high)
    return RowValue(push, buckling.CATALOGUE_FACTOR * critical)


UNEQUAL = Subject(
    title="Unequal corners",
    rows=(
        *(
            Row(
                key=key,
                name=name,
                unit=unit.MM,
                tell=tell,
                stays="below",
                formula="sin(acos(1 - travel/R)) x distance to the line of the others",
                source="geometry of a rigid plate that carries its supports",
            )
            for key, name, tell in (
                ("others_drop", "one corner holds while the others drop", _others_drop),
                ("drops_alone", "one coupling slips and its corner drops alone", _drops_alone),
                ("others_rise", "one driver stops while the others lift", _others_rise),
            )
        ),
        Row(
            key="tilt_side_force",
            name="side force at a mount for 1 mm of difference",
            unit=unit.NEWTON,
            tell=lambda at: RowValue(max(at.corner.bed_load) * math.tan(_steepness(at) * MM)),
            where=_groove,
            formula="F tan(tilt)",
            source="statics of a tilted seat",
        ),
        Row(
            key="racking_moment",
            name="racking moment at a carriage for 1 mm of difference",
            unit=unit.NEWTON_METRE,
            tell=lambda at: RowValue(at.corner.guide_tilt * (_steepness(at) * MM)),
            where=_no_groove,
            formula="k_guide tilt",
            source="Hooke's law; stiff plate, the other parts rigid",
        ),
        Row(
            key="blocked_push",
            name="push of a motor against a blocked corner",
            unit=unit.NEWTON,
            tell=_blocked,
            stays="below",
            formula="2 pi T eta1/l",
            source="energy of one turn; limit as for buckling",
            note="at a crawl, full current, lowest friction: what bed, mounts and fingers would have to take",
        ),
    ),
)
