"""What a result must not be read without: limits passed in the run, and what can hurt."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from bedsim.analysis.printed import quantity
from bedsim.model.convert import first_nut, make_screw
from bedsim.model.joint_kind import joint_kind
from bedsim.results.layers import Array, LayerResult
from bedsim.scenario.schema import Scenario
from bedsim.sizing.buckling import critical_load
from bedsim.units import DEG, UM

Sentence = Callable[[str, float], str]
"""(corner, value) -> what to tell."""

LOAD_ANGLE_LIMIT = 30.0 * DEG
"""Electrical; the torque of a stepper peaks at 90 degrees, so 30 already uses half of it.  Our assumption."""

TAIL_LIMIT = 0.1 * UM
"""Neglected motion above this is told; the settling of a layer is judged by the same length."""


def warnings(layers: LayerResult) -> tuple[str, ...]:
    """One sentence per limit that the run has passed and per corner that passed it."""
    found = [
        *_per_corner(layers, np.abs(layers.load_angle).max(axis=0), LOAD_ANGLE_LIMIT, _load_angle),
        *_per_corner(layers, -layers.mount_force.min(axis=0), 0.0, _lift_off),
        *_per_corner(layers, -layers.axial_force.min(axis=0), 0.0, _unloaded),
        *_stops(layers),
    ]
    tail = float(layers.tail_bound.max())
    if tail > TAIL_LIMIT:
        found.append(f"motion of up to {quantity(tail, 'm')} after the last computed instant was neglected.")
    return tuple(found)


def leaning(scenario: Scenario, layers: LayerResult) -> tuple[str, ...]:
    """Screws pressed beyond the load at which they would buckle on their bearings alone: they stand because
    nut, joint and guide hold their tops (a machine in which these do not is refused)."""
    found = []
    for corner, push in zip(scenario.corner, layers.axial_force.max(axis=0), strict=True):
        top = first_nut(scenario, corner.screw)
        low = top + float(layers.commanded_height.min())
        load, _ = critical_load(make_screw(corner), low, top)
        if push > load:
            found.append(_leaning(corner.name, push, load))
    return tuple(found)


def _leaning(corner: str, push: float, load: float) -> str:
    return (
        f"the screw at {corner} carries {quantity(push, 'N')}; on its bearings alone it would buckle under "
        f"{quantity(load, 'N')}: it leans on its nut, which guide and joint must hold upright. A thicker or "
        "shorter screw, or a bearing at its upper end, ends that."
    )


def _per_corner(
    layers: LayerResult, values: Array, limit: float, say: Callable[[str, float], str]
) -> list[str]:
    named = zip(layers.corner_name, values, strict=True)
    return [say(name, float(v)) for name, v in named if v > limit]


def _load_angle(corner: str, angle: float) -> str:
    return (
        f"the motor at {corner} reaches a load angle of {quantity(angle, 'rad')} electrical, above 30°: "
        "little torque is left before it loses steps."
    )


def _lift_off(corner: str, force: float) -> str:
    return f"the mount at {corner} would need a pull of {quantity(force, 'N')}: the bed lifts off there."


def _unloaded(corner: str, force: float) -> str:
    return f"the screw at {corner} is pushed up with {quantity(force, 'N')}: play opens there."


def _stops(layers: LayerResult) -> list[str]:
    lines = []
    for name, hits in zip(layers.corner_name, layers.stop_hit.T, strict=True):
        if hits.any():
            first = int(layers.layer[int(np.argmax(hits))])
            count = int(hits.sum())
            times = "one layer" if count == 1 else f"{count} layers"
            lines.append(f"the joint at {name} uses up its travel in {times}, first in layer {first}.")
    return lines


def cautions(scenario: Scenario) -> tuple[str, ...]:
    """What to keep in mind around the machine; never a statement that it is without danger."""
    lines = [
        "Caution: a prediction is an aid to judgement and no proof. A bed can fall or be driven back when "
        "its motors lose current: secure it before working under it."
    ]
    jointed = any(not joint_kind(c.joint.kind).bolted for c in scenario.corner)
    listed = jointed and scenario.sizing is not None and scenario.sizing.joint_part.magnet
    if listed or any(c.joint.magnet_force_n > 0 or c.mount.magnet_force_n > 0 for c in scenario.corner):
        lines.append(
            "Caution: magnets lose pull when hot or pulled off centre, and let go without warning; they "
            "pinch fingers and disturb medical implants."
        )
    if scenario.bed.temperature_rise_k > 0:
        lines.append(
            "Caution: a hot bed burns, and runs away when sensor or switch fails: give it a thermal fuse of "
            "its own. Mains voltage at a heater kills: earth the bed, and leave the wiring to those licensed "
            "for it."
        )
    lines.append("Local codes and the advice of licensed practitioners come before anything printed here.")
    return tuple(lines)


def one_caution(lines: Sequence[str]) -> str:
    """Cautions as one paragraph."""
    first, *others = lines
    return " ".join([first, *(_begun(text.removeprefix("Caution: ")) for text in others)])


def _begun(text: str) -> str:
    return text[:1].upper() + text[1:]
