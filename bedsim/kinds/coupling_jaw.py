"""Two jaws with an elastic spider between them."""

from __future__ import annotations

from bedsim.registry import AsChange, CouplingKind, Default

_SPIDER = "from memory: hubs of 25 to 30 mm, spider 80 to 98 Shore A"

KIND = CouplingKind(
    name="jaw",
    sentence="jaw with elastic spider",
    change=AsChange(words="jaw couplings"),
    twist=Default(10.0, 40.0, 120.0, _SPIDER),
    defaults={
        "radial_n_per_um": Default(0.1, 0.4, 0.8, _SPIDER),
        "tilt_nm_per_rad": Default(1.0, 5.0, 20.0),
        "axial_n_per_um": Default(0.3, 1.0, 5.0),
    },
)
