"""Lines of the hand sheet: run-out and joint. Magnets are rings of current. N, mm, s, kg."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
from hand_beams import side_stiffness
from hand_corner import Corner, G
from hand_file import INF, Row, lacking, most, optional, shown
from scipy.special import ellipe, ellipk


def drawn_bow(c: Corner) -> tuple[float, float, float]:
    """Largest offset (mm) of the bow up to the nut, and what its bearings hold: moment N m and force N.

    A half sine of amplitude a meets its bearings at the slope pi a/L. A clamp of stiffness k and the beam
    share it: one clamp turns it by m (1/k + L/(3EI) + (1/k0 + 1/kL)/L^2) (beam tables, far end supported on
    k0 and kL); two alike by m (1/k + L/(2EI)), no forces by symmetry. A cantilever is turned as it is.
    """
    s = c.screw
    run_out = optional(s, "run_out", SimpleNamespace())
    a, L, EI = optional(run_out, "bow_tir_um", 0) / 2e3, s.length_mm, c.E * c.I
    z = np.linspace(0, c.top, 1001)
    if s.ends == "fixed-free":
        return float(np.abs(a * (1 - np.cos(math.pi * z / (2 * L)))).max()), 0.0, 0.0
    bent = a * np.sin(math.pi * z / L)
    if s.ends == "supported-supported":
        return float(np.abs(bent).max()), 0.0, 0.0
    k = 1e3 * s.bearing_tilt_nm_per_rad
    if s.ends == "fixed-fixed":
        moment = math.pi * a / L / (1 / k + L / (2 * EI))
        bent -= moment / (2 * EI) * z * (L - z)
        return float(np.abs(bent).max()), moment / 1e3, 0.0
    k0, kL = 1e3 * s.bearing_radial_n_per_um, 1e3 * s.upper_bearing_radial_n_per_um
    moment = math.pi * a / L / (1 / k + L / (3 * EI) + (1 / k0 + 1 / kL) / L**2)
    force = moment / L
    # far end supported, moment at z = 0: M L^2/(6EI) (2x - 3x^2 + x^3), x = z/L (beam tables)
    x = z / L
    bent -= moment * L**2 / (6 * EI) * (2 * x - 3 * x**2 + x**3)
    bent += force / k0 - force * (1 / k0 + 1 / kL) * x
    return float(np.abs(bent).max()), moment / 1e3, force


def run_out_of(c: Corner) -> float:
    """mm off the axis at most: half of each reading, all pointing the same way."""
    given = optional(c.screw, "run_out", SimpleNamespace())
    aside = optional(given, "eccentricity_tir_um", 0) / 2e3
    return aside + optional(given, "tilt_tir_um_per_100mm", 0) / 2e3 / 100 * c.top + drawn_bow(c)[0]


def guide_side(c: Corner) -> float:
    """N/mm sideways of guide and frame one behind the other, in the softer of the two directions."""
    g, f = c.c.guide, c.c.frame
    pairs = ((g.radial_n_per_um, f.radial_n_per_um), (g.tangential_n_per_um, f.tangential_n_per_um))
    return min(1e3 / (1 / a + 1 / b) for a, b in pairs)


def bolted_share(c: Corner) -> float:
    """Share of a run-out that a bolted nut takes along: two springs in a row, the run-out between them."""
    k = max(side_stiffness(c, z) for z in (c.bottom, c.top))
    return k / (k + guide_side(c))


def passed(c: Corner) -> float:
    """mm of run-out that reaches the carriage: through a joint all of it below breakaway, beyond it what
    friction and recentring spring push."""
    e, bolted = run_out_of(c), run_out_of(c) * bolted_share(c)
    if c.joint.kind == "rigid":
        return bolted
    j, guide = Joint(c), guide_side(c)
    sticking = j.stated_friction / (c.joint.breakaway_um / 1e3) + j.lateral
    stuck = e * sticking / (sticking + guide)
    return min(stuck, (j.stated_friction + j.lateral * e) / (guide + j.lateral), bolted)


def run_out_rows(c: Corner) -> dict[str, Row]:
    bolted = run_out_of(c) * bolted_share(c)
    rows = {
        "lateral stiffness of the screw at its nut": shown(
            1e-3 * max(side_stiffness(c, z) for z in (c.bottom, c.top)), "N/µm"
        ),
        "reaches the carriage if the nut is bolted to it": shown(1e3 * bolted, "µm", 1e3 * run_out_of(c)),
    }
    if c.joint.kind == "rigid":
        rows["sideways push on the carriage"] = shown(bolted * guide_side(c), "N")
    else:
        rows["reaches the carriage through the joint"] = shown(1e3 * passed(c), "µm")
    _, moment, force = drawn_bow(c)
    if moment:
        rows["moment on a clamped bearing from the bow"] = shown(moment, "N m")
        rows["radial force on a bearing from the bow"] = shown(force, "N")
    return rows


def mutual(a: float, b: float, z: float) -> float:
    """Mutual inductance (H) of two coaxial rings of radius a and b, z apart, m (Maxwell, Treatise, art. 701;
    from memory)."""
    k2 = 4 * a * b / ((a + b) ** 2 + z**2)
    k = math.sqrt(k2)
    return 4e-7 * math.pi * math.sqrt(a * b) * ((2 / k - k) * ellipk(k2) - 2 / k * ellipe(k2))


def magnet(part: SimpleNamespace, warming: float) -> tuple[float, float]:
    """Pull N and recentring stiffness N/mm of a pair of discs, each a sheet of current B/mu0 around its rim.

    The force is the integral of dM/dz over both thicknesses, which leaves differences of M; its slope over
    the gap four of them. Recentring is half of it with the sign turned: the three stiffnesses of magnets sum
    to nothing (Earnshaw). Warm: 0.11 % less remanence per kelvin (usual makers' figure, from memory).
    """
    b = optional(part, "remanence_t", 1.3) * (1 - 1.1e-3 * warming)
    r1, t1 = part.diameter_mm / 2e3, part.thickness_mm / 1e3
    r2 = optional(part, "other_diameter_mm", part.diameter_mm) / 2e3
    t2 = optional(part, "other_thickness_mm", part.thickness_mm) / 1e3
    g, sheet = part.gap_mm / 1e3, (b / (4e-7 * math.pi)) ** 2
    x, w = np.polynomial.legendre.leggauss(40)
    places = t2 / 2 * (x + 1)
    pull = sheet * t2 / 2 * sum(w * [mutual(r1, r2, g + s) - mutual(r1, r2, g + s + t1) for s in places])
    slope = mutual(r1, r2, g + t2) - mutual(r1, r2, g + t1 + t2) - mutual(r1, r2, g) + mutual(r1, r2, g + t1)
    return float(pull), -0.5 * sheet * slope / 1e3


def turned(along: float, across: float, degrees: float) -> np.ndarray:
    """A stiffness along a direction and across it, in x and y: sum of k n n^T."""
    n = np.array([math.cos(math.radians(degrees)), math.sin(math.radians(degrees))])
    t = np.array([-n[1], n[0]])
    return along * np.outer(n, n) + across * np.outer(t, t)


class Joint:
    """A joint that is not rigid, N and mm; `matrix` (3, 3) for x, y and the turn about the screw."""

    def __init__(self, c: Corner) -> None:
        self.c, j = c, c.joint
        self.weight = max(c.bed) + c.c.carriage.mass_kg * G  # the nut hangs below its joint
        parts = optional(c.m.sizing, "joint_part", None)
        warm = optional(c.m.sizing, "joint_warming_k", 20.0)
        self.extra = 1e3 * optional(j, "rotation_nm_per_rad", 0.0)
        self.balls = optional(parts, "ball", []) if parts else []
        if parts:
            self.matrix, self.pull, self.friction, self.wedge = self._from_parts(parts, warm)
            self.cold = self._from_parts(parts, 0.0)[1]
            ends = self.balls or [p for kind in vars(parts).values() for p in kind]
            reaches = [math.hypot(p.x_mm, p.y_mm) for p in ends]  # balls end the travel, or else any part
        else:
            each = optional(j, "lateral_n_per_mm", 0.0) / j.elements
            angles = 2 * math.pi * np.arange(j.elements) / j.elements
            ring = j.element_radius_mm * np.column_stack([np.cos(angles), np.sin(angles)])
            self.matrix = sum(self._placed(x, y, each * np.eye(2)) for x, y in ring)
            self.pull, self.wedge = optional(j, "magnet_force_n", 0.0), 0.0
            reaches = [j.element_radius_mm]
        self.matrix[2, 2] += self.extra
        self.rotation = self.matrix[2, 2]
        self.reach = max(reaches) if j.kind not in ("sliding", "air_film") else 0.0
        # softest sideways direction, free to turn: one over the largest compliance
        if np.linalg.matrix_rank(self.matrix) == 3:
            self.lateral = 1 / np.linalg.eigvalsh(np.linalg.inv(self.matrix)[:2, :2])[-1]
        else:
            self.lateral = 0.0
        self.stated_friction = j.friction_coefficient * (self.weight + self.pull)
        if not self.balls:
            self.friction = self.stated_friction

    def _placed(self, x: float, y: float, k: np.ndarray) -> np.ndarray:
        """A point at (x, y) goes (1, 0), (0, 1) and, as the nut turns, (-y, x)."""
        goes = np.array([[1, 0, -y], [0, 1, x]])
        return goes.T @ k @ goes

    def _from_parts(self, parts: SimpleNamespace, warming: float) -> tuple[np.ndarray, float, float, float]:
        K, pull, friction, wedge = np.zeros((3, 3)), 0.0, 0.0, 0.0
        for part in optional(parts, "magnet", []):
            force, k = magnet(part, warming)
            pull += force
            K += self._placed(part.x_mm, part.y_mm, k * np.eye(2))
        for part in optional(parts, "spring", []):  # a string under tension: F/L
            pull += part.force_n
            K += self._placed(part.x_mm, part.y_mm, part.force_n / part.length_mm * np.eye(2))
        each = (self.weight + pull) / len(self.balls) if self.balls else 0.0
        for part in self.balls:
            # the plate goes u, the ball rolls u/2 and climbs a bowl of radius R - r in each dished plate
            dishes = optional(part, "dished_plates", 0)
            hollow = optional(part, "dish_radius_mm", 2 * part.diameter_mm) - part.diameter_mm / 2
            K += self._placed(part.x_mm, part.y_mm, each * dishes / 4 / hollow * np.eye(2))
            friction += self.c.joint.friction_coefficient * each
            wedge += each * math.radians(optional(part, "wedge_deg", 0)) / 2
        for part in optional(parts, "ring", []):
            s = part.hardness_shore_a  # Gent 1958: E in MPa
            shear = 0.0981 * (56 + 7.66 * s) / (0.137505 * (254 - 2.54 * s)) / 3
            wide = math.pi * part.cord_mm**2 / 4 / part.height_mm  # its rubber keeps its volume
            k = shear * math.pi * part.mean_diameter_mm * wide / part.height_mm
            K += self._placed(part.x_mm, part.y_mm, k * np.eye(2))
        leaves = optional(parts, "leaf", [])
        bearing = sum(optional(leaf, "carries_load", False) for leaf in leaves)
        for leaf in leaves:
            P = (self.weight + pull) / bearing if optional(leaf, "carries_load", False) else 0.0
            t, w, L = leaf.thickness_mm, leaf.width_mm, leaf.length_mm
            # clamped and guided: 12 E I/L^3, less 6 P/(5 L) of its load (cubic beam)
            soft, hard = (
                12e3 * optional(leaf, "youngs_modulus_gpa", 206.0) * i / 12 / L**3 - 1.2 * P / L
                for i in (w * t**3, t * w**3)
            )
            K += self._placed(leaf.x_mm, leaf.y_mm, turned(soft, hard, optional(leaf, "direction_deg", 0.0)))
        return K, pull, friction, wedge


def nut_torques(c: Corner) -> tuple[float, float]:
    """N mm on a nut that does not turn: of the load, F l/(2 pi), and drag; sliding flanks rub with F f/cos at
    d2/2 (Shigley, lead angle neglected)."""
    drag = c.nut.drag_torque_n_mm
    if c.plain:
        drag += c.likely * c.load * c.d2 / 2 / math.cos(c.flank)
    return c.load * c.screw.lead_mm / (2 * math.pi), drag


def travel_of(c: Corner, corners: list[Corner]) -> list[float]:
    """mm that use up the joint's travel: run-out, the others' push, heat, misalignment, bore, turning."""
    j, s, k = Joint(c), c.screw, len(corners)
    others = bolted_share(c) * sum(run_out_of(o) for o in corners if o is not c) / k
    align = optional(s, "alignment", SimpleNamespace())
    aside = math.hypot(optional(align, "offset_x_um", 0), optional(align, "offset_y_um", 0)) / 1e3
    slope = math.hypot(optional(align, "slope_x_um_per_100mm", 0), optional(align, "slope_y_um_per_100mm", 0))
    bore = math.hypot(optional(c.nut, "bore_offset_x_um", 0), optional(c.nut, "bore_offset_y_um", 0)) / 1e3
    load, drag = nut_torques(c)
    return [
        run_out_of(c),
        others,
        0.0 if c.c.mount.kind == "groove" else heat(c, corners),  # a groove takes it
        aside + slope / 1e3 / 100 * c.top,
        bore,
        j.reach * (load + drag) / j.rotation,
    ]


def heat(c: Corner, corners: list[Corner]) -> float:
    """mm by which the hot bed grows out at a corner's mount: alpha dT R, R from the middle of the mounts."""
    places = np.array([[k.c.x_mm, k.c.y_mm] for k in corners])
    radius = math.hypot(*(places[c.index] - places.mean(axis=0)))
    bed = c.m.bed
    return bed.expansion_um_per_m_k * 1e-6 * bed.temperature_rise_k * radius


def joint_rows(c: Corner, corners: list[Corner]) -> dict[str, Row]:
    if c.joint.kind == "rigid":
        return {}
    j, s, z = Joint(c), c.screw, c.m.sizing
    load, drag = nut_torques(c)
    parts = travel_of(c, corners)
    needed, travel = sum(parts), c.joint.travel_mm
    short = ((needed - travel),) if needed > travel else ()
    yaw = 1e3 / (1 / c.c.guide.yaw_nm_per_rad + 1 / c.c.frame.rotation_nm_per_rad)
    series = 1 / (1 / j.rotation + 1 / yaw)
    wind = 2 * drag / series  # rad between the senses of rotation
    lost = s.lead_mm / (2 * math.pi) * wind
    # allowed: travel at the elements, height at a reversal
    way = optional(z, "joint_twist_um", 100 * travel) / 1e3
    height = optional(z, "joint_reversal_um", 1.0) / 1e3
    whole = 2 * drag * s.lead_mm / (2 * math.pi) / height  # N mm/rad of joint and carriage in a row
    reversal = whole * yaw / (yaw - whole) if whole < yaw else INF
    enough = max((load + drag) * j.reach / way, reversal)
    ring = math.sqrt(max(reversal - j.extra, 0) / j.lateral) if j.lateral > 0 else 0.0
    if j.reach > 0:  # T r/(k r^2 + k_a) = way: the larger root
        roots = np.roots([way * j.lateral, -(load + drag), way * j.extra])
        ring = max(ring, *(float(r.real) for r in roots if r.imag == 0), 0.0)
    wanted = (1e3 * way, 1e3 * height, j.rotation / 1e3)
    lift = 1e3 * (G + j.pull / (j.weight / G))
    zone = 1e3 * j.friction / j.lateral if j.lateral > 0 else INF
    rows = {
        "travel needed against travel": lacking(
            most(1e3 * needed, 1e3 * travel, "µm", *(1e3 * p for p in parts), *short), bool(short)
        ),
        "recentring stiffness": shown(j.lateral, "N/mm"),
        "dead zone: does not come back from within": shown(
            zone, "µm", *((INF,) if math.isinf(zone) else (j.friction,))
        ),
        "sideways push left on the bed": shown(j.friction + j.lateral * run_out_of(c) + j.wedge, "N"),
        "turned by load and drag, at most": shown(
            math.degrees((load + drag) / j.rotation),
            "°",
            math.degrees((load - drag) / j.rotation),
            load,
            drag,
        ),
        "travel which that turning uses up": shown(1e3 * parts[5], "µm", *((j.reach,) if j.reach else ())),
        "stiffness against turning with the screw": lacking(
            shown(j.rotation / 1e3, "N m/rad"), j.rotation <= 0
        ),
        "height lost at each reversal": shown(1e3 * lost, "µm", math.degrees(wind)),
        "stiffness against turning that is enough": shown(enough / 1e3, "N m/rad", *wanted),
        "radius at which the joint's springs are enough": shown(
            ring, "mm", j.lateral, j.extra / 1e3, j.reach
        ),
        "deceleration against lift-off of the joint": most(1e3 * c.a, lift, "mm/s²", j.pull),
    }
    if optional(z, "joint_part"):
        rows["pull of magnets and springs when warm"] = shown(j.pull, "N", j.cold)
    return rows


def ball_rows(c: Corner) -> list[tuple[str, Row]]:
    """Hertz (Johnson, Contact Mechanics, section 4.2; from memory): p0^3 = 6 F E*^2/(pi^3 R^2), delta^3 =
    9 F^2/(16 R E*^2), and dF/d delta = 3 F/(2 delta). First yield: 1.6 of the yield stress (section 6.1)."""
    if c.joint.kind == "rigid":
        return []
    j, rows = Joint(c), []
    for ball in j.balls:
        force = (j.weight * (1 + c.a / G) + j.cold) / len(j.balls)
        poisson = optional(ball, "poisson", 0.3)
        moduli = (optional(ball, "ball_modulus_gpa", 206.0), optional(ball, "plate_modulus_gpa", 206.0))
        modulus = 1e3 / sum((1 - poisson**2) / m for m in moduli)
        R = ball.diameter_mm / 2
        pressure = (6 * force * modulus**2 / (math.pi**3 * R**2)) ** (1 / 3)
        flat = (9 * force**2 / (16 * R * modulus**2)) ** (1 / 3)
        stiffness = 3 * force / (2 * flat) / 2 / 1e3  # N/um of two contacts in a row
        strength = optional(ball, "plate_yield_mpa")
        name = "contact pressure of a ball on its plate"
        if strength is None:
            rows.append((name, shown(pressure, "MPa", force, stiffness)))
        else:
            allowed = force * (1.6 * strength / pressure) ** 3
            beyond = (allowed,) if pressure > 1.6 * strength else ()
            row = most(pressure, 1.6 * strength, "MPa", force, stiffness, *beyond)
            rows.append((name, lacking(row, bool(beyond))))
    return rows
