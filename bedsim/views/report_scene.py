"""The bed at one layer, from above and from the front, and its path: what the report's layer slider moves."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

import numpy as np

from bedsim.results.layers import Array
from bedsim.units import MM, UM
from bedsim.views.report_charts import HATCHES, Ruler, points, sign, thinned
from bedsim.views.report_figures import Seen

WIDE, TALL = 320.0, 300.0
_STEPS = (1, 2, 5)
NOZZLE, LOWEST = 62.0, 240.0
"""Heights in the front view: of the nozzle's tip, and of the bed below a finished print."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """How the bed is drawn: `scale` units per mm about the middle, and how often shift and height error are
    drawn."""

    scale: float
    middle: Array  # (2,) mm
    shift: int
    height: int
    tallest: float  # mm


def scene_of(seen: Seen) -> Scene:
    """The scene of a run; magnifications in steps 1-2-5, so that the largest error is well seen."""
    motion = seen.reported.motion
    place = motion.place[motion.probes :] / MM
    low, high = place.min(axis=0), place.max(axis=0)
    scale = float(min(230.0 / (high[0] - low[0]), 200.0 / (high[1] - low[1])))
    corners = range(motion.probes, motion.probes + 4)
    moved = max(float(np.hypot(*motion.lateral(motion.pose, q).T).max()) for q in corners)
    raised = max(float(np.abs(motion.raised(motion.pose, q)).max()) for q in corners)
    return Scene(
        scale=scale,
        middle=(low + high) / 2.0,
        shift=_times(20.0 / scale * MM, moved, 10_000),
        height=_times(9.0 / scale * MM, raised, 100_000),
        tallest=float(motion.top.max()) / MM,
    )


def _times(wanted: float, there: float, most: int) -> int:
    """The largest of 1, 2, 5, 10, ... that keeps what is there within what is wanted."""
    allowed = [s * 10**d for d in range(6) for s in _STEPS if s * 10**d <= most]
    return max([1, *(m for m in allowed if m * there <= wanted)])


def _plan(scene: Scene, place: Array) -> Array:
    return np.stack(
        [
            WIDE / 2 + (place[..., 0] / MM - scene.middle[0]) * scene.scale,
            TALL / 2 - (place[..., 1] / MM - scene.middle[1]) * scene.scale,
        ],
        axis=-1,
    )


def _closed(place: Array) -> str:
    return points(place[:, 0], place[:, 1]) + "Z"


def above(seen: Seen, k: int, layer: int) -> str:
    """The bed from above: where it should be, where it is, the screws with what each pushes, the probe's
    trail."""
    motion, scene = seen.reported.motion, scene_of(seen)
    m, names = motion.probes, seen.reported.run.layers.corner_name
    probe = seen.reported.run.layers.probe_name.index(seen.wall.probe)
    shift = np.array([motion.lateral(motion.pose, q)[layer] for q in range(m, m + 4)])
    trail = _plan(scene, motion.place[probe] + scene.shift * motion.lateral(motion.pose, probe))
    screws = _plan(scene, motion.place[m + 4 :])
    drawn = "".join(
        f'<circle class="screw" r="7" cx="{x:.1f}" cy="{y:.1f}"/>'
        f'<text class="tick mid halo" x="{x:.1f}" '
        f'y="{y + (20 if y > TALL / 2 else -12):.1f}">{escape(n)}</text>'
        for (x, y), n in zip(screws, names, strict=True)
    )
    arrows = "".join(
        f'<path class="arrow {HATCHES[i]}" id="r{k}-arrow{i}" d="{arrow(screws[c], push)}"/>'
        for i, c, push in (
            (i, c, scene.shift * scene.scale / MM * motion.lateral(pose, m + 4 + c)[layer] * (1, -1))
            for i, (pose, c) in enumerate(zip(motion.parts.values(), motion.corner_of, strict=True))
            if c >= 0
        )
    )
    dot = trail[layer]
    label = f"The bed from above at layer {layer + 1}, shift drawn {scene.shift} times"
    return (
        f'<svg viewBox="0 0 {WIDE:g} {TALL:g}" role="img" aria-label="{label}">'
        f'<path class="rest" d="{_closed(_plan(scene, motion.place[m : m + 4]))}"/>'
        f'<path class="plate" id="r{k}-plate" '
        f'd="{_closed(_plan(scene, motion.place[m : m + 4] + scene.shift * shift))}"/>'
        f'<path class="strong" id="r{k}-trail" '
        f'd="{points(*thinned(trail[:, 0], trail[:, 1]))}"/>{drawn}{arrows}'
        f'<circle class="dot" r="4" id="r{k}-here" cx="{dot[0]:.1f}" cy="{dot[1]:.1f}"/>'
        f'<text class="tick mid" x="{WIDE / 2:g}" y="{TALL - 4:g}">front</text></svg>'
    )


def arrow(start: Array, push: Array) -> str:
    """Path data of a slender triangle from a place along a push."""
    length = float(np.hypot(*push))
    if length < 0.5:
        return ""
    side = np.array([-push[1], push[0]]) / length * min(3.5, length / 2)
    corners = np.array([start + side, start - side, start + push])
    return _closed(corners)


def front(seen: Seen, k: int, layer: int) -> str:
    """The bed from the front: the nozzle stays, the bed comes down on its screws, the part grows between
    them."""
    motion, scene = seen.reported.motion, scene_of(seen)
    m = motion.probes
    x = _plan(scene, motion.place)[:, 0]
    level = bed_level(scene, float(motion.top[layer]) / MM)
    screws = "".join(
        f'<path class="rod" d="M{x[q]:.1f} 24V276"/><rect class="screw" id="r{k}-nut{q - m - 4}" '
        f'width="12" height="14" '
        f'x="{x[q] - 6:.1f}" y="{level + 6:.1f}"/>'
        for q in range(m + 4, len(motion.place))
    )
    height = np.array([motion.raised(motion.pose, q)[layer] for q in range(m, m + 4)])
    up = scene.scale * scene.height / MM
    left, right = level - up * (height[0] + height[3]) / 2, level - up * (height[1] + height[2]) / 2
    return (
        f'<svg viewBox="0 0 {WIDE:g} {TALL:g}" role="img" aria-label="The bed from the front at layer '
        f"{layer + 1}, height "
        f'error drawn {scene.height} times">{screws}'
        f'<path class="part" id="r{k}-part" d="{part_outline(seen, scene, layer)}"/>'
        f'<path class="rest" id="r{k}-level" d="M{x[m]:.1f} {level:.1f}H{x[m + 1]:.1f}"/>'
        f'<path class="bed" id="r{k}-bed" d="M{x[m]:.1f} {left:.1f}L{x[m + 1]:.1f} {right:.1f}"/>'
        f'<path class="nozzle" d="M{WIDE / 2 - 7:g} 30h14v16l-5 {NOZZLE - 46:g}h-4l-5 {46 - NOZZLE:g}z"/>'
        f'<text class="tick" x="{WIDE / 2 + 12:g}" y="42">nozzle, fixed</text></svg>'
    )


def bed_level(scene: Scene, z: float) -> float:
    """Where the bed's surface is drawn below a part of height z (mm)."""
    return NOZZLE + 2.0 + (LOWEST - NOZZLE - 2.0) * z / scene.tallest


def part_outline(seen: Seen, scene: Scene, layer: int) -> str:
    """The part up to a layer, its right side drawn with the wall's relief as often as the shift."""
    wall = seen.wall
    level = bed_level(scene, float(wall.tops[layer]) / MM)
    y = level - (LOWEST - NOZZLE - 2.0) * wall.tops[: layer + 1] / MM / scene.tallest
    out = 205.0 + np.clip(scene.shift * scene.scale / MM * wall.relief[: layer + 1], -40.0, 60.0)
    return f"M115 {level:.1f}H205{points(*thinned(out, y)).replace('M', 'L', 1)}H115Z"


def path_chart(seen: Seen, k: int, probe: int, low: float, high: float) -> str:
    """X against Y (um) of the probe, equal scales from `low` to `high`."""
    layers = seen.reported.run.layers
    x, y = Ruler(low, high, 44.0, 304.0), Ruler(low, high, 268.0, 8.0)
    lines = "".join(
        f'<path class="{"zero" if t == 0 else "grid"}" d="M{float(x.at(np.array(t))):.1f} 8V268M44 '
        f'{float(y.at(np.array(t))):.1f}H304"/>'
        f'<text class="tick mid" x="{float(x.at(np.array(t))):.1f}" y="283">{sign(t)}</text>'
        f'<text class="tick end" x="40" y="{float(y.at(np.array(t))) + 3.5:.1f}">{sign(t)}</text>'
        for t in x.ticks(5)
    )
    path = layers.lateral_error[:, probe] / UM
    layer = int(np.argmax(np.hypot(*path.T)))
    name = escape(layers.probe_name[probe], quote=True)
    return (
        f'<svg viewBox="0 0 {WIDE:g} {TALL:g}" role="img" aria-label="Path of the bed in the plane at '
        f'{name}">{lines}'
        f'<path class="strong" id="r{k}-path" d="{points(*thinned(x.at(path[:, 0]), y.at(path[:, 1])))}"/>'
        f'<circle class="dot" r="4" id="r{k}-pathdot" cx="{float(x.at(path[layer, 0])):.1f}" '
        f'cy="{float(y.at(path[layer, 1])):.1f}"/></svg>'
    )
