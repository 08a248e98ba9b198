"""Rolling fatigue of a ball screw: nominal life, mean load, hours at the print's duty, static safety."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

#: Load factor for smooth motion at low speed. Source: usual catalogue range 1.0 to 1.2 below 0.25 m/s, quoted
#: from memory; the upper end is taken.
LOAD_FACTOR = 1.2


def nominal_life_turns(dynamic_rating: float, mean_load: float, load_factor: float = LOAD_FACTOR) -> float:
    """Return the turns that 90 % of like screws survive: L10 = (Ca/(fw Fm))^3 10^6.

    Loads in N.  Source: [ISO3408-5]; [THK-A] nominal life.
    Limits: lubricated, clean, hard races, turning; fretting of a nut that rests on one spot is not in it.
    """
    return (dynamic_rating / (load_factor * mean_load)) ** 3 * 1e6


def cubic_mean_load(loads: Sequence[float], travels: Sequence[float]) -> float:
    """Return the constant load [N] of equal fatigue: (sum F_i^3 s_i/sum s_i)^(1/3).

    Source: [ISO3408-5] mean load; [THK-A] average load.
    """
    weights = np.asarray(travels, dtype=float)
    cubes = np.abs(np.asarray(loads, dtype=float)) ** 3
    return float((cubes @ weights / weights.sum()) ** (1.0 / 3.0))


def turns_per_layer(way: float, lead: float) -> float:
    """Return the turns of the screw for one layer: 2 way/lead, `way` of layer and hops together, m.

    The layer counts twice as the bed goes back up after the print; a hop goes down and up.
    """
    return 2.0 * way / lead


def life_hours(life_turns: float, turns_per_hour: float) -> float:
    """Return the hours [h] of printing in the nominal life."""
    return life_turns / turns_per_hour if turns_per_hour > 0 else math.inf


def static_safety(static_rating: float, largest_load: float) -> float:
    """Return static rating over largest load: s0 = C0a/F.

    Source: [ISO3408-5] and ISO 76 in principle (C0a: lasting dent of 0.0001 ball diameters).
    """
    return static_rating / largest_load
