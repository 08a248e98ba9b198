"""The frictionless three-screw machine in exudyn, as fast as we could make it run: the yardstick for speed.

exudyn assembles the machine from bodies and springs (`tests/independent/bodies.py`), finds its rest and
linearises it. What runs in time is one object with those matrices, and the forces of the bent screws and of
the commanded acceleration as a table that a pre-step function hands over once a step: no Python inside an
iteration.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from time import perf_counter
from typing import Any

import numpy as np
from numpy.typing import NDArray

sys.exudynFast = True  # type: ignore[attr-defined]  # the library's own switch: no range checks
for folder in ("", "independent"):
    sys.path.insert(0, str(Path(__file__).parents[1] / folder))

import bodies  # noqa: E402
import energies  # noqa: E402
import exudyn as exu  # noqa: E402
from exudyn.itemInterface import NodeGenericODE2, ObjectGenericODE2, SensorNode  # noqa: E402
from oracle_machine import Numbers, commanded, numbers, ramps, screw_offset  # noqa: E402

from bedsim.scenario.load import LoadedScenario  # noqa: E402

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class LayerChange:
    """One layer change, ready to run: matrices, start (36,) against the new layer's rest, forces (t, 36)."""

    M: Array
    C: Array
    K: Array
    start: Array
    rest: Array
    forces: Array
    time: Array


def run_layer_change(
    loaded: LoadedScenario, step: float, duration: float | None = None
) -> tuple[Array, Array, float]:
    """Run the change from layer 1 to layer 2: time (t,), bed pose (t, 6) and the solver's wall time in s.

    `duration`: by default the motion and the pause before printing.  Raises ValueError for friction and
    other content.
    """
    return run(prepare(loaded, step, duration))


def prepare(loaded: LoadedScenario, step: float, duration: float | None = None) -> LayerChange:
    """Assemble, find rest, linearise and tabulate: all that is done once."""
    loads = [energies.derive(numbers(loaded, layer)).loads for layer in (1, 2)]
    before, now = (numbers(loaded, layer, load) for layer, load in zip((1, 2), loads, strict=True))
    start = bodies.settle(bodies.build(before))
    model = bodies.build(now)
    rest = bodies.settle(model)
    M, K = bodies.matrices(model)
    C = bodies.damping_matrix(now, M, K)
    span = ramps(now.layer, now.speed, now.acceleration)[0][-1] + loaded.scenario.print.settle_s
    count = int(np.ceil((duration or span) / step))
    time = np.arange(count + 1) * step
    height = commanded(now, time)[0]
    # the jumps of the acceleration fall between steps: its mean around each instant keeps the impulse
    acceleration = np.diff(commanded(now, np.append(time, time[-1] + step) - step / 2)[1]) / step
    moving = screw_forces(now, height) - screw_forces(now, np.zeros(1))
    forces = moving - acceleration[:, None] * (M @ model.command)
    return LayerChange(M=M, C=C, K=K, start=start - rest, rest=rest, forces=forces, time=time)


def screw_forces(n: Numbers, height: Array) -> Array:
    """Forces (t, 36) of the bent screws on the coordinates of `bodies` (nut against carriage)."""
    total = np.zeros((height.size, bodies.BED + 3 * (bodies.TREE + 1)))
    for k, c in enumerate(n.corners):
        r, slope = screw_offset(c, height)
        push, moment = c.plane @ np.stack([r, slope])
        first = bodies.BED + (bodies.TREE + 1) * k
        total[:, first] = total[:, first + 6] = push.real
        total[:, first + 1] = total[:, first + 7] = push.imag
        total[:, first + 4] = c.thread * push.real + moment.real
        total[:, first + 3] = -c.thread * push.imag - moment.imag
    return total


def run(change: LayerChange) -> tuple[Array, Array, float]:
    """Integrate by generalised-alpha; time (t,), bed pose (t, 6), wall time of the solver alone in s."""
    container = exu.SystemContainer()
    mbs = container.AddSystem()
    size, step = change.start.size, float(change.time[1])
    node = mbs.AddNode(
        NodeGenericODE2(
            referenceCoordinates=[0.0] * size,
            initialCoordinates=list(change.start),
            initialCoordinates_t=[0.0] * size,
            numberOfODE2Coordinates=size,
        )
    )
    whole = mbs.AddObject(
        ObjectGenericODE2(
            nodeNumbers=[node],
            massMatrix=change.M,
            stiffnessMatrix=change.K,
            dampingMatrix=change.C,
            forceVector=change.forces[0],
        )
    )
    table, last = list(change.forces), change.time.size - 1

    def pre_step(mbs: Any, t: float) -> bool:
        mbs.SetObjectParameter(whole, "forceVector", table[min(int(t / step + 0.5), last)])
        return True

    mbs.SetPreStepUserFunction(pre_step)
    sensor = mbs.AddSensor(
        SensorNode(
            nodeNumber=node,
            outputVariableType=exu.OutputVariableType.Coordinates,
            storeInternal=True,
            writeToFile=False,
        )
    )
    mbs.Assemble()
    settings = bodies.solver_settings(change.time)
    begun = perf_counter()
    mbs.SolveDynamic(settings, solverType=exu.DynamicSolverType.GeneralizedAlpha)
    wall = perf_counter() - begun
    q = np.array(mbs.GetSensorStoredData(sensor))[:, 1 : 1 + bodies.BED]
    return change.time, q + change.rest[: bodies.BED], wall
