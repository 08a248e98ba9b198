"""How dial-gauge readings were taken: what holds the screw, where the gauge stands, what it resolves."""

from __future__ import annotations

import dataclasses
import difflib
import math
from dataclasses import dataclass
from typing import Any

from bedsim.errors import InputError
from bedsim.units import DEG, LENGTHS, UM

# Standard uncertainty [m] that each way of holding adds to an offset: error motion of bearings and centres,
# lobes of the thread's crest on V-blocks.  Our assumption, wide on purpose; support_uncertainty_um takes
# your own.
SETUPS = {"nut": 1 * UM, "bearings": 3 * UM, "centres": 3 * UM, "v-block": 8 * UM}
SETUP_TEXT = {
    "nut": "gauge on the nut, the nut held from turning, in the machine's own bearings",
    "bearings": "gauge on the thread's crest, in the machine's own bearings",
    "centres": "gauge on the thread's crest, between centres",
    "v-block": "gauge on the thread's crest, on two V-blocks",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """How the readings were taken; lengths [m], angles [rad].

    `how`: nut, bearings, centres or v-block.  `free_end`: in the machine the upper end is not held;
    `clamped`: there an end is held against tilting too (None: not known), which bends a bent screw anew.
    `resolution`, `repeatability` of the gauge (a division's worth, and the standard deviation of repeated
    readings).  `gauge`: direction from the screw to the gauge, counter-clockwise from +X.  Angles are
    turns of the screw from its clocking zero, counter-clockwise from above; with `marks` those of marks
    around the screw that stand under the gauge.  `lead`, `right_hand`, `zero`: turn jog distances into
    angles; `zero` is the nut position at the clocking zero.  `supports`, `v_angle`: places and included
    angle of the V-blocks.
    """

    how: str = "nut"
    length: float | None = None
    free_end: bool = False
    clamped: bool | None = None
    diameter: float | None = None
    lead: float | None = None
    right_hand: bool = True
    zero: float | None = None
    gauge: float = 0.0
    marks: bool = False
    resolution: float = 10 * UM
    repeatability: float = 3 * UM
    support_uncertainty: float | None = None
    supports: tuple[float, float] | None = None
    v_angle: float = 90 * DEG

    @property
    def measured(self) -> str:
        """How a scenario calls it: "mounted" in the machine's own bearings, "free" on the bench."""
        return "mounted" if self.how in ("nut", "bearings") else "free"

    @property
    def reading_uncertainty(self) -> float:
        """Standard uncertainty of one reading: rectangular resolution and repeatability, u^2 = res^2/12 +
        rep^2."""
        return math.sqrt(self.resolution**2 / 12 + self.repeatability**2)

    @property
    def holding_uncertainty(self) -> float:
        """Standard uncertainty that the way of holding adds to an offset."""
        return SETUPS[self.how] if self.support_uncertainty is None else self.support_uncertainty


_NUMBER_KEYS = {"gauge_deg": ("gauge", DEG), "v_angle_deg": ("v_angle", DEG)} | {
    f"{key}_{unit}": (field, LENGTHS[unit])
    for key, field, units in (
        ("length", "length", ("mm", "inch")),
        ("diameter", "diameter", ("mm", "inch")),
        ("lead", "lead", ("mm", "inch")),
        ("zero_position", "zero", ("mm", "inch")),
        ("resolution", "resolution", ("um", "thou", "mm", "inch")),
        ("repeatability", "repeatability", ("um", "thou", "mm", "inch")),
        ("support_uncertainty", "support_uncertainty", ("um", "thou", "mm", "inch")),
    )
    for unit in units
}
_SUPPORTS = {"supports_mm": LENGTHS["mm"], "supports_inch": LENGTHS["inch"]}
_WORD_KEYS: dict[str, tuple[str, dict[str, Any]]] = {
    "setup": ("how", {k: k for k in SETUPS}),
    "ends": ("free_end", {"both": False, "one": True}),
    "clamped": ("clamped", {"yes": True, "no": False}),
    "hand": ("right_hand", {"right": True, "left": False}),
    "angles": ("marks", {"marks": True, "turned": False}),
}


def setup_from(notes: dict[str, str], where: str) -> Setup:
    """Read a Setup from `key = value` notes (the top of a file, or options); InputError lists all faults."""
    fields: dict[str, Any] = {}
    faults = []
    for key, text in notes.items():
        try:
            if key in _NUMBER_KEYS:
                name, factor = _NUMBER_KEYS[key]
                fields[name] = _positive(key, text) * factor
            elif key in _WORD_KEYS:
                name, allowed = _WORD_KEYS[key]
                fields[name] = allowed[text]
            elif key in _SUPPORTS:
                first, second = sorted(float(v) * _SUPPORTS[key] for v in text.replace(",", " ").split())
                fields["supports"] = (first, second)
            elif key not in ("test", "corner"):
                near = difflib.get_close_matches(key, [*_NUMBER_KEYS, *_WORD_KEYS, *_SUPPORTS], n=1)
                hint = f" Did you mean {near[0]}?" if near else ""
                faults.append(f"{where}: {key} = {text}: key not known.{hint}")
        except KeyError:
            faults.append(f"{where}: {key} = {text}: must be one of {', '.join(_WORD_KEYS[key][1])}.")
        except ValueError as error:
            rule = "must be two numbers" if key in _SUPPORTS else str(error)
            faults.append(f"{where}: {key} = {text}: {rule}.")
    if faults:
        raise InputError("\n".join(faults))
    setup = dataclasses.replace(Setup(), **fields)
    _check_setup(setup, where)
    return setup


def assumed(notes: dict[str, str]) -> str:
    """The set-up, resolution and repeatability that hold because `notes` do not give them; may be empty."""
    setup = Setup()
    usual = {
        "setup": setup.how,
        "resolution_um": f"{setup.resolution / UM:g}",
        "repeatability_um": f"{setup.repeatability / UM:g}",
    }
    given = {_field(key) for key in notes}
    return ", ".join(f"{key} = {value}" for key, value in usual.items() if _field(key) not in given)


def _field(key: str) -> str:
    """The field of a `Setup` that a note gives, in whatever unit."""
    return _NUMBER_KEYS[key][0] if key in _NUMBER_KEYS else _WORD_KEYS.get(key, (key, {}))[0]


def _positive(key: str, text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        raise ValueError("must be a number") from None
    any_sign = key.startswith(("gauge_", "zero_position_")) or (value == 0 and "uncertainty" in key)
    if not math.isfinite(value) or (value <= 0 and not any_sign):
        raise ValueError("must be > 0")
    return value


def _check_setup(setup: Setup, where: str) -> None:
    if setup.how == "v-block" and setup.supports is None:
        raise InputError(
            f"{where}: supports_mm: V-block readings need the places of the two blocks, "
            "e.g. supports_mm = 20, 380."
        )
    if setup.supports is not None and setup.supports[0] == setup.supports[1]:
        raise InputError(f"{where}: supports_mm: the two supports must stand apart.")
