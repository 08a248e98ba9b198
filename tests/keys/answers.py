"""What users are told, as numbers: each answer of a loaded scenario as arrays, the cheap ones first."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from typing import Any
from unittest.mock import patch

import numpy as np
from numpy.typing import NDArray
from pins import numbers_of

from bedsim.analysis.linear_machine import linear_chunk
from bedsim.analysis.sizing_gather import gather
from bedsim.analysis.sizing_report import size_scenario
from bedsim.cli.run import missed
from bedsim.components.row import Path
from bedsim.engines.equilibrium import EquilibriumEngine
from bedsim.power_loss import report as power_loss_report
from bedsim.scenario.event_keys import Disturbance, PowerLoss
from bedsim.scenario.load import LoadedScenario
from bedsim.shake import disturbance
from bedsim.shake import report as shake_report
from bedsim.simulation import layer_result, make_job, simulate
from bedsim.tilt import report as tilt_report
from bedsim.upkeep import report as upkeep_report
from bedsim.wall.visibility import Viewing
from bedsim.wall.worst import WallPlace, printed_walls

Array = NDArray[np.float64]
Answer = list[Any]


def moved(first: Answer, other: Answer) -> bool:
    """Whether two answers differ by more than rounding."""
    if len(first) != len(other):
        return True
    return any(_differ(a, b) for a, b in zip(first, other, strict=True))


def _differ(a: Any, b: Any) -> bool:
    if isinstance(a, str) or isinstance(b, str) or a is None or b is None:
        return bool(a != b)
    a, b = np.asarray(a), np.asarray(b)
    if a.shape != b.shape:
        return True
    if a.dtype.kind in "US" or a.size == 0:
        return bool((a != b).any())
    a, b = a.astype(float), b.astype(float)
    scale = float(np.max(np.abs(a[np.isfinite(a)]), initial=0.0))
    return not np.allclose(a, b, rtol=0.0, atol=1e-9 * scale, equal_nan=True)


def rest(loaded: LoadedScenario) -> Answer:
    """The layers of a machine without friction, at rest."""
    job = make_job(loaded)
    return numbers_of(layer_result(loaded, job, [linear_chunk(job)]))


def friction(loaded: LoadedScenario) -> Answer:
    """The layers with friction, at rest."""
    job = make_job(loaded)
    return numbers_of(layer_result(loaded, job, [*EquilibriumEngine().run(job)]))


def run(loaded: LoadedScenario) -> Answer:
    """The layers of `bedsim run`, histories left out."""
    return numbers_of(dataclasses.replace(simulate(loaded).layers, trace=()))


def modes(loaded: LoadedScenario) -> Answer:
    """Natural frequencies and decays, as `bedsim size --shake` tells and uses them."""
    machine = make_job(loaded).machine
    found = disturbance.modes(machine, machine.system(np.array([2])))
    return [found.frequency, found.decay]


def size(loaded: LoadedScenario) -> Answer:
    """Values and limits of all rows, the parts of the joint, the screw decision."""
    report = size_scenario(loaded)
    rows = [(c.subject, c.name, c.value, c.limit, c.margin) for c in report.all_checks]
    return numbers_of([rows, report.joint_parts, [(row.name, *numbers_of(row)) for row in report.decision]])


def fall(loaded: LoadedScenario) -> Answer:
    """The course of a power loss while lowering."""
    numbers, machine = gather(loaded), make_job(loaded).machine
    keys = loaded.scenario.power_loss or PowerLoss()
    case = power_loss_report.cases(numbers)[2]
    row = power_loss_report._row(loaded, numbers, machine, case, 2, keys)
    return [row.outcome, row.lost, row.time, row.top_speed]


def tilt(loaded: LoadedScenario) -> Answer:
    """A tilted bed, limits looked for in three directions."""
    with patch.object(tilt_report, "DIRECTIONS", 3):
        report = tilt_report.tilt_scenario(loaded)
    return numbers_of([report.asked, report.towards, report.order, report.largest, report.course])


def push(loaded: LoadedScenario) -> Answer:
    """What the frame is accelerated with."""
    signal, end, _ = shake_report.frame_acceleration(loaded, loaded.scenario.disturbance or Disturbance())
    return [signal.time, signal.start, signal.end, end]


def shake(loaded: LoadedScenario) -> Answer:
    """A shaken frame."""
    return numbers_of(shake_report.shake_scenario(loaded).rows)


def wall(loaded: LoadedScenario) -> Answer:
    """A printed wall as the page shows it."""
    walls = printed_walls(simulate(loaded, engine="equilibrium").layers, loaded.scenario)
    return [walls.judged(WallPlace(wall="+X", probe=loaded.scenario.probe[0].name), Viewing()).wall.relief]


def upkeep(loaded: LoadedScenario) -> Answer:
    """Upkeep: jobs, wear, grease and noise, no runs."""
    with patch.object(upkeep_report, "_reversals", lambda *_: (None, None, 0.0, [])):
        report = upkeep_report.upkeep_scenario(loaded)
    jobs = [(c.name, c.first, c.why) for c in report.chores]
    return numbers_of(
        [str(report.start), report.use, jobs, report.guide_life, report.plain, report.threads, report.noise]
    )


def choice(loaded: LoadedScenario) -> Answer:
    """A choice between a machine and itself with more weight on the bed, no runs."""
    heavier = loaded.with_values({"bed.mass_kg": 6.0})
    with patch.object(upkeep_report, "_figures", lambda _: ({"lateral_pv": 1e-6, "height_pv": 1e-6}, [])):
        found = upkeep_report._choice(upkeep_report._known(loaded), [heavier], [])
    return numbers_of([found.scores or (), [(line.weight, line.parts) for line in found.lines]])


class _Values:
    """A summary that strays 5 um."""

    values: Mapping[str, float] = {"lateral_pv": 5e-6, "height_pv": 5e-6}


def target(loaded: LoadedScenario) -> Answer:
    """Whether a run that strays 5 um sideways and in height misses its target."""
    return [missed(loaded.scenario, _Values())]  # type: ignore[arg-type]


ANSWERS: Mapping[str, Callable[[LoadedScenario], Answer]] = {
    f.__name__: f
    for f in (rest, friction, run, modes, size, fall, tilt, push, shake, wall, target, upkeep, choice)
}


def whole(loaded: LoadedScenario) -> Answer:
    """All that answers are worked out from: matrices, forcing, contacts, program, rows of `size`, events.

    Where this does not move, no answer does.
    """
    job = make_job(loaded)
    machine, numbers = job.machine, gather(loaded)
    system = machine.system(np.array([1, 2, 3]))
    height = -np.outer(np.arange(3) * 2.5e-4, np.ones(len(machine.corner_names)))
    path = Path(time=np.arange(3) * 20.0, height=height, move_start=height, move_end=height)
    matrices = [system.M, system.K, system.C, system.stuck, system.weight, system.imposed_force]
    contacts = [system.friction_limit, machine.contact_rows, machine.breakaway, machine.contact_command]
    ends = [[x.gap, x.stiffness, x.jacobian @ machine.transform] for x in machine.stops]
    flanks = [[x.slope, x.jacobian @ machine.transform] for x in machine.flanks]
    motors = [machine.motor_torque, machine.motor_electrical, machine.mount_preload, machine.first_nut]
    falls = [
        power_loss_report.falling(loaded, numbers, machine, c, 2) for c in power_loss_report.cases(numbers)
    ]
    tilts = [tilt_report.supports_of(loaded.scenario), tilt_report.hanging(loaded.scenario, 2)]
    shaken = push(loaded)
    parts = [matrices, system.corner_load, contacts, ends, flanks, machine.imposed(path), motors]
    return numbers_of([parts, job.program, job.probes, size(loaded), falls, tilts, shaken])
