"""A rolled ball screw: borne as a ground one, its nut softer and without preload."""

from __future__ import annotations

from bedsim.kinds.screw_ground_ball import BEARINGS, FRICTION, IDLE, root_mm
from bedsim.registry import Default, ScrewKind

_NUT = (
    "computed: 20 kgf/um of a 16 x 5 catalogue nut, taken at 30 % of its load rating, 80 % of it for the "
    "housing (THK), scaled with the cube root of load down to 10 to 1000 N"
)

KIND = ScrewKind(
    name="rolled_ball",
    sentence="a rolled ball screw",
    suggested=True,
    words="ball, rolled",
    rolls=True,
    root=root_mm,
    defaults=BEARINGS,
    nut={
        "axial_n_per_um": Default(25.0, 40.0, 120.0, _NUT),
        "drag_torque_n_mm": Default(1.0, 5.0, 20.0),
        "friction_coefficient": FRICTION,
    },
    idle=IDLE,
)
