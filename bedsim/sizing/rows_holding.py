"""Rows about the drive without current and about corners that do not move alike."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from bedsim.sizing import buckling, holding, loads, statics, torque
from bedsim.sizing.numbers import CornerNumbers, Duty, MachineNumbers
from bedsim.sizing.table import Check, below, shown
from bedsim.units import DEG, GRAVITY, MM, N_MM

SUBJECT = "Motors off"
UNEQUAL = "Unequal corners"


def holding_rows(corner: CornerNumbers, duty: Duty) -> list[Check]:
    """Rows of holding at the lowest friction and shaken, and how a fall would begin."""
    low = corner.screw.friction[0]
    return [
        _hold_row(corner, low, "torque to hold at the lowest friction"),
        _hold_row(corner, low * duty.vibration_friction, "torque to hold when shaken"),
        _fall_row(corner, low * duty.vibration_friction),
    ]


def held_torque(corner: CornerNumbers) -> float:
    """Return the torque [N m] at the screw that is there without current: brake + lowest detent."""
    return corner.motor.brake_torque + corner.motor.detent_low * corner.motor.gear_ratio


def missing_words(corner: CornerNumbers, friction: float) -> str:
    """Say which brake torque or counterweight is lacking at one corner; empty when none is."""
    screw = corner.screw
    weight, eta = max(corner.hanging), loads.efficiency_back(screw, friction)
    needed = holding.torque_to_hold(weight, screw.lead, eta)
    lacking = holding.torque_missing(needed, held_torque(corner))
    if lacking <= 0:
        return ""
    lift = holding.counterweight_missing(weight, holding.load_held(held_torque(corner), screw.lead, eta))
    return (
        f"a brake of {rounded_up(lacking / N_MM)} N mm more at each screw, or {rounded_up(lift)} N "
        f"({rounded_up(lift / GRAVITY)} kg) more of counterweight at each corner"
    )


def rounded_up(value: float) -> str:
    """Write a positive need with two digits, never less than it is."""
    step = 10.0 ** (math.floor(math.log10(value)) - 1)
    return f"{math.ceil(value / step - 1e-9) * step:.2g}"


def _hold_row(corner: CornerNumbers, friction: float, name: str) -> Check:
    screw = corner.screw
    needed = holding.torque_to_hold(max(corner.hanging), screw.lead, loads.efficiency_back(screw, friction))
    braked = holding.torque_missing(needed, corner.motor.brake_torque)
    return below(
        SUBJECT,
        name,
        needed / N_MM,
        held_torque(corner) / N_MM,
        "N mm",
        formula="F l eta2/(2 pi) against brake + detent, no help from guide and nut drag",
        source="THK torque; Shigley section 8-2",
        corner=corner.name,
        note=f"load {max(corner.hanging):.3g} N, friction {friction:g}; detent holds only from rest"
        + (f", without it a brake of {rounded_up(braked / N_MM)} N mm more" if braked > 0 else ""),
        missing=missing_words(corner, friction),
    )


def _fall_row(corner: CornerNumbers, friction: float) -> Check:
    screw, motor = corner.screw, corner.motor
    turning = torque.screw_inertia(density=screw.density, diameter=screw.diameter, length=screw.length)
    turning += motor.rotor_inertia * motor.gear_ratio**2
    a = holding.fall_acceleration(
        load=max(corner.hanging),
        mass=corner.moved_mass,
        lead=screw.lead,
        efficiency_back=loads.efficiency_back(screw, friction),
        holding_torque=held_torque(corner),
        inertia=turning,
    )
    return shown(
        SUBJECT,
        "acceleration at which a shaken bed begins to sink",
        a,
        "m/s²",
        formula="(F l eta2/(2 pi) - T)/(2 pi J/l + m l eta2/(2 pi))",
        source="Newton's second law",
        corner=corner.name,
        note="0: held by these numbers. The course of a fall needs the time domain",
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
        drop = max(c.nut_high for c in others)
        rise = max(c.screw.length - c.screw.root_diameter - c.nut_low for c in others)
        for name, possible in (
            ("one corner holds while the others drop", drop),
            ("one coupling slips and its corner drops alone", corner.nut_high),
            ("one driver stops while the others lift", rise),
        ):
            rows.append(_height_row(corner, name, possible, float(per_height), min(allowed)))
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


def _height_row(corner: CornerNumbers, name: str, possible: float, per_height: float, tilt: float) -> Check:
    words: dict[str, Any] = {
        "formula": "acos(1 - travel/R) x distance to the line of the others",
        "source": "geometry of a rigid plate",
        "corner": corner.name,
    }
    note = f"tilt {math.atan(per_height * possible) / DEG:.2g}° if nothing stops it"
    if math.isnan(tilt):
        missing = "sizing.mount_travel_mm" if corner.mount_kind == "groove" else ""
        return shown(UNEQUAL, name, possible / MM, "mm", note=note, missing=missing, **words)
    limit = math.tan(tilt) / per_height
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
    free = corner.nut_high if screw.ends == "fixed-free" else screw.length
    permitted = buckling.permissible_column_load(
        youngs_modulus=screw.youngs_modulus,
        root_diameter=screw.root_diameter,
        free_length=free,
        ends=screw.ends,
    )
    return below(
        UNEQUAL,
        "push of a motor against a blocked corner",
        push,
        permitted,
        "N",
        formula="2 pi T eta1/l",
        source="energy of one turn; limit as for buckling",
        corner=corner.name,
        note="at a crawl, full current, lowest friction: what bed, mounts and fingers would have to take",
    )
