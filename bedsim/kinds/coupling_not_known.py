"""A coupling that nobody looked at: from the softest kind to the stiffest."""

from __future__ import annotations

from bedsim.registry import CouplingKind, Default

_ANY = "assumed: from the softest helical to the stiffest rigid one"

KIND = CouplingKind(
    name="not_known",
    sentence="any of them",
    defaults={
        "radial_n_per_um": Default(0.046, 0.6, 500.0, _ANY),
        "tilt_nm_per_rad": Default(0.28, 5.0, 2000.0, _ANY),
        "axial_n_per_um": Default(0.006, 0.1, 400.0, _ANY),
    },
)
