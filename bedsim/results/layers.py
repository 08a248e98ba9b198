"""The outcome of one run, layer by layer, in SI; names are those of the result file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """Time history of one layer, from the start of its layer change.

    `time` (t,) s; `pose` (t, n_bed) bed motion from the commanded pose (m, rad); `height` (t, probe) and
    `lateral` (t, probe, 2) m, raw; `joint` (t, corner, 2) m nut minus carriage; `load_angle` (t, corner)
    electrical rad; `commanded_height` (t,) m.
    """

    layer: int
    time: Array
    pose: Array
    height: Array
    lateral: Array
    joint: Array
    load_angle: Array
    commanded_height: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerResult:
    """Errors of every layer of one print.

    Axes: layer (n), probe (p), corner (c), axis (x, y), rotation (x, y, z).  `height_error`, `lateral_error`,
    `tilt` and `thickness_error` are relative to the first layer; the `_raw` arrays are not.
    Positive height error: bed nearer the nozzle.  Lateral error is taken at the current top of the part.
    """

    layer: NDArray[np.int64]  # (n,) 1, 2, ...
    print_height: Array  # (n,) m, top of the part after the layer
    commanded_height: Array  # (n,) m, z_cmd of the bed against layer 1 (0, -h, -2h, ...)
    nut_position: Array  # (n, c) m above the lower end of the screw's free length
    probe_name: tuple[str, ...]
    probe_position: Array  # (p, 2) m
    corner_name: tuple[str, ...]
    corner_position: Array  # (c, 2) m
    height_error: Array  # (n, p) m
    lateral_error: Array  # (n, p, 2) m
    height_raw: Array  # (n, p) m
    lateral_raw: Array  # (n, p, 2) m
    pose_raw: Array  # (n, b) bed tx ty tz (m) wx wy wz (rad), then twist shapes (m)
    tilt: Array  # (n, 3) rad
    thickness_error: Array  # (n, p) m, first layer 0
    residual_height: Array  # (n, p) m, peak vibration when printing starts
    residual_lateral: Array  # (n, p) m
    settle_time: Array  # (n,) s from the end of the motion until all probes stay within 0.1 um
    joint_excursion: Array  # (n, c) m, largest in the layer
    side_force: Array  # (n, c) N, largest lateral force between carriage and guide
    load_angle: Array  # (n, c) electrical rad, largest
    mount_force: Array  # (n, c) N, smallest vertical force (negative would be lift-off); NaN where bolted
    axial_force: Array  # (n, c) N, smallest load hanging on the screw
    stop_hit: NDArray[np.bool_]  # (n, c) joint travel used up
    tail_bound: Array  # (n,) m, bound of motion neglected after the last computed instant
    trace: tuple[Trace, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """A finished run: the scenario as written and as resolved, who solved it, and the layers."""

    layers: LayerResult
    # text of the file (with overrides appended as comments), or of the resolved scenario
    scenario_source: str
    scenario_resolved: str  # TOML of the complete scenario
    engine: str
    solver_message: str
    seed: int
    created: str  # ISO 8601, UTC
    program_version: str
    tables: Mapping[str, Array] = field(
        default_factory=dict
    )  # CSV tables by the path as written, see the loader
    statistics: dict[str, float] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
