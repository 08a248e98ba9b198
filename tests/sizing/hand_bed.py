"""Lines of the hand sheet: mounts, motors off, unequal corners. N, mm, s, kg."""

from __future__ import annotations

import math
from decimal import ROUND_UP, Context, Decimal

import numpy as np
from hand_beams import buckling_load
from hand_corner import Corner, G
from hand_file import Row, belted, bounds, held_elsewhere, lacking, most, optional, shown
from hand_joint import heat, passed

SHAKEN = "load that a layer change takes off the mount"


def relief(c: Corner, corners: list[Corner], moment: float) -> float:
    """N that a moment (N mm) takes off a mount in its worst direction: two moments square to each other, and
    their resultant."""
    places = np.array([[k.c.x_mm, k.c.y_mm] for k in corners])
    ones = np.column_stack([np.ones(len(places)), places])
    balance = ones.T @ ones
    each = [(ones @ np.linalg.solve(balance, moment * np.array(v)))[c.index] for v in ([0, 1, 0], [0, 0, 1])]
    return math.hypot(*each)


def slope_of(c: Corner, corners: list[Corner]) -> float:
    """Tilt (mm/mm) of the plane that fits the mounts best when this one alone is 1 mm higher."""
    places = np.array([[k.c.x_mm, k.c.y_mm] for k in corners])
    ones = np.column_stack([np.ones(len(places)), places])
    _, by_x, by_y = np.linalg.lstsq(ones, np.eye(len(places))[c.index], rcond=None)[0]
    return math.hypot(by_x, by_y)


def mount_rows(c: Corner, corners: list[Corner]) -> dict[str, Row]:
    if c.c.mount.kind != "groove":
        return {}
    bed, job, z = c.m.bed, c.m.print, c.m.sizing
    mass = bed.mass_kg + job.part_mass_kg
    centre = (bed.mass_kg * bed.centre_height_mm + job.part_mass_kg * job.layers * job.layer_mm / 2) / mass
    aside = optional(z, "frame_acceleration_mm_s2", 0)
    taken = relief(c, corners, mass * aside / 1e3 * abs(centre - c.c.mount.height_mm))
    weight, pull = min(c.bed), optional(c.c.mount, "magnet_force_n", 0)
    left = weight - weight / G * c.a - taken + pull
    rows = {
        "load on the mount at rest": shown(weight + pull, "N"),
        "deceleration against lift-off of the mount": most(
            1e3 * c.a, 1e3 * (weight + pull - taken) / (weight / G), "mm/s²", weight, left, taken, aside
        ),
    }
    # swinging in the layer change: held with the modes that it comes from (tests/analysis)
    rows[SHAKEN] = held_elsewhere("N")
    travel = optional(z, "mount_travel_mm")
    if travel is not None:
        others = sum(passed(o) for o in corners if o is not c) / len(corners)
        parts = [heat(c, corners), passed(c), others]
        short = (sum(parts) - travel,) if sum(parts) > travel else ()
        rows["travel needed along the groove"] = lacking(
            most(1e3 * sum(parts), 1e3 * travel, "µm", *(1e3 * p for p in parts), *short), bool(short)
        )
    return rows


def up_to_two_digits(value: float) -> float:
    return float(Context(prec=2, rounding=ROUND_UP).create_decimal(Decimal(repr(float(value)))))


def missing(c: Corner, needed: float, friction: float, held: float) -> tuple[float, ...]:
    """Brake N mm, and lift N and kg, that are lacking; no lift helps where the side force alone turns it."""
    if needed <= held:
        return ()
    brake, left = up_to_two_digits(needed - held), held - c.side
    if left < 0 or c.lam <= c.rho(friction):
        return (brake,)
    lift = c.load - left / (c.d2 / 2 * math.tan(c.lam - c.rho(friction)))
    return brake, up_to_two_digits(lift), up_to_two_digits(lift / G)


def off_rows(c: Corner) -> dict[str, Row]:
    z, s = c.m.sizing, c.screw
    share = len(c.m.corner) if belted(c.m) else 1
    motor = c.m.corner[0].motor if belted(c.m) else c.c.motor
    resting = c.brake + 1e3 * bounds(motor.detent_torque_n_m)[0] / share * c.gear
    shaken = c.low * optional(z, "vibration_friction", 0.0)

    def row(friction: float, held: float) -> Row:
        needed = max(0.0, c.driven_back(friction) + c.side)
        numbers = missing(c, needed, friction, held)
        return lacking(most(needed, held, "N mm", c.load, friction, *numbers), bool(numbers))

    # J 2 pi/l a + m l eta2/(2 pi) a = F l eta2/(2 pi) + T_side - brake; l eta2/(2 pi) = d2/2 tan(lambda-rho)
    arm = c.d2 / 2 * math.tan(c.lam - c.rho(shaken)) / 1e3  # m
    drive = c.load * arm + (c.side - c.brake) / 1e3  # N m
    turning = 1e-6 * c.inertia * 2 * math.pi / (s.lead_mm / 1e3)
    sinks = drive / (turning + c.mass * arm) if arm > 0 and drive > 0 else 0.0
    return {
        "torque to hold at the lowest friction": row(c.low, resting),
        "torque to hold when shaken": row(shaken, c.brake),
        "acceleration at which a shaken bed begins to sink": shown(sinks, "m/s²", 0),
    }


def unequal_rows(c: Corner, corners: list[Corner]) -> dict[str, Row]:
    z, slope, groove = c.m.sizing, slope_of(c, corners), c.c.mount.kind == "groove"
    travel = optional(z, "mount_travel_mm")
    places = np.array([[k.c.x_mm, k.c.y_mm] for k in corners])
    radii = np.hypot(*(places - places.mean(axis=0)).T)
    limit = None
    if groove and travel is not None:
        # on three radial grooves the lifted one turns about a line 1.5 R away: 1.5 R (1 - cos tilt) = travel
        tilts = [math.acos(1 - travel / (1.5 * r)) for r in radii]
        limit = math.sin(min(tilts)) / slope
    stop = optional(c.m.power_loss, "lower_stop_mm")

    def below(o: Corner) -> float:
        return o.top - (o.screw.root_diameter_mm if stop is None else stop)

    def above(o: Corner) -> float:
        return o.screw.length_mm - o.screw.root_diameter_mm - o.bottom

    def row(height: float) -> Row:
        steep = slope * height  # a sine: supports keep their distances in the plate
        numbers = (math.degrees(math.asin(steep)),) if steep < 1 else ()
        if limit is None:
            return lacking(shown(height, "mm", *numbers), groove)
        return lacking(most(height, limit, "mm", *numbers), height > limit)

    others = [o for o in corners if o is not c]
    rows = {
        "one corner holds while the others drop": row(max(below(o) for o in others)),
        "one coupling slips and its corner drops alone": row(below(c)),
        "one driver stops while the others lift": row(max(above(o) for o in others)),
    }
    if groove:
        rows["side force at a mount for 1 mm of difference"] = shown(max(c.bed) * math.tan(slope), "N")
    else:
        guide = 1 / (1 / c.c.guide.tilt_nm_per_rad + 1 / c.c.frame.rotation_nm_per_rad)
        rows["racking moment at a carriage for 1 mm of difference"] = shown(guide * slope, "N m")
    # T i eta over F d2/2 tan(lambda + rho), at the lowest friction
    push = c.holding * c.gear * c.eta_g / (c.d2 / 2 * math.tan(c.lam + c.rho(c.low)))
    critical = min(buckling_load(c, h) for h in np.linspace(c.bottom, c.top, 5))
    rows["push of a motor against a blocked corner"] = most(push, critical / 2, "N", rel=1e-5)
    return rows


def slip_rows(c: Corner) -> dict[str, Row]:
    """Four full steps; what it does to a machine is held in tests/analytic/test_slip.py."""
    motor = c.c.motor
    height = 4 * c.screw.lead_mm / (motor.steps_per_turn * c.gear)
    return {
        "height of a corner whose motor has slipped": shown(
            1e3 * height, "µm", 360 * height / c.screw.lead_mm
        ),
        "tilt of the bed then": held_elsewhere("mm/m"),
        "side force on a guide then": held_elsewhere("N"),
    }
