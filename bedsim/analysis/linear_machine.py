"""The machine without friction, stops and play, for any number of layers.

Stiffness changes slowly and smoothly with height, imperfections change quickly: the machine is solved at few
heights and interpolated, imperfections are taken at every layer.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim import registry
from bedsim.engines import base
from bedsim.engines.base import Chunk, Job, Observer
from bedsim.engines.equilibrium import layer_path
from bedsim.engines.few_heights import moved, nodes_among, weights_of
from bedsim.engines.static import at_rest
from bedsim.model.stations import LayerRun, stations
from bedsim.results.layers import Array
from bedsim.scenario.load import LoadedScenario

FEWEST, MOST, PER_LENGTH = 5, 12, 20.0
"""Heights that are solved: more where the print uses more of the screw's length.  The polynomial between them
departs from solving every layer by less than 1e-3 of the answer (tests/ranges/test_ranges.py)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LinearMachine:
    """Motions per imposed extension, `gain` (k, n, r), and under weight alone, `sag` (k, n), at k heights.

    `weights` (l, k) interpolate them to the layers (l,).
    """

    job: Job
    layers: NDArray[np.int64]
    weights: Array
    gain: Array
    sag: Array
    observer: Observer


def without_play(loaded: LoadedScenario) -> LoadedScenario:
    """The same machine with nuts that fit their threads; itself where no nut has radial play."""
    loose = [c.name for c in loaded.scenario.corner if has_play(c.screw.kind, c.nut.clearance_um)]
    return loaded.with_values({f"corner.{n}.nut.clearance_um": 0.0 for n in loose}) if loose else loaded


def has_play(kind: str, clearance_um: float) -> bool:
    """Whether a nut can move sideways on its screw."""
    return clearance_um > 0 and not registry.screw_kind(kind).rolls


SAMPLED = 160
"""Layers that stand for a tall print: with them the peak-to-valley of a shipped machine over its whole travel
is low by less than 2 % (tests/analysis/test_travel.py)."""
GOLDEN = (5.0**0.5 - 1.0) / 2.0


def sampled_layers(count: int, some: int = SAMPLED) -> NDArray[np.int64]:
    """Layers that stand for a print of `count`: all of a low one; else as many stretches of it, of each a
    layer whose place in the stretch advances by the golden section, so that no band is met at one phase."""
    if count <= some:
        return np.arange(1, count + 1)
    k = np.arange(some)
    place = (k + np.mod(k * GOLDEN, 1.0)) * (count / some)
    return np.unique(np.append([1, count], 1 + place.astype(np.int64)))


def linear_machine(job: Job, layers: NDArray[np.int64] | None = None) -> LinearMachine:
    """Solve the frictionless machine at some heights, for all layers or for some, of which the first is 1.

    K q = weight + F imposed; layer 1 is solved itself (its matrices are taken at the layer, all others half
    a layer above), the rest interpolated by a polynomial through Chebyshev points.  Source: [Berrut2004].
    """
    layers = np.arange(1, job.program.layers + 1) if layers is None else layers
    place = job.program.stations.middle
    nodes = _node_layers(place, _node_count(job))
    system = job.machine.system(nodes)
    job.machine.tell_side_force(job.machine, system)
    rows = job.machine.rows.shape[0]
    solved = at_rest(system, np.eye(rows, rows + 1), np.append(np.zeros(rows), 1.0))
    return LinearMachine(
        job=job,
        layers=layers,
        weights=_weights(place, nodes)[layers - 1],
        gain=solved[:, :, :-1],
        sag=solved[:, :, -1],
        observer=base.make_observer(job.machine, system, job.probes),
    )


def _node_count(job: Job) -> int:
    travel = float(job.program.stations.z.max())
    share = travel / float(np.min(job.machine.first_nut))
    return int(np.clip(FEWEST + round(PER_LENGTH * share), FEWEST, MOST))


def _node_layers(place: Array, nodes: int) -> NDArray[np.int64]:
    """The first layer, and some of the others."""
    return np.append(1, 2 + nodes_among(place[1:], nodes))


def _weights(place: Array, nodes: NDArray[np.int64]) -> Array:
    found = np.zeros((place.size, nodes.size))
    found[0, 0] = 1.0
    found[1:, 1:] = weights_of(place[1:], nodes[1:] - 2)
    return found


def own_imposed(linear: LinearMachine, amounts: Array | None = None) -> Array:
    """Imposed extensions (m, l, r) at the resting places of all layers for strengths (m, s), by default the
    job's own."""
    job = linear.job
    return job.machine.imposed(layer_path(job, linear.layers), job.amounts if amounts is None else amounts)


def motions(linear: LinearMachine, imposed: Array, *, weight: bool = True) -> Array:
    """Motions (m, l, n) under imposed extensions (m, l, r), with the weight or without."""
    return moved(linear.weights, linear.gain, linear.sag if weight else None, imposed)


def poses(linear: LinearMachine, imposed: Array, *, weight: bool = True) -> Array:
    """Bed poses (m, l, b) under imposed extensions (m, l, r)."""
    bed = linear.observer.bed
    return moved(linear.weights, bed @ linear.gain, linear.sag @ bed.T if weight else None, imposed)


def chunk_at_rest(
    layers: NDArray[np.int64], observer: Observer, q: Array, imposed: Array, travel: Array
) -> Chunk:
    """Resting motions (m, l, n) as an engine would report them, without vibration.

    The axial stiffness is that of the observer's first layer for all layers: its force is not to be used.
    """
    fields: dict[str, Any] = base.extremes(observer, 0, q[:, :, None], imposed[:, :, None])
    still = np.zeros((*q.shape[:2], observer.height.shape[0]))
    return Chunk(
        layers=layers,
        pose=q @ observer.bed.T,
        residual_height=still,
        residual_lateral=still,
        settle_time=still[..., 0],
        stop_hit=fields["joint_excursion"] >= travel,
        tail_bound=still[..., 0],
        **fields,
    )


def linear_chunk(job: Job) -> Chunk:
    """All layers of a job without friction, stops and play."""
    return chunk_of(linear_machine(job))


def of_layers(linear: LinearMachine, layers: NDArray[np.int64]) -> LinearMachine:
    """A machine solved for all layers, for some of them, of which the first is 1."""
    return replace(linear, layers=layers, weights=linear.weights[layers - 1])


def chunk_of(linear: LinearMachine) -> Chunk:
    """The layers of a linear machine as an engine would report them."""
    imposed = own_imposed(linear)
    q = motions(linear, imposed)
    return chunk_at_rest(linear.layers, linear.observer, q, imposed, linear.job.machine.joint_travel)


def shortened(job: Job, layers: int) -> Job:
    """The same print stopped after so many layers."""
    return replace(job, program=job.program.cut(layers))


def jogged_down(job: Job, step: float, count: int) -> Job:
    """The machine as it is read by a gauge: from where layer 1 is printed the bed goes down by `step` m, each
    in the time of the print's first layer, `count` stations in all, with no more on it than layer 1."""
    first = job.program
    run = LayerRun(
        count=count,
        thickness=step,
        period=first.period(1),
        settle=first.settle(1),
        hop=0.0,
        hop_dwell=0.0,
    )
    way = stations([run])
    machine = replace(job.machine, stations=way, part=job.machine.part.at_first(count))
    return replace(job, program=replace(first, stations=way), machine=machine)
