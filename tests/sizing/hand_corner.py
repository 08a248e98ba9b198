"""A corner's numbers and the forces that several rows share: N, mm, s, kg, plain formulas."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
from hand_file import belted, bounds, optional

G = 9.80665  # m/s2, standard gravity (BIPM SI brochure)


def loads_on(places: np.ndarray, weight: float, x: float, y: float) -> np.ndarray:
    """Loads N_i = a + b x_i + c y_i that balance a weight and its two moments: the one answer on three
    supports, and on more that of equal springs, whose shortening is a plane (statics)."""
    ones = np.column_stack([np.ones(len(places)), places])
    return ones @ np.linalg.solve(ones.T @ ones, weight * np.array([1.0, x, y]))


class Corner:
    """One corner's numbers and the forces that several rows share."""

    def __init__(self, m: SimpleNamespace, index: int, side_torque: float) -> None:
        self.m, self.index, self.side = m, index, 1e3 * side_torque  # N mm
        c = m.corner[index]
        self.c, self.name, self.screw, self.nut, self.joint = c, c.name, c.screw, c.nut, c.joint
        s, z = c.screw, m.sizing
        self.plain = s.kind == "plain"
        self.starts = optional(s, "starts", 1)
        self.d2 = (
            s.diameter_mm - s.lead_mm / self.starts / 2  # ISO 2904: d2 = d - P/2
            if self.plain
            else optional(z, "ball_circle_diameter_mm", s.diameter_mm)
        )
        self.flank = math.radians(optional(c.nut, "flank_angle_deg", 0)) if self.plain else 0.0
        self.low, self.likely, self.high = bounds(c.nut.friction_coefficient)
        self.lam = math.atan(s.lead_mm / (math.pi * self.d2))
        places = np.array([[k.x_mm, k.y_mm] for k in m.corner])
        bed, job = m.bed, m.print
        own = loads_on(
            places, bed.mass_kg * G, optional(bed, "centre_x_mm", 0), optional(bed, "centre_y_mm", 0)
        )
        part = loads_on(
            places, job.part_mass_kg * G, optional(job, "part_x_mm", 0), optional(job, "part_y_mm", 0)
        )
        self.bed = own[index], own[index] + part[index]
        hanging = (c.carriage.mass_kg + c.nut.mass_kg) * G - optional(z, "counterweight_n", 0)
        self.first, self.last = self.bed[0] + hanging, self.bed[1] + hanging
        self.load = max(self.first, self.last)
        self.mass = max(self.bed) / G + c.carriage.mass_kg + c.nut.mass_kg
        self.a = m.motion.acceleration_mm_s2 / 1e3  # m/s2: N per kg
        self.push = self.load + self.mass * self.a + c.guide.friction_n  # raising, setting off
        self.top = job.first_layer_nut_mm
        travel = (job.layers - 1) * job.layer_mm + optional(m.motion, "z_hop_mm", 0)
        self.bottom = max(self.top - travel, s.root_diameter_mm)
        self.E, self.Gs = s.youngs_modulus_gpa * 1e3, s.shear_modulus_gpa * 1e3  # N/mm2
        self.area = math.pi * s.root_diameter_mm**2 / 4
        self.I = math.pi * s.root_diameter_mm**4 / 64
        self.gear, self.eta_g = c.motor.gear_ratio, optional(z, "gear_efficiency", 1.0)

    def rho(self, friction: float) -> float:
        """Friction angle of a flank that leans by 15 degrees: tan rho = f/cos(flank) (Shigley)."""
        return math.atan(friction / math.cos(self.flank))

    def raising(self, force: float, friction: float) -> float:
        """N mm at the screw: F d2/2 tan(lambda + rho) (Shigley eq. 8-1) and the nut's drag."""
        return force * self.d2 / 2 * math.tan(self.lam + self.rho(friction)) + self.nut.drag_torque_n_mm

    def lowering(self, acceleration: float) -> float:
        """N mm: F d2/2 tan(rho - lambda) (Shigley eq. 8-2) of what presses while it sinks at an acceleration;
        guide friction carries a part; what must be pulled down is raised against the pull."""
        force = self.load - self.mass * acceleration - self.c.guide.friction_n
        if force < 0:
            return self.raising(-force, self.likely)
        turn = math.tan(self.rho(self.likely) - self.lam)
        return force * self.d2 / 2 * turn + self.nut.drag_torque_n_mm

    def driven_back(self, friction: float) -> float:
        """N mm with which the load turns the screw: F d2/2 tan(lambda - rho)."""
        return self.load * self.d2 / 2 * math.tan(self.lam - self.rho(friction))

    @property
    def inertia(self) -> float:
        """kg mm2 at the screw of screw and rotor; a belt's pulley turns with the screw, its motor's rotor is
        shared."""
        part = self.m.corner[0].motor.rotor_inertia_g_cm2 * 0.1  # g cm2: 1e-3 kg x 100 mm2
        if belted(self.m):
            turning = part / len(self.m.corner) * self.gear**2 + self.m.drive.pulley_inertia_g_cm2 * 0.1
        else:
            turning = part * self.gear**2
        return turning + self.screw_inertia()

    def screw_inertia(self) -> float:
        """kg mm2: rho L pi/32 times the mean of d^4 over a pitch (the polar moment of one figure, turned)."""
        s = self.screw
        density = s.density_kg_m3 * 1e-9
        return density * s.length_mm * math.pi / 32 * self.mean_fourth_power()

    def mean_fourth_power(self) -> float:
        d, root, pitch = (
            self.screw.diameter_mm,
            self.screw.root_diameter_mm,
            self.screw.lead_mm / self.starts,
        )
        if self.plain:
            # half a pitch of ISO 2904's profile: flat at the root, a flank of 15 degrees, flat at the crest
            slope = math.tan(math.radians(15)) / 2
            ground = pitch / 4 + (root - (d - pitch / 2)) * slope
            crest = pitch / 4 + (pitch / 2) * slope
            flank = (crest - ground) * (d**5 - root**5) / (5 * (d - root))
            return (ground * root**4 + flank + (pitch / 2 - crest) * d**4) / (pitch / 2)
        # half circles of radius r into a cylinder: integral of (d - 2 s)^4, s = sqrt(r^2 - z^2), term by term
        r = (d - root) / 2
        powers = (r, math.pi * r**2 / 4, 2 * r**3 / 3, 3 * math.pi * r**4 / 16, 8 * r**5 / 15)
        groove = sum(
            f * d ** (4 - k) * p for k, (f, p) in enumerate(zip((1, -8, 24, -32, 16), powers, strict=True))
        )
        return (groove + (pitch / 2 - r) * d**4) / (pitch / 2)

    @property
    def holding(self) -> float:
        """N mm of the motor's holding torque at the set current; a belt's motor is shared."""
        motor = self.m.corner[0].motor if belted(self.m) else self.c.motor
        share = len(self.m.corner) if belted(self.m) else 1
        return 1e3 * motor.holding_torque_n_m * motor.current_percent / 100 / share

    @property
    def brake(self) -> float:
        return 1e3 * optional(self.m.sizing, "brake_torque_n_m", 0.0)
