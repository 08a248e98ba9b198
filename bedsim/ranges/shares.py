"""What each cause and each corner contributes to a run, and what is left to friction and vibration."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from bedsim.analysis.linear_machine import has_play, linear_machine, own_imposed, poses, without_play
from bedsim.analysis.metrics import lateral_peak_to_valley, objects, peak_to_valley
from bedsim.analysis.objects import Walls, largest
from bedsim.analysis.summary import Shares
from bedsim.engines import base
from bedsim.results.layers import Array, Run
from bedsim.scenario.load import LoadedScenario
from bedsim.simulation import make_job, relative_errors
from bedsim.wall.bands import REMAINDER, Source

WHOLE_MACHINE = "all"
PART: Source = ("weight of the growing part", WHOLE_MACHINE)

Sources = dict[Source, tuple[Array, Array]]
"""Lateral (n, p, 2) and height (n, p) errors (m) that every (cause, corner) makes alone."""


def source_layers(loaded: LoadedScenario) -> Sources:
    """Lateral (n, p, 2) and height (n, p) errors (m) that every (cause, corner) makes alone, layer by layer.

    Those of `source_errors`, with nuts that have play taken as fitting: without that they would
    pass nothing on.  They add up to the machine without friction, stops and play.
    """
    return source_errors(without_play(loaded))


def source_errors(loaded: LoadedScenario) -> Sources:
    """Lateral (n, p, 2) and height (n, p) errors (m, against layer 1) that every (cause, corner) makes
    alone."""
    job, poses = source_poses(loaded)
    errors = relative_errors(job, np.arange(1, job.program.layers + 1), np.stack([*poses.values()]))
    lateral, height = errors["lateral_error"], errors["height_error"]
    return {source: (lateral[k], height[k]) for k, source in enumerate(poses)}


def source_poses(loaded: LoadedScenario) -> tuple[base.Job, dict[Source, Array]]:
    """Poses of the bed (n, b) that every (cause, corner) makes alone, and the job they belong to.

    The linear machine superposes: without friction, stops and vibration the entries add up to the whole.
    The weight of the growing part is an entry of its own.  Derivation: K q = weight + F imposed, with imposed
    linear in the strengths; between solved heights `linear_machine` interpolates.
    """
    job = make_job(loaded)
    groups = _groups(job)
    strengths = np.zeros((len(groups) + 1, job.machine.amounts.size))
    for member, members_sources in enumerate(groups.values(), start=1):
        strengths[member, members_sources] = job.machine.amounts[members_sources]
    linear = linear_machine(replace(job, amounts=strengths))
    pose = poses(linear, own_imposed(linear))
    weight_only = pose[0]
    return job, {PART: weight_only} | {s: pose[k] - weight_only for k, s in enumerate(groups, start=1)}


def _groups(job: base.Job) -> dict[Source, list[int]]:
    """Numbers of the sources that this machine has, by cause and corner."""
    names = job.machine.corner_names
    groups: dict[Source, list[int]] = {}
    for k in job.machine.active_sources:
        source = job.machine.sources[k]
        groups.setdefault((source.cause, names[source.corner]), []).append(k)
    return groups


def share_note(loaded: LoadedScenario) -> str:
    """A sentence on what the shares are shares of."""
    text = (
        "Shares: each cause alone in the machine without friction and vibration; layer by layer they add up, "
        "their peak-to-valleys do not"
    )
    if any(has_play(c.screw.kind, c.nut.clearance_um) for c in loaded.scenario.corner):
        text += "; the nuts' radial play is left out: shares of the machine without play"
    return text + "."


def shares_of(run: Run, sources: Mapping[Source, tuple[Array, Array]]) -> Shares:
    """Peak-to-valley of height and lateral error (m, worst probe and object) that each (cause, corner) makes
    alone.

    What the run has beyond the sum of all is the entry "friction and vibration"; it holds stops and play too.
    Corner "" stands for the whole machine.
    """
    walls = objects(run.layers.print_height)
    found = {
        (cause, "" if corner == WHOLE_MACHINE else corner): _extents(lateral, height, walls)
        for (cause, corner), (lateral, height) in sources.items()
    }
    lateral = run.layers.lateral_error - sum(parts[0] for parts in sources.values())
    height = run.layers.height_error - sum(parts[1] for parts in sources.values())
    found[REMAINDER[0], ""] = _extents(lateral, height, walls)
    return found


def _extents(lateral: Array, height: Array, walls: Walls) -> tuple[float, float]:
    return (
        float(largest(peak_to_valley, height, walls).max()),
        float(largest(lateral_peak_to_valley, lateral, walls).max()),
    )
