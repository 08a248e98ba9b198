"""One beam cut as a helix."""

from __future__ import annotations

from bedsim.registry import AsChange, CouplingKind, Default

_HELIX = (
    "computed: one beam of aluminium, outside 19 to 25 mm, bore 10 to 8, 1.2 to 2.5 mm thick, 4 to 2.5 turns"
)
_TWIST = "computed: a beam of aluminium, outside 19 to 25 mm; one read: 68.75"

KIND = CouplingKind(
    name="helical",
    sentence="helical (slit) beam",
    change=AsChange(words="helical couplings"),
    twist=Default(3.4, 17.0, 67.0, _TWIST),
    defaults={
        "radial_n_per_um": Default(0.046, 0.18, 0.83, _HELIX),
        "tilt_nm_per_rad": Default(0.28, 1.4, 6.5, _HELIX),
        "axial_n_per_um": Default(0.006, 0.026, 0.11, _HELIX),
    },
)
