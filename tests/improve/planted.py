"""Invented machines, drawn over the ranges of all that is not known, with one flaw planted in each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bedsim.errors import BedsimError
from bedsim.improve.answers import answer
from bedsim.improve.unusual import unusual
from bedsim.ranges.draws import Draw
from bedsim.scenario.load import LoadedScenario

HARMFUL = 1.1
"""A planted flaw counts where it makes an error larger by this factor: others there is nothing to find of."""


@dataclass(frozen=True)
class Flaw:
    """A key spoilt at one corner (or all): times a factor of the end of its usual range, or set."""

    key: str
    factor: float = 1.0
    value: float | None = None
    everywhere: bool = False


OUTSIDE = (
    Flaw("guide.tilt_nm_per_rad", 0.25),
    Flaw("frame.tangential_n_per_um", 0.3),
    Flaw("frame.rotation_nm_per_rad", 0.3),
    Flaw("frame.vertical_n_per_um", 0.25),
    Flaw("mount.vertical_n_per_um", 0.25),
    Flaw("screw.bearing_axial_n_per_um", 0.2),
    Flaw("nut.axial_n_per_um", 0.2),
    Flaw("guide.height_mm", value=-120.0, everywhere=True),
    Flaw("screw.run_out.bow_tir_um", value=900.0),
    Flaw("screw.run_out.eccentricity_tir_um", value=200.0),
    Flaw("screw.travel.slope_um_per_300mm", value=300.0),
    Flaw("screw.travel.once_per_turn_pv_um", value=40.0),
    Flaw("guide.straightness_mm_per_m", value=2.0),
    Flaw("screw.alignment.slope_x_um_per_100mm", value=600.0),
    Flaw("motor.place_error_1_deg", 6.0),
    Flaw("nut.tilt_nm_per_rad", 5.0),
)
WITHIN = (
    Flaw("guide.tilt_nm_per_rad"),
    Flaw("frame.tangential_n_per_um"),
    Flaw("frame.rotation_nm_per_rad"),
    Flaw("frame.vertical_n_per_um"),
    Flaw("mount.vertical_n_per_um"),
    Flaw("screw.bearing_axial_n_per_um"),
    Flaw("nut.axial_n_per_um"),
    Flaw("guide.height_mm", value=-68.0, everywhere=True),
    Flaw("screw.run_out.bow_tir_um", value=290.0),
    Flaw("motor.place_error_1_deg"),
)


def drawn(loaded: LoadedScenario, number: int) -> LoadedScenario:
    """A machine drawn over all ranges, its bends turned at random."""
    rng = np.random.default_rng([11, number])
    values = dict(Draw(seed=11, number=number).values(loaded.ranges))
    for corner in loaded.scenario.corner:
        values[f"corner.{corner.name}.screw.run_out.bow_deg"] = float(rng.uniform(0, 360))
    return loaded.with_values(values)


def spoilt(base: LoadedScenario, machine: LoadedScenario, flaw: Flaw, number: int) -> dict[str, float]:
    """Keys and values of the flaw in a machine; its usual range is that of the machine as it was read."""
    rng = np.random.default_rng([12, number])
    names = [c.name for c in machine.scenario.corner]
    places = names if flaw.everywhere else [names[int(rng.integers(len(names)))]]
    value = flaw.value
    if value is None:
        usual = next(r for r in base.ranges if r.key == flaw.key)
        softer = flaw.factor < 1.0 or (flaw.factor == 1.0 and "place_error" not in flaw.key)
        value = flaw.factor * (usual.low if softer else usual.high)
    return {f"corner.{place}.{flaw.key}": value for place in places}


@dataclass(frozen=True)
class Outcome:
    """The flaw, and its place in the list (0 first; None not there)."""

    flaw: Flaw
    place: int | None
    harm: float


def hunt(base: LoadedScenario, flaw: Flaw, number: int) -> Outcome | None:
    """Plant a flaw and look for it; None where it does no harm in this machine or makes none."""
    try:
        machine = drawn(base, number)
        values = spoilt(base, machine, flaw, number)
        sound, flawed = answer(machine), machine.with_values(values)
        ill = answer(flawed)
    except BedsimError:
        return None
    harm = max(ill.lateral / sound.lateral, ill.height / sound.height)
    if harm < HARMFUL:
        return None
    wanted = {k.split(".", 2)[1] for k in values}
    for place, one in enumerate(unusual(flawed, ill)):
        if one.back.key == flaw.key and wanted == set(one.back.corners):
            return Outcome(flaw=flaw, place=place, harm=harm)
    return Outcome(flaw=flaw, place=None, harm=harm)
