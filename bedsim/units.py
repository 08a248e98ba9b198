"""The only conversion factors: multiply a number in the named unit by the factor to get SI."""

import math

MM = 1e-3
UM = 1e-6
INCH = 25.4e-3  # international inch of 1959, exact
LENGTHS = {"um": UM, "mm": MM, "thou": INCH * 1e-3, "inch": INCH}
"""Units of length that a name may end in."""
DEG = math.pi / 180.0
N_PER_UM = 1e6
N_PER_MM = 1e3
N_MM = 1e-3
GPA = 1e9
MPA = 1e6
G_CM2 = 1e-7
KG_CM2 = 1e-4
MM_S = 1e-3
MM_S2 = 1e-3
MM_S3 = 1e-3
MINUTE = 60.0
GRAVITY = 9.80665  # m/s2, standard acceleration of gravity (BIPM SI brochure)
