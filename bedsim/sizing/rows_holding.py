"""Rows about the drive without current and about corners that do not move alike."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from bedsim.sizing import buckling, holding, loads, statics
from bedsim.sizing.numbers import CornerNumbers, Duty, MachineNumbers
from bedsim.sizing.table import Check, below, shown
from bedsim.units import DEG, GRAVITY, MM, N_MM

SUBJECT = "Motors off"
UNEQUAL = "Unequal corners"
AT_REST, SHAKEN = "torque to hold at the lowest friction", "torque to hold when shaken"


def holding_rows(corner: CornerNumbers, duty: Duty) -> list[Check]:
    """Rows of holding at the lowest friction and shaken, and how a fall would begin.

    Detent is a potential: it holds a rotor that rests in one of its valleys, and gives back on the way down
    what it took on the way up.  A shaken rotor passes the hills: only a brake counts then.
    """
    low = corner.screw.friction[0]
    shaken = low * duty.vibration_friction
    return [
        _hold_row(
            corner,
            low,
            AT_REST,
            resting_torque(corner),
            "brake + detent",
            "detent holds only a rotor that rests in its valley: bedsim size --power-loss follows the others",
        ),
        _hold_row(
            corner,
            shaken,
            SHAKEN,
            corner.motor.brake_torque,
            "brake",
            "a shaken rotor passes its detent",
        ),
        _fall_row(corner, shaken),
    ]


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
    lift = holding.counterweight_missing(max(corner.hanging), holding.load_held(left, screw.lead, back))
    return (
        f"{brake}, or {rounded_up(lift)} N ({rounded_up(lift / GRAVITY)} kg) more of counterweight at each "
        "corner"
    )


def rounded_up(value: float) -> str:
    """Write a positive need with two digits, never less than it is."""
    step = 10.0 ** (math.floor(math.log10(value)) - 1)
    return f"{math.ceil(value / step - 1e-9) * step:.2g}"


def _hold_row(
    corner: CornerNumbers, friction: float, name: str, held: float, against: str, note: str
) -> Check:
    return below(
        SUBJECT,
        name,
        loads.torque_to_hold(corner, corner.screw, friction) / N_MM,
        held / N_MM,
        "N mm",
        formula=f"F l eta2/(2 pi) + T_side against {against}, no help from guide and nut drag",
        source="THK torque; Shigley section 8-2",
        corner=corner.name,
        note=f"load {max(corner.hanging):.3g} N, friction {friction:g}; {note}",
        missing=missing_words(corner, friction, held),
    )


def _fall_row(corner: CornerNumbers, friction: float) -> Check:
    screw, motor = corner.screw, corner.motor
    a = holding.fall_acceleration(
        load=max(corner.hanging),
        mass=corner.moved_mass,
        lead=screw.lead,
        efficiency_back=loads.efficiency_back(screw, friction),
        holding_torque=motor.brake_torque - corner.side_torque,
        inertia=loads.inertia_at_screw(corner),
    )
    return shown(
        SUBJECT,
        "acceleration at which a shaken bed begins to sink",
        a,
        "m/s²",
        formula="(F l eta2/(2 pi) + T_side - brake)/(2 pi J/l + m l eta2/(2 pi))",
        source="Newton's second law",
        corner=corner.name,
        note="0: held by these numbers. bedsim size --power-loss gives the course of a fall",
    )


def unequal_rows(machine: MachineNumbers) -> list[Check]:
    """Rows of height differences: one corner holds while the others drop, one drops alone, one stops while
    lifting.
    """
    tilts = statics.tilt_per_height([(c.mount_x, c.mount_y) for c in machine.corners])
    allowed = [_tilt_allowed(c, machine) for c in machine.corners]
    rows = []
    for corner, per_height in zip(machine.corners, tilts, strict=True):
        others = [c for c in machine.corners if c is not corner]
        drop = max(c.room_below for c in others)
        rise = max(c.screw.length - c.screw.root_diameter - c.nut_low for c in others)
        for name, possible, layer in (
            ("one corner holds while the others drop", drop, "first"),
            ("one coupling slips and its corner drops alone", corner.room_below, "first"),
            ("one driver stops while the others lift", rise, "last"),
        ):
            rows.append(_height_row(corner, name, possible, layer, float(per_height), min(allowed)))
        rows.append(_racking_row(corner, float(per_height)))
        rows.append(_blocked_row(corner))
    return rows


def _tilt_allowed(corner: CornerNumbers, machine: MachineNumbers) -> float:
    """Tilt [rad] that uses up one corner's groove; unknown (nan) if its length is not given."""
    if corner.mount_kind != "groove" or corner.mount_travel is None:
        return math.nan
    centre = np.mean([(c.mount_x, c.mount_y) for c in machine.corners], axis=0)
    radius = math.hypot(corner.mount_x - centre[0], corner.mount_y - centre[1])
    # the mount lifted alone turns about the line of the other two, 1.5 R away on three radial grooves
    return holding.tilt_at_foreshortening(corner.mount_travel, 1.5 * radius)


def _height_row(
    corner: CornerNumbers, name: str, possible: float, layer: str, per_height: float, tilt: float
) -> Check:
    words: dict[str, Any] = {
        "formula": "sin(acos(1 - travel/R)) x distance to the line of the others",
        "source": "geometry of a rigid plate that carries its supports",
        "corner": corner.name,
    }
    # the supports keep their distances in the plate, so a height is a sine; beyond the plate's own width
    # something gives before
    steep = per_height * possible
    note = f"from the {layer} layer to the end of a screw: " + (
        f"tilt {math.asin(steep) / DEG:.3g}° if nothing stops it"
        if steep < 1
        else "more than the plate is wide"
    )
    if math.isnan(tilt):
        missing = "sizing.mount_travel_mm" if corner.mount_kind == "groove" else ""
        return shown(UNEQUAL, name, possible / MM, "mm", note=note, missing=missing, **words)
    limit = math.sin(tilt) / per_height
    return below(
        UNEQUAL,
        name,
        possible / MM,
        limit / MM,
        "mm",
        note=note + "; the limit is where the first mount runs out of its groove",
        missing="an end stop, sensor or monitor that catches the difference earlier"
        if possible > limit
        else "",
        **words,
    )


def _racking_row(corner: CornerNumbers, per_height: float) -> Check:
    """Side force or moment for one millimetre of height difference."""
    tilt = per_height * MM
    if corner.mount_kind == "groove":
        return shown(
            UNEQUAL,
            "side force at a mount for 1 mm of difference",
            max(corner.bed_load) * math.tan(tilt),
            "N",
            formula="F tan(tilt)",
            source="statics of a tilted seat",
            corner=corner.name,
        )
    return shown(
        UNEQUAL,
        "racking moment at a carriage for 1 mm of difference",
        corner.guide_tilt * tilt,
        "N m",
        formula="k_guide tilt",
        source="Hooke's law; stiff plate, the other parts rigid",
        corner=corner.name,
    )


def _blocked_row(corner: CornerNumbers) -> Check:
    screw, motor = corner.screw, corner.motor
    at_screw = motor.holding_torque * motor.gear_ratio * motor.gear_efficiency
    push = holding.thrust_of_motor(at_screw, screw.lead, loads.efficiency_raising(screw, screw.friction[0]))
    critical, _ = buckling.critical_load(screw, corner.nut_low, corner.nut_high)
    return below(
        UNEQUAL,
        "push of a motor against a blocked corner",
        push,
        buckling.CATALOGUE_FACTOR * critical,
        "N",
        formula="2 pi T eta1/l",
        source="energy of one turn; limit as for buckling",
        corner=corner.name,
        note="at a crawl, full current, lowest friction: what bed, mounts and fingers would have to take",
    )
