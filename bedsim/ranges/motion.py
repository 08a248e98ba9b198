"""The bed's motion against layer 1, as a whole and in parts by cause, and what it does at any place."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from bedsim.analysis.linear_machine import without_play
from bedsim.engines import base
from bedsim.ranges.shares import WHOLE_MACHINE, Sources, source_poses
from bedsim.results.layers import Array, Run
from bedsim.scenario.load import LoadedScenario
from bedsim.simulation import PLATE_CORNERS
from bedsim.units import MM

MOST_PARTS = 4
ALL_ELSE = "all else"
ALL = slice(None)


@dataclass(frozen=True, slots=True, kw_only=True)
class BedMotion:
    """Poses (n, b) against layer 1 and maps on them: height (q, b) and lateral (q, 2, b) at q places, lateral
    per metre above the bed.  Places: the probes, the four corners of the plate in turn, the screws.
    """

    place: Array  # (q, 2) m
    probes: int
    height: Array  # (q, b)
    flat: Array  # (q, 2, b)
    abbe: Array  # (q, 2, b)
    top: Array  # (n,) m of the part
    pose: Array  # (n, b)
    parts: Mapping[str, Array]  # the largest causes, then all else, (n, b) each
    corner_of: tuple[int, ...]  # screw of each part, -1 where it belongs to none

    def lateral(self, pose: Array, place: int) -> Array:
        """Lateral errors (n, 2) m at a place, at the top of the part."""
        return np.asarray(pose @ self.flat[place].T + (pose @ self.abbe[place].T) * self.top[:, None])

    def raised(self, pose: Array, place: int) -> Array:
        """Height errors (n,) m at a place."""
        return np.asarray(pose @ self.height[place])


def bed_motion(run: Run, loaded: LoadedScenario, shown: slice = ALL) -> tuple[BedMotion, Sources]:
    """The motion in the layers `shown`, those of one object, with the causes that move it most sideways told
    apart, and the errors that every cause makes alone in all layers at the run's own probes (a result from
    before may have fewer than a run has now).
    """
    job, poses = source_poses(without_play(loaded))
    bed = loaded.scenario.bed
    half = np.array([bed.size_x_mm, bed.size_y_mm]) * MM / 2.0
    probes = run.layers.probe_position
    places = np.concatenate([probes, np.array([*PLATE_CORNERS.values()]) * half, run.layers.corner_position])
    height, flat, abbe = base.probe_maps(job.machine, places)
    zero = job.program.stations.positions(run.layers.layer)
    pose = run.layers.pose_raw - run.layers.pose_raw[zero]
    known = {source: part - part[zero] for source, part in poses.items()}
    whole = BedMotion(
        place=places,
        probes=len(probes),
        height=height,
        flat=flat,
        abbe=abbe,
        top=run.layers.print_height,
        pose=pose,
        parts={},
        corner_of=(),
    )
    sources = {source: _errors(whole, part) for source, part in known.items()}
    there = replace(whole, top=whole.top[shown], pose=pose[shown])
    known = {source: part[shown] for source, part in known.items()}
    ranked = sorted(known, key=lambda s: -_moved(there, known[s]))[:MOST_PARTS]
    names = run.layers.corner_name
    parts = {_name(s): known[s] for s in ranked}
    corner_of = [names.index(s[1]) if s[1] in names else -1 for s in ranked]
    rest = there.pose - sum(parts.values(), start=np.zeros_like(there.pose))
    return replace(there, parts={**parts, ALL_ELSE: rest}, corner_of=(*corner_of, -1)), sources


def _errors(motion: BedMotion, pose: Array) -> tuple[Array, Array]:
    """Lateral (n, p, 2) and height (n, p) errors (m) of a pose at the probes."""
    probes = range(motion.probes)
    lateral = np.stack([motion.lateral(pose, p) for p in probes], axis=1)
    return lateral, np.stack([motion.raised(pose, p) for p in probes], axis=1)


def _name(source: tuple[str, str]) -> str:
    return source[0] if source[1] == WHOLE_MACHINE else f"{source[0]}, {source[1]}"


def _moved(motion: BedMotion, part: Array) -> float:
    return max(float(np.ptp(motion.lateral(part, p), axis=0).max()) for p in range(motion.probes))
