"""Lines of the hand sheet: screw, axial train, torque, motor, life. N, mm, s, kg."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
from hand_beams import buckling_load, whirling
from hand_corner import Corner
from hand_file import INF, NAN, Row, belted, bounds, lacking, least, most, optional, shown

#: Catalogues' rounded factors of Euler's load by ends: THK sheet A15-30.
CATALOGUE = {"fixed-free": 0.25, "supported-supported": 1.0, "fixed-supported": 2.0, "fixed-fixed": 4.0}


def screw_rows(c: Corner) -> dict[str, Row]:
    s = c.screw
    heights = np.linspace(c.bottom, c.top, 5)
    critical = min(buckling_load(c, z) for z in heights)
    at = heights[int(np.argmin([buckling_load(c, z) for z in heights]))]
    free = c.top if s.ends == "fixed-free" else s.length_mm
    euler = 0.5 * CATALOGUE[s.ends] * math.pi**2 * c.E * c.I / free**2
    rpm = 60 * c.m.motion.speed_mm_s / s.lead_mm
    left = min(c.first, c.last) - c.c.guide.friction_n
    rows = {
        "buckling load": shown(critical, "N", at, rel=1e-5),
        "push against half the buckling load": most(
            c.push, critical / 2, "N", 0.5, 2, 2, free, euler, rel=1e-5
        ),
        "push against compression of the root": most(c.push, 147 * c.area, "N"),  # 147 N/mm2, THK A15-30
        "critical speed": shown(60 * whirling(c), "rpm"),
        "turning speed against 0.8 of critical": most(rpm, 60 * 0.8 * whirling(c), "rpm"),
        # a maker's rule: sag is asked about from 40, a support between the ends from 50
        "free length over diameter": most(s.length_mm / s.diameter_mm, 50, "", 40),
        "deceleration against unloading of the nut": lacking(
            most(1e3 * c.a, 1e3 * left / c.mass, "mm/s²"), left <= 0
        ),
    }
    if not c.plain:
        # 60 000 mm rpm where nothing is given: low end of what Engineers Edge prints for all returns
        given = optional(c.m.sizing, "speed_diameter_mm_rpm")
        words = (76, 200, 140, 0) if given is None else ()  # 76 200 and 140 000, as they are parted
        rows["speed x diameter"] = most(c.d2 * rpm, given or 60e3, "mm rpm", *words)
    # a nut with radial clearance c rises by c tan(flank) to either flank
    clearance = optional(c.nut, "clearance_um", 0) if c.plain else 0
    play = optional(s, "axial_play_um", 0) + 2 * clearance * math.tan(c.flank)
    if play:
        rows["jump in height if a screw is unloaded"] = shown(play, "µm")
    return rows


def train(c: Corner) -> dict[str, float]:
    """Compliances mm/N between ground and carriage, by part; a torsional one k gives (l/2 pi)^2/k."""
    s, m = c.screw, c.m
    nut, lead = c.top, s.lead_mm / (2 * math.pi)
    bearing = 1e-3 / s.bearing_axial_n_per_um
    if s.ends == "fixed-fixed":  # softest at mid-span; two ways to ground beside each other
        nut = min(max(s.length_mm / 2, c.bottom), c.top)
        ways = [bearing + z / (c.E * c.area) for z in (nut, s.length_mm - nut)]
        found = {"shaft and its two bearings": 1 / sum(1 / w for w in ways)}
    else:
        found = {"thrust bearing": bearing, "shaft, stretch": nut / (c.E * c.area)}
    motor = m.corner[0].motor if belted(m) else c.c.motor
    found["shaft, twist"] = lead**2 * nut / (c.Gs * 2 * c.I)
    found["coupling"] = lead**2 / (1e3 * s.coupling_nm_per_rad)
    found["motor's magnetic spring"] = lead**2 / (motor.steps_per_turn / 4 * c.holding * c.gear**2)
    if belted(m):
        pulley = m.drive.pulley_pitch_diameter_mm / 2
        found["belt"] = lead**2 / (1e3 * m.drive.belt_n_per_um * pulley**2)
    found["nut"] = 1e-3 / c.nut.axial_n_per_um
    found["frame"] = 1e-3 / c.c.frame.vertical_n_per_um
    found["joint"] = 1e-3 / c.joint.axial_n_per_um
    return found


def train_rows(c: Corner) -> dict[str, Row]:
    parts = train(c)
    whole = sum(parts.values())
    shares = sorted((100 * p / whole for p in parts.values()), reverse=True)
    return {
        "axial stiffness, softest": shown(1e-3 / whole, "N/µm", *shares),
        "sag under the part's weight": shown(1e3 * (c.bed[1] - c.bed[0]) * whole, "µm"),
        "frequency of the corner on its train": shown(math.sqrt(1e3 / whole / c.mass) / (2 * math.pi), "Hz"),
        "weight that hangs on the screw": shown(c.load, "N"),
    }


def torque_rows(c: Corner) -> dict[str, Row]:
    low, likely, high = c.low, c.likely, c.high
    up = {f: c.raising(c.push, f) for f in (low, likely, high)}
    lam, rho = c.lam, c.rho(likely)
    back = 100 * math.tan(lam - rho) / math.tan(lam)
    return {
        "to raise": shown(
            up[likely], "N mm", up[low], up[high], low, high, math.degrees(lam), math.degrees(rho)
        ),
        "to lower": shown(c.lowering(c.a), "N mm", c.lowering(-c.a)),
        "the load drives back with": shown(max(0.0, c.driven_back(low)), "N mm", low, 0),
        "efficiency raising": shown(100 * math.tan(lam) / math.tan(lam + rho), "%"),
        "efficiency driven back": shown(back, "%"),
        # it just holds where rho = lambda: f = cos(flank) tan(lambda)
        "friction from which it holds by itself": shown(math.cos(c.flank) * math.tan(lam), "", low, high),
    }


def motor_rows(c: Corner) -> dict[str, Row]:
    m, s = c.m, c.screw
    motor = m.corner[0].motor if belted(m) else c.c.motor
    share = len(m.corner) if belted(m) else 1
    rpm = 60 * m.motion.speed_mm_s / s.lead_mm * c.gear
    spin = 2 * math.pi * c.a / s.lead_mm * 1e3 * c.gear  # rad/s2 of the motor
    needed = (c.raising(c.push, c.high) + c.side) / (c.gear * c.eta_g)
    needed += c.inertia / c.gear**2 * spin / 1e3  # kg mm2 /s2 -> N mm
    curve = [(p.speed_rpm, 1e3 * p.torque_n_m / share) for p in optional(m.sizing, "pull_out", [])]
    available = float(np.interp(rpm, *zip(*curve, strict=True), right=0)) if curve else c.holding
    short = (needed - available, rpm) if needed > available else ()
    angle = math.degrees(math.asin(needed / c.holding)) if needed <= c.holding else INF
    step = s.lead_mm / motor.steps_per_turn / c.gear
    micro = step / motor.microsteps
    layer = m.print.layer_mm
    # sinusoidal torque curve, 90 degrees electrical per full step (Jones, Stepping Motor Physics)
    part = 90 / motor.microsteps
    friction = (c.raising(c.push, c.likely) - c.push * s.lead_mm / (2 * math.pi)) / (c.gear * c.eta_g)
    waits = math.degrees(math.asin(friction / c.holding)) / part
    swinging = c.inertia / c.gear**2 + c.mass * (s.lead_mm / (2 * math.pi * c.gear)) ** 2  # kg mm2
    teeth = motor.steps_per_turn / 4
    hertz = math.sqrt(1e3 * teeth * c.holding / swinging) / (2 * math.pi)
    errors = [bounds(optional(motor, f"place_error_{k}_deg")) for k in (1, 2, 3, 4)]
    wave = 100 * teeth * sum(k * math.radians(e[1]) for k, e in enumerate(errors, start=1))
    return {
        "torque at travel speed against pull-out": lacking(
            most(needed, available, "N mm", rpm, c.high, *short), bool(short) or not curve
        ),
        "torque of the standing side force on the bent screw": shown(c.side / (c.gear * c.eta_g), "N mm"),
        "load angle, electrical": most(angle, 30.0, "°", *((INF,) if math.isinf(angle) else ())),
        # one turn raises the load by a lead; a sinusoidal torque curve holds it
        "load angle at rest, electrical": shown(
            math.degrees(math.asin(c.load * s.lead_mm / (2 * math.pi * c.gear) / c.holding)), "°"
        ),
        "travel of one microstep": shown(
            1e3 * micro, "µm", 1e3 * step, c.holding * math.sin(math.radians(part))
        ),
        "microsteps before the rotor moves against friction": most(waits, layer / micro, ""),
        # the sentence about heights near it is held in tests/derived/test_layer_heights.py
        "full steps in one layer": Row(layer / step, "", numbers=None),
        "thickness that the motor leaves from layer to layer": shown(
            1e3 * thickness_left(s.lead_mm, c.gear, layer, step, micro, [e[1] for e in errors]), "µm"
        ),
        "inertia at the motor, load carried along": shown(10 * swinging, "g cm²"),  # kg mm2: 10 g cm2
        "resonance of rotor and load": shown(hertz, "Hz", wave),
        "travel speed at which full steps meet it": shown(
            hertz * step, "mm/s", 4 * hertz * step, m.motion.speed_mm_s
        ),
    }


def thickness_left(
    lead: float, gear: float, layer: float, step: float, micro: float, errors: list[float]
) -> float:
    """mm peak to valley: a layer's thickness is the difference of the place error over it, (e^(jk theta) -
    1) A_k in the complex plane; two layers j apart differ by at most the sum of |..| over the orders."""
    theta = 2 * math.pi * layer / (4 * step)
    worst = 0.0
    for apart in range(1, 4001):
        turns = [(np.exp(1j * k * theta) - 1) * (np.exp(1j * k * apart * theta) - 1) for k in (1, 2, 3, 4)]
        worst = max(worst, sum(math.radians(a) * abs(t) for a, t in zip(errors, turns, strict=True)))
    whole = Fraction(layer / micro).limit_denominator(10**4).denominator == 1
    return worst * lead / (2 * math.pi) / gear + (0.0 if whole else micro)


def life_rows(c: Corner) -> dict[str, Row]:
    m, s, z = c.m, c.screw, c.m.sizing
    friction = c.c.guide.friction_n
    mean = (((c.first + friction) ** 3 + (c.last + friction) ** 3) / 2) ** (1 / 3)  # ISO 3408-5
    # down for each layer and up again at the end; a hop goes down and up
    turns = 2 * (m.print.layer_mm + optional(m.motion, "z_hop_mm", 0)) / s.lead_mm
    turns *= 3600 / m.print.seconds_per_layer  # an hour
    wanted = optional(z, "life_h", 5000.0)
    if not c.plain:
        rows, dynamic = {}, optional(z, "dynamic_load_rating_n")
        if dynamic:  # ISO 3408-5: (Ca/(fw Fm))^3 million turns
            hours = (dynamic / (optional(z, "load_factor", 1.2) * mean)) ** 3 * 1e6 / turns
            rows["nominal life (90 % survive)"] = least(hours, wanted, "h", mean, turns)
        static = optional(z, "static_load_rating_n")
        if static:  # 2: usual figure, common practice, no source
            rows["static safety"] = least(static / c.push, 2.0, "")
        if len(rows) < 2:
            rows["life and static safety"] = lacking(shown(NAN, ""), True)
        return rows
    length = optional(z, "plain_nut_length_mm")
    if length is None:
        return {"pressure and wear of the nut": lacking(shown(NAN, ""), True)}
    # bearing area of turns that are half a pitch deep: pi d2 (P/2) per pitch of length (ISO 2904)
    area = math.pi * c.d2 / 2 * length
    slide = math.hypot(math.pi * c.d2, s.lead_mm)  # mm per turn
    pressure, speed = c.push / area, slide * m.motion.speed_mm_s / s.lead_mm / 1e3  # MPa, m/s
    # MPa m/s, and mm3/(N m) low and high: acetal 0.25 and 0.75 um/h at 0.09 MPa m/s (ASTM D3702), bronze
    # common practice, no source
    pv, *wear = {"pom": (0.1, 2.5e-4 / 324, 7.5e-4 / 324), "bronze": (1.75, 1e-7, 1e-5)}[
        optional(z, "plain_nut_material", "bronze")
    ]
    pv = optional(z, "pressure_velocity_mpa_m_s", pv)
    wear = [optional(z, f"wear_{end}_mm3_per_n_m", k) for end, k in zip(("low", "high"), wear, strict=True)]
    clearance = optional(z, "wear_clearance_um", 100.0)
    # Archard: depth = k p s; worn square to the flank, so the play grows by depth/cos(flank)
    hours = [clearance * 1e-3 * math.cos(c.flank) / (k * 1e-3 * mean / area * slide * turns) for k in wear]
    return {
        "pressure on the nut's flanks": shown(pressure, "MPa"),
        "pressure x velocity of the plain nut": most(pressure * speed, pv, "MPa m/s"),
        f"hours until {clearance:.0f} µm of play": least(hours[1], wanted, "h", hours[1], hours[0]),
    }
