"""Bands that no screw makes, told by the period at which they come back."""

from __future__ import annotations

from dataclasses import dataclass

from bedsim.analysis.metrics import wall_wavelength
from bedsim.sizing.layer_heights import Train, friendly, layer_heights


@dataclass(frozen=True, slots=True, kw_only=True)
class OutsideCause:
    """A cause outside the model, with the wavelength (m) it would leave on this print; None: a number is
    missing.
    """

    name: str
    repeats: str  # what it is periodic in
    wavelength: float | None
    how_to_tell: str


def outside_causes(
    *,
    layer_height: float,
    seconds_per_layer: float,
    lead: float,
    steps_per_turn: int,
    gear_ratio: float = 1.0,
    microsteps: int = 16,
    heater_seconds: float | None = None,
    extruder_volume_per_turn: float | None = None,
    volume_per_layer: float | None = None,
) -> tuple[OutsideCause, ...]:
    """Causes outside the model with their wavelength on the wall, as the layers sample it; SI.

    Heater: h T/t_layer.  Extruder: h V_turn/V_layer.  Motor: lead/gear ratio.  Detent: four full steps of
    lead/steps/gear. Derivation: the print grows by h while t_layer passes and V_layer is extruded.
    """
    h = layer_height

    def seen(period: float | None) -> float | None:
        return None if period is None else wall_wavelength(period, h)

    heater = None if heater_seconds is None else h * heater_seconds / seconds_per_layer
    known = extruder_volume_per_turn is not None and volume_per_layer is not None
    extruder = h * extruder_volume_per_turn / volume_per_layer if known else None  # type: ignore[operator]
    train = Train(lead=lead, steps_per_turn=steps_per_turn, microsteps=microsteps, gear_ratio=gear_ratio)
    suited = friendly(layer_heights(train, h, {}))
    periods = (heater, extruder, lead / gear_ratio, 4.0 * train.full_step, None)
    return tuple(
        OutsideCause(
            name=name, repeats=repeats, wavelength=seen(period), how_to_tell=how.format(suited=suited)
        )
        for (name, repeats, how), period in zip(CAUSES, periods, strict=True)
    )


CAUSES = (
    (
        "heater of bed or nozzle switching",
        "time",
        "print at half speed: the bands halve their wavelength, those of screws stay.",
    ),
    (
        "extruder drive out of round",
        "extruded volume",
        "print a part of twice the section: the bands halve their wavelength, those of screws stay.",
    ),
    (
        "pulley or gear between Z motor and screw",
        "turns of the motor",
        "with one motor turn per screw turn it cannot be told from the screw by its period: move the "
        "motor by a tooth against the screw and see whether the bands follow.",
    ),
    (
        "motor detent and uneven microsteps",
        "four full steps of the motor",
        "choose a layer height that is a multiple of four full steps, {suited}: the bands go.",
    ),
    (
        "pulley or gear of the X or Y drive",
        "turns of the X or Y motor",
        "it repeats along X or Y and leaves upright stripes, the same in every layer, not level bands.",
    ),
)
"""Name, what it is periodic in, how to tell it."""


def near(cause: OutsideCause, wavelength: float, tolerance: float = 0.1) -> bool:
    """Whether bands of a wavelength (m) could come from the cause, to the given relative tolerance."""
    return cause.wavelength is not None and abs(cause.wavelength / wavelength - 1.0) <= tolerance
