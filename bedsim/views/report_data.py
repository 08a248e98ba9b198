"""The numbers that the report's script redraws its charts from, packed into a page: JSON with arrays in
base64."""

from __future__ import annotations

import base64
import json
from collections.abc import Sequence
from typing import Any

import numpy as np

from bedsim.analysis.metrics import evenly_spaced
from bedsim.results.layers import SPREAD_MOMENTS, Array
from bedsim.units import DEG, MM, UM
from bedsim.views.report_charts import Ruler
from bedsim.views.report_figures import Seen
from bedsim.views.report_run import Scales, crowded, default_layer, turn_of
from bedsim.views.report_scene import scene_of
from bedsim.views.report_waves import wall_waves
from bedsim.wall.light import bead_share
from bedsim.wall.surface import RAKING
from bedsim.wall.visibility import Viewing

LAMPS = tuple(range(3, 61))
"""Degrees off the wall at which the lamp can stand."""


def page_data(row: Sequence[Seen], scales: Scales, viewing: Viewing) -> str:
    """The page's numbers as JSON that may stand inside a script element."""
    first = row[0]
    data = {
        "runs": [{**_run(seen), "waves": wall_waves(seen, viewing)} for seen in row],
        "axes": {
            name: _ends(axis)
            for name, axis in (
                ("z", scales.z),
                ("relief", scales.relief),
                ("push", scales.push),
                ("x", scales.x),
                ("y", scales.y),
                ("h", scales.height),
            )
        },
        "plane": [round(v, 4) for v in scales.plane],
        "normal": round(float(np.arctan2(first.wall.normal[1], first.wall.normal[0]) / DEG), 3),
        "words": first.judged.place.words,
        "lamp": round(90.0 - RAKING / DEG),
        "lamps": [LAMPS[0], [round(bead_share((90 - lamp) * DEG), 3) for lamp in LAMPS]],
    }
    return json.dumps(data, separators=(",", ":")).replace("<", "\\u003c")


def _ends(axis: Ruler) -> list[float]:
    return [float(f"{axis.low:.5g}"), float(f"{axis.high:.5g}")]


def _run(seen: Seen) -> dict[str, Any]:
    motion, layers, scene = seen.reported.motion, seen.reported.run.layers, scene_of(seen)
    poses = [motion.pose, *motion.parts.values()]
    n = len(motion.top)
    return {
        "label": seen.reported.label,
        "n": n,
        "layer": default_layer(seen),
        "probe": layers.probe_name.index(seen.wall.probe),
        "probes": list(layers.probe_name),
        "place": [[round(float(v), 4) for v in p / MM] for p in motion.place],
        "maps": [
            [
                [float(f"{v:.8g}") for v in maps]
                for maps in (motion.height[q], *motion.flat[q], *motion.abbe[q])
            ]
            for q in range(len(motion.place))
        ],
        "top": _float32(motion.top / MM),
        "poses": [_int16(pose) for pose in poses],
        "corner": list(motion.corner_of),
        "line": seen.wall.line_width / MM,
        "turn": turn_of(seen) / MM,
        "crowded": crowded(seen),
        "even": evenly_spaced(seen.wall.tops),
        "spread": _spread(seen),
        "scale": round(scene.scale, 6),
        "middle": [round(float(v), 4) for v in scene.middle],
        "mag": [scene.shift, scene.height],
    }


def _float32(values: Array) -> str:
    return base64.b64encode(np.asarray(values, "<f4").tobytes()).decode("ascii")


def _int16(pose: Array) -> list[Any]:
    """Scale of every coordinate, in um and urad, and the coordinates in parts of it, one after the other."""
    scale = np.maximum(np.abs(pose).max(axis=0), 1e-15)
    # rounding up of the scale keeps the largest value from wrapping round
    told = [float(f"{s / UM * (1 + 1e-6):.7g}") for s in scale]
    whole = np.round(pose / UM / np.array(told) * 32767.0).astype("<i2")
    return [told, base64.b64encode(whole.T.tobytes()).decode("ascii")]


def _spread(seen: Seen) -> list[Any] | None:
    """Half ranges as parts of a byte, rounded up, and how they go together: scales (um) of x, y, s, h; per
    probe the
    four half ranges and the correlations of xy, xs, ys."""
    kept = seen.reported.run.open
    if kept is None or not np.isfinite(kept.spread).all():
        return None
    at = {name: kept.spread[..., k] for k, name in enumerate(SPREAD_MOMENTS)}
    half = {name: np.sqrt(np.maximum(at[name * 2], 0.0)) for name in "xysh"}
    scale = {name: max(float(v.max()) / UM, 1e-9) for name, v in half.items()}
    parts = [np.ceil(half[n] / UM / scale[n] * 255.0 - 1e-9).astype(np.uint8) for n in "xysh"]
    for a, b in ("xy", "xs", "ys"):
        both = half[a] * half[b]
        together = np.divide(at[a + b], both, out=np.zeros_like(both), where=both > 0)
        parts.append((np.round(np.clip(together, -1.0, 1.0) * 127.0) + 128.0).astype(np.uint8))
    packed = np.stack(parts).transpose(2, 0, 1)  # probe, kind, layer
    return [
        [float(f"{v:.5g}") for v in scale.values()],
        base64.b64encode(np.ascontiguousarray(packed).tobytes()).decode("ascii"),
    ]
