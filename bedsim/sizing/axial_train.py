"""Stiffness along the screw: every part in series from motor and thrust bearing to the carriage."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence


def shaft_axial_stiffness(*, youngs_modulus: float, root_diameter: float, loaded_length: float) -> float:
    """Return the stiffness [N/m] of a shaft held axially at one end, nut at `loaded_length` [m].

    k = A E / L.  Source: [MEEN7960] sheet 26; [THK-A] axial rigidity.
    """
    return youngs_modulus * _area(root_diameter) / loaded_length


def shaft_torsional_stiffness(*, shear_modulus: float, root_diameter: float, loaded_length: float) -> float:
    """Return the torsional stiffness [N m/rad] of the shaft from coupling to nut.

    k = G J_p/L, J_p = pi d^4/32.  Source: [Shigley] section 3-12.
    """
    return shear_modulus * math.pi / 32.0 * root_diameter**4 / loaded_length


def torsion_seen_axially(torsional_stiffness: float, lead: float) -> float:
    """Return the axial stiffness [N/m] that a torsional spring [N m/rad] gives through the lead [m].

    k = k_phi (2 pi/lead)^2.  Source: energy balance; [Varanasi2004] uses the same reduction.
    """
    return torsional_stiffness * (2.0 * math.pi / lead) ** 2


def series(stiffnesses: Sequence[float]) -> float:
    """Return the stiffness of springs in series: 1/k = sum of 1/k_i; an infinite one adds nothing."""
    return 1.0 / sum(1.0 / k for k in stiffnesses)


def compliance_shares(parts: Mapping[str, float]) -> dict[str, float]:
    """Return for each part [N/m] its share (0 to 1) of the train's whole compliance."""
    total = series(list(parts.values()))
    return {name: total / k for name, k in parts.items()}


def axial_frequency(stiffness: float, mass: float) -> float:
    """Return the frequency [Hz] of a mass [kg] on the train [N/m]: sqrt(k/m)/(2 pi).

    Limits: one corner alone, screw and rotor held; the machine's modes differ.
    """
    return math.sqrt(stiffness / mass) / (2.0 * math.pi)


def _area(diameter: float) -> float:
    return math.pi / 4.0 * diameter**2
