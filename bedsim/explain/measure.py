"""How a key is measured: by the recipe that gives it, else with what measures its unit."""

from __future__ import annotations

from bedsim.metrology import recipes
from bedsim.metrology.runout_keys import SIZE_KEYS
from bedsim.metrology.stiffness_fit import DIRECTIONS, PLACES, key_of_loop
from bedsim.scenario.keys import unit_of

GIVEN_BY_CORD = ("nut.drag_torque_n_mm", "motor.detent_torque_n_m")
GIVEN_BY_TAP = ("damping.ratio",)

INSTRUMENTS = {
    "mm": "ruler or calliper",
    "um": "dial gauge, 0.01 mm or better",
    "kg": "kitchen or luggage scale",
    "N": "luggage scale on a cord",
    "N/um": "luggage scale and dial gauge: push and pull",
    "N/mm": "luggage scale and ruler or dial gauge",
    "deg": "protractor, or marks on the screw",
    "GPa": "the material's data sheet",
    "MPa": "the material's data sheet",
    "kg/m3": "the material's data sheet, or weigh and measure a piece",
    "N m/rad": "pull with a lever, read the tilt with two dial gauges; or the maker's data sheet",
    "N m": "the maker's data sheet",
    "N mm": "weight on a cord over a known radius",
    "g cm2": "the maker's data sheet",
    "kg cm2": "computed from mass and size",
    "mm/s": "the setting of the machine's controller",
    "mm/s2": "the setting of the machine's controller",
    "mm/s3": "the setting of the machine's controller",
    "K": "thermometer",
    "s": "stopwatch",
    "min": "stopwatch, or the slicer's estimate",
    "h": "count of the machine",
    "T": "the magnet's data sheet",
    "N s/m": "push at known speed, or fit from a tap",
}
"""By unit, where no recipe gives the key: common practice, no source."""


def recipe_of(key: str) -> str:
    """The name of the recipe that gives a key, or ""."""
    last = key.rpartition(".")[2]
    if key in GIVEN_BY_CORD:
        return "cord"
    if key in GIVEN_BY_TAP:
        return "decay"
    if key in recipes.HEIGHT_KEYS:
        return "heights"
    if key.startswith("screw.run_out.") and (
        last in SIZE_KEYS.values() or last.removesuffix("_deg") in SIZE_KEYS or last == "table"
    ):
        return "run-out"
    loops = (key_of_loop(place, direction) for place in PLACES for direction in DIRECTIONS)
    return "stiffness" if key in {f"{one[0]}.{one[1]}" for one in loops if one is not None} else ""


def how_to_measure(key: str) -> str:
    """One sentence: which recipe, or which instrument."""
    name = recipe_of(key)
    if name:
        way = "gauge" if name in recipes.OF_GAUGE else "learn"
        title = recipes.recipe(name).splitlines()[0].lstrip("# ")
        return f"{title}: `bedsim {way} --recipe {name}`."
    tool = INSTRUMENTS.get(unit_of(key), "")
    return f"{tool[0].upper()}{tool[1:]}." if tool else "Read it off the part, its data sheet or the setting."
