"""How the two ends of a screw are held: the one vocabulary of buckling and critical speed."""

from __future__ import annotations

from bedsim.components.screw import Ends

#: Roots of the frequency equation of a uniform beam. Source: [Blevins] table 8-1.
BEAM_ROOT: dict[Ends, float] = {
    "fixed-free": 1.875104,
    "supported-supported": 3.141593,
    "fixed-supported": 3.926602,
    "fixed-fixed": 4.730041,
}

#: Buckling load over that of the column with two hinged ends, as screw catalogues round it
#: (exact for fixed-supported: 2.046). Source: [THK-A] sheet A15-30.
COLUMN_FACTOR: dict[Ends, float] = {
    "fixed-free": 0.25,
    "supported-supported": 1.0,
    "fixed-supported": 2.0,
    "fixed-fixed": 4.0,
}
