"""The drawn part of a report for one run: six columns over the height, the bed at a layer, the path."""

from __future__ import annotations

import base64
import io
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import matplotlib.image
import numpy as np

from bedsim.analysis.metrics import peak_to_valley
from bedsim.number_text import number
from bedsim.results.layers import Array
from bedsim.units import DEG, MM, UM
from bedsim.views.report_charts import (
    FOOT,
    HATCHES,
    LEFT,
    RIGHT,
    TOP,
    Ruler,
    across_axis,
    area,
    column,
    envelope,
    height_axis,
    points,
    stacked,
    thinned,
)
from bedsim.views.report_figures import Seen
from bedsim.views.report_scene import above, front, path_chart
from bedsim.wall.relief import relief_spread, wall_relief
from bedsim.wall.surface import RAKING, contrast, gentle_light, screen_codes

MOST_BANDS = 25
"""More bands over the whole print are a stripe: their envelope is drawn."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scales:
    """Scales of all runs of a page, over all their probes and walls: nothing rescales when one is chosen."""

    z: Ruler  # mm
    relief: Ruler  # um, as the rest
    push: Ruler
    x: Ruler
    y: Ruler
    height: Ruler

    @property
    def plane(self) -> tuple[float, float]:
        """Ends that X and Y share where they are drawn against each other."""
        return min(self.x.low, self.y.low), max(self.x.high, self.y.high)


def half_ranges(seen: Seen) -> Array:
    """Half ranges (n, p, 3) m of X, Y and height; nothing where none are known."""
    layers, kept = seen.reported.run.layers, seen.reported.run.open
    if kept is None:
        return np.zeros((*layers.height_error.shape, 3))
    return np.sqrt(np.nan_to_num(np.maximum(kept.spread[..., [0, 2, 6]], 0.0)))


def common_scales(row: Sequence[Seen]) -> Scales:
    """The scales of a page."""
    z = max(float(s.wall.tops[-1]) for s in row) / MM
    ends: dict[str, list[float]] = {
        "relief": [0.5],
        "push": [0.5],
        "x": [-0.5, 0.5],
        "y": [-0.5, 0.5],
        "h": [0.0],
    }
    for seen in row:
        layers, half, motion = seen.reported.run.layers, half_ranges(seen), seen.reported.motion
        errors = np.concatenate([layers.lateral_error, layers.height_error[..., None]], axis=-1)
        # a range far wider than the answer is cut at the panel's edge
        half = np.minimum(half, 2.0 * np.ptp(errors, axis=(0, 1)))
        for name, k in (("x", 0), ("y", 1), ("h", 2)):
            low, high = errors[..., k] - half[..., k], errors[..., k] + half[..., k]
            ends[name] += [float(low.min()) / UM, float(high.max()) / UM]
        aside = np.hypot(errors[..., 0], errors[..., 1]) + np.hypot(half[..., 0], half[..., 1])
        step = np.abs(np.diff(layers.height_error, axis=0)).max(initial=0.0)
        squeeze = seen.wall.line_width / (2.0 * float(seen.wall.thickness.min())) * float(step)
        ends["relief"].append((float(aside.max()) + squeeze) / UM)
        pushed = max(
            float(sum(np.hypot(*motion.lateral(part, p).T) for part in motion.parts.values()).max())
            for p in range(motion.probes)
        )
        ends["push"].append((pushed + squeeze) / UM)
    reach, push = max(ends["relief"]), max(ends["push"])

    def across(low: float, high: float) -> Ruler:
        room = 0.04 * max(high - low, 1e-3)
        return Ruler(low - room, high + room, LEFT, RIGHT)

    height = ends["h"] + ([-0.1, 0.1] if np.ptp(ends["h"]) < 0.1 else [])
    return Scales(
        z=Ruler(0.0, z, FOOT, TOP),
        relief=across(-reach, reach),
        push=across(-push, push),
        x=across(min(ends["x"]), max(ends["x"])),
        y=across(min(ends["y"]), max(ends["y"])),
        height=across(min(height), max(height)),
    )


def crowded(seen: Seen) -> bool:
    """Whether its bands are too many to be told apart over the whole print."""
    return float(seen.wall.tops[-1]) > MOST_BANDS * turn_of(seen)


def turn_of(seen: Seen) -> float:
    """Height (m) over which the bands of its screws repeat: the longest lead."""
    return max(c.screw.lead_mm for c in seen.reported.loaded.scenario.corner) * MM


def part_reliefs(seen: Seen) -> dict[str, Array]:
    """Relief (n,) m of the wall by cause; with what is the height's own (a part lifts evenly), they add
    up."""
    wall, motion = seen.wall, seen.reported.motion
    p = seen.reported.run.layers.probe_name.index(wall.probe)
    return {
        name: wall_relief(
            motion.lateral(pose, p),
            motion.raised(pose, p),
            normal=wall.normal,
            line_width=wall.line_width,
            layer_height=wall.thickness,
        )
        for name, pose in motion.parts.items()
    }


def run_article(seen: Seen, scales: Scales, k: int, title: str) -> str:
    """The article of run `k`; `title`: heading, empty where there is only one run."""
    probe = seen.reported.run.layers.probe_name.index(seen.wall.probe)
    layer = default_layer(seen)
    head = f'<h3 id="r{k}-title">{escape(title)}</h3>' if title else ""
    label = f' aria-labelledby="r{k}-title"' if title else ""
    figures = [
        _figure(
            "The wall, lit", f'<span id="r{k}-lamp-text">{_lamp_text(seen)}</span>', _lit(seen, scales, k)
        ),
        _figure("Relief of the wall", "outwards right", _relief(seen, scales, k)),
        _figure(
            "Who pushes", f'<span id="r{k}-push-text">{_push_text(seen)}</span>', _pushes(seen, scales, k)
        ),
        *(_figure(*_error(seen, scales, k, axis, probe)) for axis in range(3)),
    ]
    scene = [
        _figure(
            "From above", f'shift drawn <span id="r{k}-mag">1</span> times', above(seen, k, layer), "scene"
        ),
        _figure(
            "From the front",
            f'height error drawn <span id="r{k}-magh">1</span> times, shift as from above',
            front(seen, k, layer),
            "scene",
        ),
        _figure(
            "Path of the bed",
            "X to the right, Y upwards, same scale, µm",
            path_chart(seen, k, probe, *scales.plane),
            "scene",
        ),
    ]
    return (
        f'<article class="run"{label}>{head}<div class="columns">{"".join(figures)}</div>{_legend(seen, k)}'
        f'<div class="scenes">{"".join(scene)}</div></article>'
    )


def default_layer(seen: Seen) -> int:
    """The layer (from 0) that is drawn at first: where the wall stands out most."""
    return int(np.argmax(np.abs(seen.wall.relief - seen.wall.relief.mean())))


def _figure(title: str, note: str, svg: str, kind: str = "column") -> str:
    return f'<figure class="{kind}"><figcaption><b>{title}</b> {note}</figcaption>{svg}</figure>'


def _lamp_text(seen: Seen) -> str:
    return (
        f"lamp {90 - RAKING / DEG:.0f}° off the wall: contrast "
        f"{number(100 * contrast(gentle_light(seen.wall, RAKING)), 2)} %"
    )


def _push_text(seen: Seen) -> str:
    return "by cause, half peak to valley per turn" if crowded(seen) else "by cause, adding up to the line"


def _lit(seen: Seen, scales: Scales, k: int) -> str:
    codes = screen_codes(gentle_light(seen.wall, RAKING))
    drawn = io.BytesIO()
    matplotlib.image.imsave(drawn, codes[::-1, None], cmap="gray", vmin=0.0, vmax=1.0, format="png")
    data = base64.b64encode(drawn.getvalue()).decode("ascii")
    top = float(scales.z.at(seen.wall.tops[-1] / MM))
    image = (
        f'<image id="r{k}-lit" href="data:image/png;base64,{data}" x="{LEFT + 3}" width="{RIGHT - LEFT - 3}" '
        f'y="{top:.1f}" height="{FOOT - top:.1f}" preserveAspectRatio="none"/>'
    )
    foot = f'<text class="tick mid" x="{(LEFT + RIGHT) / 2}" y="{FOOT + 32}">height, mm</text>'
    label = f"Brightness of the wall {seen.judged.place.words} over the height. {seen.judged.sentence}"
    return column(f"r{k}-wall", label, height_axis(scales.z), f"{image}{foot}")


def _relief(seen: Seen, scales: Scales, k: int) -> str:
    kept = seen.reported.run.open
    wall = seen.wall
    p = seen.reported.run.layers.probe_name.index(wall.probe)
    half = (
        np.zeros_like(wall.relief) if kept is None else np.nan_to_num(relief_spread(kept.spread[:, p], wall))
    )
    label = f"Relief of the wall, {number(float(np.ptp(wall.relief)) / UM, 2)} µm peak to valley"
    drawn = curve(
        wall.relief, half, wall.tops, scales.relief, scales.z, turn_of(seen) if crowded(seen) else None
    )
    return column(f"r{k}-relief", label, height_axis(scales.z) + across_axis(scales.relief, "µm"), drawn)


def curve(values: Array, half: Array, tops: Array, x: Ruler, z: Ruler, turn: float | None) -> str:
    """A line with its range (values and half range in m, over heights m); its envelope where `turn` is
    given."""
    y = z.at(tops / MM)

    def at(v: Array) -> Array:
        return np.clip(x.at(v / UM), x.start, x.end)

    low, high = (values, values) if turn is None else envelope(values, tops, turn)
    half = half if turn is None else envelope(half, tops, turn)[1]
    shapes = f'<path class="tint" d="{area(at(low - half), at(high + half), y)}"/>'
    if turn is None:
        return shapes + f'<path class="strong" d="{points(*thinned(at(values), y))}"/>'
    return shapes + f'<path class="strong filled" d="{area(at(low), at(high), y)}"/>'


def _pushes(seen: Seen, scales: Scales, k: int) -> str:
    reliefs, tops, y = part_reliefs(seen), seen.wall.tops, scales.z.at(seen.wall.tops / MM)
    parts, line = list(reliefs.values()), seen.wall.relief
    if crowded(seen):
        ends = [envelope(part, tops, turn_of(seen)) for part in parts]
        parts = [(high - low) / 2.0 for low, high in ends]
        line = np.sum(parts, axis=0)
    shapes = "".join(
        f'<path class="{HATCHES[i // 2]}" d="{_between(low, high, y, scales.push)}"/>'
        for i, (low, high) in enumerate(stacked(parts))
    )
    drawn = f'<path class="sum" d="{points(*thinned(scales.push.at(line / UM), y))}"/>'
    words = ", ".join(f"{n} {number(float(peak_to_valley(r)) / UM, 2)} µm" for n, r in reliefs.items())
    axes = height_axis(scales.z) + across_axis(scales.push, "µm")
    return column(
        f"r{k}-push",
        f"What each cause adds to the relief, peak to valley: {words}",
        axes,
        f'<g class="stack">{shapes}</g>{drawn}',
    )


def _between(low: Array, high: Array, y: Array, x: Ruler) -> str:
    """The area between two edges (m), where they are apart; nothing where they are nowhere."""
    if float(np.max(high - low)) < 1e-3 * UM:
        return ""
    return area(np.clip(x.at(low / UM), x.start, x.end), np.clip(x.at(high / UM), x.start, x.end), y)


_ERRORS = (
    ("Sideways, X", "right is positive", "x"),
    ("Sideways, Y", "back is positive", "y"),
    ("Height", "nearer the nozzle is positive", "h"),
)


def _error(seen: Seen, scales: Scales, k: int, axis: int, probe: int) -> tuple[str, str, str]:
    title, note, name = _ERRORS[axis]
    layers = seen.reported.run.layers
    errors = layers.height_error if axis == 2 else layers.lateral_error[..., axis]
    x = (scales.x, scales.y, scales.height)[axis]
    turn = turn_of(seen) if crowded(seen) else None
    y = scales.z.at(seen.wall.tops / MM)
    others = ""
    if turn is None:
        thin = "".join(
            points(*thinned(x.at(errors[:, p] / UM), y)) for p in range(errors.shape[1]) if p != probe
        )
        others = f'<path class="thin" d="{thin}"/>'
    drawn = curve(errors[:, probe], half_ranges(seen)[:, probe, axis], seen.wall.tops, x, scales.z, turn)
    extent = number(float(peak_to_valley(errors[:, probe])) / UM, 2)
    label = f"{title} error over the height at {layers.probe_name[probe]}, {extent} µm peak to valley"
    return (
        title,
        note,
        column(f"r{k}-{name}", label, height_axis(scales.z) + across_axis(x, "µm"), others + drawn),
    )


def _legend(seen: Seen, k: int) -> str:
    rows = "".join(
        f'<li><svg class="key" viewBox="0 0 18 12" aria-hidden="true"><rect class="{HATCHES[i]}" width="18" '
        f'height="12"/></svg>{escape(name)} <b '
        f'id="r{k}-part{i}">{number(float(peak_to_valley(relief)) / UM, 2)} µm'
        "</b></li>"
        for i, (name, relief) in enumerate(part_reliefs(seen).items())
    )
    return f'<ul class="legend" aria-label="Causes, peak to valley of the relief of each alone">{rows}</ul>'
