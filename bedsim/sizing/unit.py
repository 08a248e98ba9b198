"""Units of the rows as printed, each with what one of it is in SI."""

from __future__ import annotations

from typing import NamedTuple

from bedsim import units


class Unit(NamedTuple):
    """A unit's name and one of it in SI."""

    name: str
    si: float


ONE = Unit("", 1.0)
PERCENT = Unit("%", 0.01)
NEWTON = Unit("N", 1.0)
NEWTON_METRE = Unit("N m", 1.0)
N_MM = Unit("N mm", units.N_MM)
N_PER_UM = Unit("N/µm", units.N_PER_UM)
N_PER_MM = Unit("N/mm", units.N_PER_MM)
NM_PER_RAD = Unit("N m/rad", 1.0)
MPA = Unit("MPa", units.MPA)
MPA_M_S = Unit("MPa m/s", units.MPA)
MM = Unit("mm", units.MM)
UM = Unit("µm", units.UM)
MM_PER_M = Unit("mm/m", 1e-3)
MM_S = Unit("mm/s", units.MM_S)
M_S2 = Unit("m/s²", 1.0)
MM_S2 = Unit("mm/s²", units.MM_S2)
DEG = Unit("°", units.DEG)
G_CM2 = Unit("g cm²", units.G_CM2)
HERTZ = Unit("Hz", 1.0)
RPM = Unit("rpm", 1.0 / units.MINUTE)
MM_RPM = Unit("mm rpm", units.MM / units.MINUTE)
HOUR = Unit("h", 3600.0)
