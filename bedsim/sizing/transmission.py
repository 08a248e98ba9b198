"""The tug of war: how much of a screw's run-out reaches the carriage."""

from __future__ import annotations

import math

from bedsim.sizing.ends import Ends


def screw_lateral_stiffness(
    *, youngs_modulus: float, root_diameter: float, free_length: float, nut_height: float, ends: Ends
) -> float:
    """Return the lateral stiffness [N/m] of the screw at its nut, `nut_height` [m] above the lower end.

    With z the nut's height, b = L - z: fixed-free 3EI/z^3; supported-supported 3EIL/(z^2 b^2);
    fixed-supported 12EIL^3/(z^3 b^2 (3L + b)); fixed-fixed 3EIL^3/(z^3 b^3).
    Source: [Roark] table of straight beams; [Shigley] table A-9.
    Limits: rigid bearings, slender, no axial load; z and b are kept above one root diameter.
    """
    EI = youngs_modulus * math.pi / 64.0 * root_diameter**4
    L = free_length
    z = min(max(nut_height, root_diameter), L - root_diameter)
    b = L - z
    return {
        "fixed-free": 3.0 * EI / z**3,
        "supported-supported": 3.0 * EI * L / (z**2 * b**2),
        "fixed-supported": 12.0 * EI * L**3 / (z**3 * b**2 * (3.0 * L + b)),
        "fixed-fixed": 3.0 * EI * L**3 / (z**3 * b**3),
    }[ends]


def transmitted_rigid(run_out: float, screw: float, guide: float) -> float:
    """Return how far [m] a nut bolted to its carriage is pushed: e k_screw/(k_screw + k_guide).

    Source: two springs in series, the run-out imposed between them.  Limits: one corner alone, slow turning.
    """
    return run_out * screw / (screw + guide)


def transmitted_by_joint(
    run_out: float, *, breakaway_stiffness: float, recentring: float, friction: float, guide: float
) -> float:
    """Return how far [m] a carriage behind a free joint is pushed.

    min((k_b + k_r) e/(k_b + k_r + k_g), (F_c + k_r e)/(k_g + k_r)): below breakaway the joint passes
    everything, beyond it the friction F_c and the recentring spring k_r.
    Source: Jenkins element (elastic-slip) with a spring beside it, quasi-static; derived.
    Limits: one corner alone, stiff screw (the screw's own bending only lowers it).
    """
    stuck = (breakaway_stiffness + recentring) * run_out
    stuck /= breakaway_stiffness + recentring + guide
    return min(stuck, (friction + recentring * run_out) / (guide + recentring))
