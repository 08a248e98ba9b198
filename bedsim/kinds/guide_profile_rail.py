"""A profile rail with recirculating balls."""

from __future__ import annotations

from bedsim.registry import AsChange, Default, GuideKind

_SEALS = "from memory: profile rail 0.002 to 0.004 of the load and 0.1 to 2 N of seal drag"
_BREAKAWAY = (
    "computed: 1.1 to 3.9 um from friction over tangent stiffness of four small blocks; high end assumed"
)

KIND = GuideKind(
    name="profile_rail",
    sentence="profile rail",
    suggested=True,
    rated=True,
    change=AsChange(words="profile rails as guides"),
    defaults={
        "radial_n_per_um": Default(15.0, 40.0, 120.0),
        "tangential_n_per_um": Default(15.0, 40.0, 120.0),
        "tilt_nm_per_rad": Default(500.0, 2000.0, 8000.0),
        "yaw_nm_per_rad": Default(500.0, 2000.0, 8000.0),
        "friction_n": Default(0.2, 1.0, 3.0, _SEALS),
        "breakaway_um": Default(1.0, 5.0, 60.0, _BREAKAWAY),
    },
)
