"""A ball on a flat plate: contact patch, flattening, pressure, stiffness, rolling loss."""

from __future__ import annotations

import math

#: Peak pressure at first yield below the surface, over the softer body's yield stress.
#: Source: [Johnson] section 6.1 (sphere: 1.60 Y, Tresca and von Mises alike, Poisson's ratio 0.3).
FIRST_YIELD_RATIO = 1.6


def contact_modulus(
    modulus_ball: float, poisson_ball: float, modulus_plate: float, poisson_plate: float
) -> float:
    """Return the contact modulus [Pa]: 1/E* = (1 - n1^2)/E1 + (1 - n2^2)/E2.

    Source: [Johnson] section 4.2.
    """
    return 1.0 / ((1.0 - poisson_ball**2) / modulus_ball + (1.0 - poisson_plate**2) / modulus_plate)


def contact_radius(load: float, ball_radius: float, modulus: float) -> float:
    """Return the radius [m] of the contact patch: a = (3 F R/(4 E*))^(1/3).

    Source: [Johnson] section 4.2.  Limits: smooth, elastic, frictionless; patch small against the ball and
    the plate's thickness.
    """
    return (3.0 * load * ball_radius / (4.0 * modulus)) ** (1.0 / 3.0)


def peak_pressure(load: float, ball_radius: float, modulus: float) -> float:
    """Return the pressure [Pa] in the middle of the patch: p0 = 3 F/(2 pi a^2).

    Source: [Johnson] section 4.2.
    """
    return 3.0 * load / (2.0 * math.pi * contact_radius(load, ball_radius, modulus) ** 2)


def normal_stiffness(load: float, ball_radius: float, modulus: float) -> float:
    """Return the stiffness [N/m] of one contact at this load: dF/d(delta) = 2 E* a.

    Source: [Johnson] section 4.2.
    """
    return 2.0 * modulus * contact_radius(load, ball_radius, modulus)


def load_at_pressure(pressure: float, ball_radius: float, modulus: float) -> float:
    """Return the load [N] at which the peak pressure [Pa] is reached: F = pi^3 R^2 p0^3/(6 E*^2).

    Source: [Johnson] section 4.2, solved for the load.
    """
    return math.pi**3 * ball_radius**2 * pressure**3 / (6.0 * modulus**2)


def rolling_loss_coefficient(load: float, ball_radius: float, modulus: float, loss_fraction: float) -> float:
    """Return rolling force over load of a ball between two plates by elastic hysteresis: (3/16) alpha a/R.

    Source: [Johnson] section 9.1 (loss fraction alpha about 0.004 to 0.02 for hard steel, from memory).
    Limits: a lower bound; dirt, roughness and waviness make real plates 10 to 1000 times worse ([JSPE1979]
    measured 1e-5 on lapped steel, handbook rolling arms give 2e-3 to 2e-2).
    """
    return 3.0 / 16.0 * loss_fraction * contact_radius(load, ball_radius, modulus) / ball_radius
