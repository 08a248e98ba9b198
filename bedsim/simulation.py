"""The one call that joins all: a loaded scenario in, a finished run out."""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

import bedsim
from bedsim import units
from bedsim.engines import base
from bedsim.engines.slip import slip
from bedsim.errors import InputError
from bedsim.identity import identity
from bedsim.model.assembly import Machine
from bedsim.model.build import build_machine, build_program
from bedsim.number_text import number
from bedsim.results.layers import LayerResult, Run, Trace
from bedsim.scenario.load import LoadedScenario

Array = NDArray[np.float64]


PLATE_CORNERS = {"front left": (-1, -1), "front right": (1, -1), "back right": (1, 1), "back left": (-1, 1)}
"""The corners of the plate, in halves of its sides."""


def probe_points(loaded: LoadedScenario) -> tuple[tuple[str, ...], Array]:
    """Names and places (p, 2) m of the probes: those of the scenario, then the corners of the plate at which
    it has none, for there an error is worst (`analysis/worst_place.py`)."""
    bed = loaded.scenario.bed
    places = {p.name: (p.x_mm, p.y_mm) for p in loaded.scenario.probe}
    for name, (x, y) in PLATE_CORNERS.items():
        corner = (x * bed.size_x_mm / 2, y * bed.size_y_mm / 2)
        if not any(math.dist(corner, place) < 1e-3 for place in places.values()):
            places[name if name not in places else f"plate {name}"] = corner
    return tuple(places), np.array(list(places.values()), dtype=float) * units.MM


def make_job(
    loaded: LoadedScenario,
    progress: Callable[[int], None] = lambda done: None,
    *,
    side_torque: bool = True,
) -> base.Job:
    """The job of a scenario for one machine; `side_torque` as in `build_machine`.

    Raises ModelError when the machine cannot be computed, InputError when its motors cannot raise the bed.
    """
    machine = build_machine(loaded.scenario, loaded.tables, side_torque=side_torque)
    sizing = loaded.scenario.sizing
    _check_motors(loaded.name, machine, counterweight=sizing is not None and sizing.counterweight_n > 0)
    return base.Job(
        machine=machine,
        program=build_program(loaded.scenario),
        probes=probe_points(loaded)[1],
        amounts=machine.amounts[None],
        trace_layers=loaded.scenario.output.trace_layers,
        progress=progress,
    )


def _check_motors(name: str, machine: Machine, counterweight: bool) -> None:
    """Refuse a machine that loses steps as soon as it moves: friction would only ask for more torque."""
    asked, given = machine.torque_to_raise, machine.motor_torque
    worst = int(np.argmax(asked / given))
    if asked[worst] >= given[worst]:
        at = "" if given.size == 1 else f" at {machine.corner_names[machine.motor_corner[worst]]}"
        known = " A run does not know sizing.counterweight_n." if counterweight else ""
        raise InputError(
            f"{name}: motor.holding_torque_n_m: raising the bed asks for {number(asked[worst], 2)} N m "
            f"at the "
            f"screw{at} before any friction, the motor gives {number(given[worst], 2)} N m (current and gear "
            "counted). Check the units of bed.mass_kg and screw.lead_mm, or take a stronger motor: bedsim "
            f"size shows the margins.{known}"
        )


def _check_steps(loaded: LoadedScenario, job: base.Job, chunk: base.Chunk) -> None:
    """Refuse to go on where a motor has lost a step."""
    lost = np.argwhere(chunk.load_angle[0] > base.LOST_STEP)
    if lost.size:
        at, corner = lost[0]
        raise InputError(
            f"{loaded.name}: layer {chunk.layers[at]}: the motor at {loaded.scenario.corner[corner].name} "
            "loses steps (load angle past 180° electrical): where the bed goes from there cannot be "
            "predicted, it may fall. bedsim size shows what the motors must hold. "
            f"{_if_it_catches(job, int(corner), int(chunk.layers[at]))}"
        )


def _if_it_catches(job: base.Job, corner: int, layer: int) -> str:
    """What a motor that falls in step again leaves."""
    found = slip(job, 0 if job.machine.coordinates.shared_motor else corner, layer)
    return (
        f"If it falls in step again it is off by a multiple of {number(found.height / units.MM)} mm "
        f"(four full "
        f"steps): for each the bed tilts by {number(found.tilt * 1e3, 2)} mm/m and a guide takes "
        f"{number(found.side_force, 2)} N more, until the bed is levelled anew."
    )


def pick_engine(name: str | None) -> base.Engine:
    """An engine by name, the first that there is for None. Raises InputError naming those there are."""
    from bedsim.engines.named import ENGINES  # takes as long as all else here, and is not always asked for

    name = name or next(iter(ENGINES))
    if name not in ENGINES:
        raise InputError(f"engine = {name}: there is no such engine. Allowed: {', '.join(ENGINES)}")
    return ENGINES[name]


def simulate(
    loaded: LoadedScenario, engine: str | None = None, progress: Callable[[int], None] = lambda done: None
) -> Run:
    """Run a scenario with the named engine (default: the first that there is) and return all layers.

    Raises ModelError, EngineRefusalError or SolverError with a finished sentence, InputError where motors
    cannot raise the bed or lose steps.
    """
    chosen = pick_engine(engine)
    job = make_job(loaded, progress)
    chunks = []
    for chunk in chosen.run(job):
        _check_steps(loaded, job, chunk)
        chunks.append(chunk)
    return Run(
        layers=layer_result(loaded, job, chunks),
        scenario_source=loaded.source_text,
        scenario_resolved=loaded.resolved_toml(),
        engine=chosen.name,
        solver_message=" ".join(dict.fromkeys(note for chunk in chunks for note in chunk.notes))
        or "all layers done",
        seed=0,
        created=datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds"),
        program_version=bedsim.__version__,
        program=str(identity()),
        notes=tuple(dict.fromkeys(remark for chunk in chunks for remark in chunk.remarks)),
        tables=loaded.tables,
        statistics=base.total(chunks),
    )


def relative_errors(job: base.Job, layers: NDArray[np.int64], pose: Array) -> dict[str, Array]:
    """Errors against the first layer of their object from poses (..., n, b): what the part shows.

    d of q(n) - q(1), all freedoms, at the probe and at the current top of the part; layer thickness h -
    (d_z(n) - d_z(n-1)), 0 of a layer of which the one below is not among them.
    """
    height, flat, abbe = base.probe_maps(job.machine, job.probes)
    stations = job.machine.stations
    top, zero = stations.top(layers), stations.positions(layers)
    from_first = pose - pose[..., zero, :]

    def lateral(motion: Array) -> Array:
        tilted = np.einsum("pkb,...nb->...npk", abbe, motion) * top[:, None, None]
        return np.einsum("pkb,...nb->...npk", flat, motion) + tilted

    height_error = from_first @ height.T
    thickness = np.zeros_like(height_error)
    thickness[..., 1:, :] = -np.diff(height_error, axis=-2)
    below = (np.diff(layers, prepend=0) == 1) & (zero != np.arange(layers.size))
    thickness[..., ~below, :] = 0.0
    return {
        "height_error": height_error,
        "lateral_error": lateral(from_first),
        "height_raw": pose @ height.T,
        "lateral_raw": lateral(pose),
        "tilt": from_first[..., 3:6],
        "thickness_error": thickness,
    }


def layer_result(loaded: LoadedScenario, job: base.Job, chunks: list[base.Chunk]) -> LayerResult:
    """Join the chunks of one machine."""
    layers = np.concatenate([chunk.layers for chunk in chunks])
    pose = np.concatenate([chunk.pose[0] for chunk in chunks])
    names, places = probe_points(loaded)
    joined: dict[str, Any] = {
        key: np.concatenate([getattr(chunk, key)[0] for chunk in chunks])
        for key in base.BY_MEMBER
        if key != "pose"
    }
    joined |= relative_errors(job, layers, pose)
    commanded = job.program.height(layers)
    return LayerResult(
        layer=layers,
        print_height=job.machine.stations.top(layers),
        commanded_height=commanded,
        nut_position=job.machine.first_nut + commanded[:, None],
        probe_name=names,
        probe_position=places,
        corner_name=job.machine.corner_names,
        corner_position=job.machine.corner_position,
        pose_raw=pose,
        trace=tuple(_trace(job, history) for chunk in chunks for history in chunk.histories),
        **joined,
    )


def _trace(job: base.Job, history: base.History) -> Trace:
    system = job.machine.system(np.array([history.layer]))
    observer = base.make_observer(job.machine, system, job.probes)
    q = history.q
    tension = q @ observer.rows.T - history.imposed
    return Trace(
        layer=history.layer,
        time=history.time,
        pose=q @ observer.bed.T,
        height=q @ observer.height.T,
        lateral=np.einsum("pkn,tn->tpk", observer.lateral[0], q),
        joint=np.einsum("ckn,tn->tck", observer.joint[:, :2], q),
        load_angle=tension[:, observer.motor_rows] * observer.motor_electrical,
        commanded_height=history.commanded,
    )
