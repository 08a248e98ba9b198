"""Keys for what happens beside the print: power loss, tilting, a shaken frame.

All are optional; `bedsim size` reads them when one of these events is asked for.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from bedsim.scenario.section import Angle, Height, NonNegative, Positive, Section


class PowerLoss(Section):
    """What `bedsim size --power-loss` needs beside the machine; the brake stands in `sizing`."""

    lower_stop_mm: NonNegative | None = None
    """Nut above the lower end of the screw's free length when the bed meets its stop; default: one root
    diameter."""
    creep_mm_s: Positive = 5.0
    """A bed that comes down slower than this is said to creep, a faster one to fall."""
    drag_n_m_s: NonNegative = 0.0
    """Viscous drag torque of each screw per radian a second with the motor off (grease, shorted windings)."""
    longest_s: Annotated[float, Field(gt=0, le=300)] = 20.0
    """How long is computed at most after the power is lost."""


class Tilt(Section):
    """A plane for non-planar printing, for `bedsim size --tilt`: the bed turned about a point that is
    held."""

    about_x_deg: Annotated[float, Field(ge=-30, le=30)] = 0.0
    """Turn about X: positive raises the back of the bed."""
    about_y_deg: Annotated[float, Field(ge=-30, le=30)] = 0.0
    """Turn about Y: positive lowers the right side of the bed."""
    point_x_mm: float = 0.0
    """X of the point that is held at the nozzle."""
    point_y_mm: float = 0.0
    """Y of that point."""
    point_height_mm: Height = 0.0
    """Height of that point above the bed surface."""
    layer: Annotated[int, Field(ge=1)] = 1
    """Layer at whose height the bed is tilted."""
    mount_tilt_deg: Positive | None = None
    """Largest tilt the seat of a mount allows; default: not limited."""


class Disturbance(Section):
    """What shakes the frame while printing, for `bedsim size --shake`."""

    direction_deg: Angle = 0.0
    """Direction of the shaking, counter-clockwise from +X seen from above."""
    acceleration_mm_s2: Positive = 3000.0
    """Acceleration of the gantry while printing."""
    speed_mm_s: Positive | None = 100.0
    """Speed the gantry gains or loses each time; acceleration lasts speed over acceleration."""
    gantry_mass_kg: Positive = 1.0
    """Mass that is accelerated."""
    frame_mass_kg: Positive = 15.0
    """Mass of the frame with all that does not move."""
    frame_hz: Positive | None = None
    """Natural frequency of the frame on its feet in that direction; default: it stands loose, held by
    nothing."""
    frame_damping_ratio: Annotated[float, Field(gt=0, lt=1)] = 0.05
    """Damping ratio of the frame on its feet."""
    history: str | None = None
    """CSV beside the scenario in place of the gantry's numbers: columns time_s, acceleration_mm_s2 (measured
    at the frame) or time_s, force_n (on the frame)."""
    residual_um: Positive = 1.0
    """What may be left of the shaking at the nozzle when printing goes on."""

    @model_validator(mode="after")
    def _pulse_is_not_endless(self) -> Disturbance:
        if self.speed_mm_s is not None and self.speed_mm_s / self.acceleration_mm_s2 > 10.0:
            raise ValueError("speed_mm_s over acceleration_mm_s2 must not exceed 10 s")
        return self
