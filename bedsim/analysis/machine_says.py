"""What the assembled machine says beside the closed formulas of `bedsim size`, and why it differs.

A formula is what an engineer checks by hand: one corner alone, its parts rigid but for a few.  The machine
has all of them at once.  From one number to the other leads a chain of steps, each of which counts one thing
more that the formula leaves out: the product of their factors is the whole difference, so no reason is
guessed.  Derivation: each step is an exact answer of a simpler machine.

At rest the machine is solved without friction, stops and radial play, each screw's run-out alone over one
turn; modes are those with contacts stuck, as a tap finds them.  Of the ends of travel the worse is told.

| not told | why the model does not know it |
|---|---|
| efficiencies, torques to raise, lower and hold | it has no thread friction along the lead |
| torque and load angle while accelerating | a run has them of a layer's own motion, with place errors |
| microsteps, full steps, thickness, slip, side torque, load taken off a mount | same function |
| reaches the carriage through a joint, or if its nut were bolted | friction decides; it is not bolted |
| life, wear, contact pressure, lift-off, travel of joint and groove, drops and falls | no part of a run |
| moment and force on a bearing from the bow | same function (`run_out.bearing_reactions`) |
| mass of the shaft against whirling, beyond the bare screw on its bearings | it hangs in no mode |
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np
import scipy
from numpy.typing import NDArray

from bedsim.analysis.linear_machine import without_play
from bedsim.components.frame import NUT_TURN, point_motion
from bedsim.components.mount import bed_point
from bedsim.components.row import resting_path
from bedsim.components.screw import buckling_load, shaft_stiffness
from bedsim.engines import base
from bedsim.engines.base import Job
from bedsim.engines.static import at_rest
from bedsim.errors import BedsimError
from bedsim.model.assembly import Machine, System, nut_position
from bedsim.model.convert import make_bed
from bedsim.model.corner import CornerParts, make_corners
from bedsim.model.side_torque import RUN_OUT
from bedsim.scenario.load import LoadedScenario
from bedsim.simulation import make_job
from bedsim.sizing import buckling, critical_speed, motor_margin
from bedsim.sizing.axial_train import series, torsion_seen_axially
from bedsim.sizing.numbers import MachineNumbers
from bedsim.sizing.rows_run_out import screw_side_stiffness
from bedsim.sizing.rows_train import axial_parts, softest_nut_height
from bedsim.sizing.table import AGREES, Check
from bedsim.sizing.transmission import transmitted_rigid

Array = NDArray[np.float64]
Steps = list[tuple[str, float]]
"""What is counted more, in words, and what the number becomes, SI; the last is the machine's own."""

STEPS_PER_TURN = 72  # of the search for the largest push: at most 0.1 % below it
SEATED = 1e6  # times the carriage's own stiffness: a bolted mount
LEAST = 1e-6  # N of the bed on a corner that carries none of it, or pulls
TOLD = 0.02  # a step that changes less is not named

BEARINGS = "what holds the screw's ends yields"
NUT = "the nut yields"
CREST = "the nut does not stand at the run-out's crest"
YIELDING = "bearings and nut yield"
DIRECTION = "guide and frame are stiffer across"
SQUARE = "the carriage keeps the nut square"
HELD = "the bed holds the carriage too, and the guide tilts"
TOGETHER = "carriage and nut move aside, corners act on each other"
MOUNT = "the mount yields and the carriage tilts under it"
STIFFNESS = "the stiffness as above"
TURNS = "the joint lets the nut turn"
SWINGING = "rotor, nut and mount swing along, contacts stuck"
TRAIN = "what is between rotor and load yields"
BODY = "the bed moves as one body and carriages turn with their screws"
COUNTERWEIGHT = "it knows no counterweight"
SHARED = "corners share the load by their stiffness"
ONE_MOTOR = "one motor carries all corners"
STRAIGHT = "its magnetic spring is straight"
INERTIA = "the bed's mass is shared as it moves"


@dataclass(frozen=True, kw_only=True)
class Assembled:
    """The machine with its job and the corners it was made of, at the layers looked at."""

    job: Job
    corners: tuple[CornerParts, ...]
    numbers: MachineNumbers

    @property
    def machine(self) -> Machine:
        """The machine of the job."""
        return self.job.machine

    @cached_property
    def ends(self) -> tuple[System, ...]:
        """The machine at the first layer and at the last, and at those of objects between them."""
        return tuple(self.machine.system(np.array([k])) for k in self.machine.stations.ends)

    @cached_property
    def observers(self) -> tuple[base.Observer, ...]:
        """What is reported of it there."""
        return tuple(base.make_observer(self.machine, s, self.job.probes) for s in self.ends)

    @cached_property
    def resting(self) -> dict[str, Array]:
        """Side force, load angle, mount force, ... (ends, c) under weight alone."""
        nothing = np.zeros((self.machine.rows.shape[0], 1))
        found = []
        for system, observer in zip(self.ends, self.observers, strict=True):
            found.append(base.extremes(observer, 0, at_rest(system, nothing, 1.0)[0].T, nothing.T))
        return {key: np.stack([f[key] for f in found]) for key in found[0]}

    @cached_property
    def softest(self) -> tuple[System, ...]:
        """For every corner the machine where its screw is softest along its axis."""
        down = self.machine.first_nut - [softest_nut_height(c) for c in self.numbers.corners]
        nearest = np.abs(self.machine.stations.depth[1:] - down[:, None]).argmin(axis=1).tolist()
        found = {k: self.machine.system(np.array([1 + k])) for k in {*nearest}}
        return tuple(found[k] for k in nearest)

    def at_carriage(self, corner: int) -> Array:
        """Jacobian (n,) of the carriage's height at the screw's axis."""
        size, first = self.machine.coordinates.size, self.machine.coordinates.carriage(corner)
        return np.asarray(point_motion(size, first, np.zeros(3))[2] @ self.machine.transform)

    def at_mount(self, corner: int) -> Array:
        """Jacobian (n,) of the bed's height at the mount, or where it is bolted."""
        c = self.corners[corner]
        point = np.append(c.axis, 0.0) if c.mount.bolted else c.mount.point
        return np.asarray(bed_point(self.machine.coordinates, point, c.shapes)[2] @ self.machine.transform)


def assembled(loaded: LoadedScenario, numbers: MachineNumbers) -> Assembled:
    """The machine of a scenario, its nuts without radial play.

    Raises ModelError or InputError where `bedsim run` refuses it.
    """
    fitted = without_play(loaded)
    corners = make_corners(fitted.scenario, make_bed(fitted.scenario.bed))
    return Assembled(job=make_job(fitted), corners=tuple(corners), numbers=numbers)


def beside_formulas(loaded: LoadedScenario, numbers: MachineNumbers, checks: Sequence[Check]) -> list[Check]:
    """The rows, with what the machine says where it knows; as they are where `bedsim run` refuses it."""
    try:
        whole = assembled(loaded, numbers)
        return [_beside(whole, row) for row in checks]
    except BedsimError:
        return list(checks)


def _beside(a: Assembled, row: Check) -> Check:
    if row.key not in ANSWERS:
        return row
    unit = row.measured.si
    steps = ANSWERS[row.key](a, a.machine.corner_names.index(row.corner))
    if not steps:
        return row
    value = steps[-1][1] / unit
    if not math.isfinite(value):  # parts so unlike that rounding leaves no answer
        return row
    differs = abs(value - row.value) > AGREES * abs(row.value)
    return replace(row, machine=value, why=reason(row.value * unit, steps) if differs else "")


def reason(formula: float, steps: Steps) -> str:
    """The steps that matter, each with its factor."""
    values = [formula, *(value for _, value in steps)]
    factors = [after / before if before else math.inf for before, after in pairwise(values)]
    least = min(TOLD, max(abs(f - 1.0) for f in factors))
    told = zip((words for words, _ in steps), factors, strict=True)
    return ", ".join(f"{words} (x {f:.2f})" for words, f in told if abs(f - 1.0) >= least)


def _free(plane: Array) -> float:
    """Stiffness N/m for a deflection, the slope left free, from that of a bending plane (2, 2)."""
    return float(1.0 / np.linalg.inv(plane)[0, 0])


def _plane(a: Assembled, system: System, corner: int) -> Array:
    """Stiffness (2, 2) of screw and nut in one bending plane."""
    where = a.machine.rows_at("screw", corner)
    return system.stiffness[0, where, where][:2, :2]


def _lateral(a: Assembled, corner: int) -> Steps:
    system = max(a.ends, key=lambda s: _free(_plane(a, s, corner)))
    place = nut_position(a.machine, system.layers)[:, corner]
    shaft = shaft_stiffness(a.corners[corner].screw, place, system.corner_load[:, corner])
    return [(BEARINGS, _free(shaft[0])), (NUT, _free(_plane(a, system, corner)))]


def _turned(a: Assembled, corner: int, end: int) -> tuple[Array, Array]:
    """One turn of a bent screw alone, from an end of travel inwards: imposed (t, r) and motion (t, n)."""
    machine, layer = a.machine, int(a.ends[end].layers[0])
    depth = machine.stations.depth[1:]
    inwards = -1.0 if 2 * depth[layer - 1] <= depth.max() else 1.0
    way = np.linspace(0.0, a.corners[corner].screw.lead, STEPS_PER_TURN, endpoint=False)
    height = float(a.job.program.height(layer)) + way * inwards
    begins = np.full(height.size, a.job.program.start_time(layer))  # each object has its own pull
    path = resting_path(begins, height[:, None] * np.ones(len(a.corners)))
    own = np.array([s.corner == corner and s.cause in RUN_OUT for s in machine.sources])
    imposed = machine.imposed(path, machine.amounts * own)
    return imposed, at_rest(a.ends[end], imposed.T)[0].T


def _push(a: Assembled, corner: int) -> Steps:
    return _pushed(a, corner, force=True)


def _reach(a: Assembled, corner: int) -> Steps:
    return _pushed(a, corner, force=False)


def _pushed(a: Assembled, corner: int, *, force: bool) -> Steps:
    """Side force N on the guide, or its deflection m, at its largest over a turn; nothing behind a joint."""
    if a.corners[corner].joint is not None:
        return []
    turns = [_turned(a, corner, end) for end in range(len(a.ends))]
    moved = [
        base.extremes(o, 0, q, imposed)["side_force"][corner] if force else _deflected(o, q, corner)
        for o, (imposed, q) in zip(a.observers, turns, strict=True)
    ]
    end = int(np.argmax(moved))
    c, plane, numbers = a.corners[corner], _plane(a, a.ends[end], corner), a.numbers.corners[corner]
    where = a.machine.rows_at("screw", corner)
    offset, slope = turns[end][0][:, where].reshape(-1, 2, 2).transpose(2, 0, 1)  # (t, 2) each, x and y
    e, screw = float(np.linalg.norm(offset, axis=1).max()), screw_side_stiffness(numbers.screw, numbers)
    soft = numbers.guide_lateral

    def alone(stiff: float) -> float:
        return transmitted_rigid(e, stiff, soft) * (soft if force else 1.0)

    def by_direction(pull: Array, stiff: float) -> float:
        along = pull @ np.array([c.guide.direction, [-c.guide.direction[1], c.guide.direction[0]]]).T
        guide = np.array([c.guide.radial, c.guide.tangential])
        return float(np.linalg.norm(along / (stiff + guide) * (guide if force else 1.0), axis=1).max())

    free = _free(plane)
    return [
        (CREST, alone(screw)),
        (YIELDING, alone(free)),
        (DIRECTION, by_direction(free * offset, free)),
        (SQUARE, by_direction(plane[0, 0] * offset + plane[0, 1] * slope, float(plane[0, 0]))),
        (HELD, float(moved[end])),
    ]


def _deflected(observer: base.Observer, q: Array, corner: int) -> float:
    return float(np.linalg.norm(q @ observer.rows[observer.guide_rows[corner]].T, axis=1).max())


def _axial(a: Assembled, corner: int) -> Steps:
    numbers, system = a.numbers.corners[corner], a.softest[corner]
    parts = list(axial_parts(numbers, softest_nut_height(numbers)).values())
    if a.corners[corner].joint is not None:
        turning = series([numbers.joint.rotation, numbers.guide_yaw])
        parts.append(torsion_seen_axially(turning, numbers.screw.shaft.lead))
    at = (a.at_carriage(corner), a.at_mount(corner))
    alone, held = (float(1.0 / (J @ np.linalg.solve(system.K[0], J))) for J in at)
    return [(TURNS, series(parts)), (TOGETHER, alone), (MOUNT, held)]


def _sinking(a: Assembled, corner: int) -> Steps:
    start, end = a.numbers.corners[corner].bed_load
    part = a.ends[-1].weight[0] - a.machine.weight @ a.machine.transform
    sinks = -a.at_mount(corner) @ np.linalg.solve(a.softest[corner].K[0], part)
    return [(STIFFNESS, (end - start) / _axial(a, corner)[-1][1]), (TOGETHER, float(sinks))]


def _alone(a: Assembled, corner: int, system: System) -> tuple[Array, Array, Array]:
    """A corner alone, all else held: its share of the bed as a mass point on the mount, carriage and nut up
    and down, screw and nut turning, its share of a common motor.

    Frequencies (k,) rad/s, modes (k, k) in columns with v^T M v = 1, first row the bed, third the screw,
    last a common motor, and what weighs (k,) kg.
    """
    machine, c = a.machine, a.corners[corner]
    at, first = machine.coordinates, machine.coordinates.carriage(corner)
    moving = [first + 2, at.rotor(corner)]
    moving += [first + NUT_TURN] if c.joint is not None else []
    moving += [at.motor] if at.shared_motor else []
    parts = np.array([1.0 / len(a.corners) if k == at.motor and at.shared_motor else 1.0 for k in moving])
    K, M = np.zeros((2, len(moving) + 1, len(moving) + 1))
    K[1:, 1:] = _held(a, corner, system, moving)
    seat = SEATED * K[1, 1] if c.mount.bolted else c.mount.vertical
    K[:2, :2] += seat * np.array([[1.0, -1.0], [-1.0, 1.0]])
    M[1:, 1:] = machine.mass[np.ix_(moving, moving)] * parts
    M[0, 0] = max(*a.numbers.corners[corner].bed_load, LEAST) / machine.gravity
    square, modes = scipy.linalg.eigh(K, M)
    return np.sqrt(square), modes, np.append(np.diag(M)[:2], np.zeros(len(moving) - 1))


def _held(a: Assembled, corner: int, system: System, moving: list[int]) -> Array:
    """Stiffness (k, k) of a corner's coordinates with its contacts stuck: of its own links without the mount,
    and of its share of a common motor."""
    machine = a.machine
    share = np.zeros(machine.rows.shape[0])
    for link in machine.links:
        own = link.corner == corner and link.part != "mount"
        common = machine.coordinates.shared_motor and link.part == "motor"
        share[machine.slices[link.name]] = 1.0 / len(a.corners) if common else float(own)
    rows = machine.full_rows[:, moving]
    contacts = np.vstack([np.zeros((0, len(moving))), *(f.jacobian[:, moving] for f in machine.frictions)])
    stuck = (system.friction_limit[0] / machine.breakaway)[:, None] * contacts
    return np.asarray(rows.T @ (share[:, None] * system.stiffness[0]) @ rows + contacts.T @ stuck)


def _corner_frequency(a: Assembled, corner: int) -> Steps:
    """The mode that takes most of how far the corner sinks under the machine's weight, v_i (v^T g)/w^2."""
    system = a.ends[-1]
    w, modes, heavy = _alone(a, corner, system)
    alone = w[np.argmax(np.abs(modes[0] * (heavy @ modes)) / w**2)]
    frequency, shape = (found[0] for found in system.natural)
    sunk = (a.at_mount(corner) @ shape) * (system.weight[0] @ shape) / frequency**2
    most = np.argmax(np.abs(sunk))
    return [(SWINGING, float(alone) / (2 * math.pi)), (BODY, float(frequency[most]) / (2 * math.pi))]


def _rotor_resonance(a: Assembled, corner: int) -> Steps:
    """The mode in which the rotor, with the screw it sits on, has most of the motion's energy."""
    system, at = a.ends[-1], a.machine.coordinates
    w, modes, _ = _alone(a, corner, system)
    alone = w[np.argmax(modes[-1 if at.shared_motor else 2] ** 2)]
    frequency, shape = (found[0] for found in system.natural)
    rotor = a.machine.kept.index(at.motor if at.shared_motor else at.rotor(corner))
    most = np.argmax(shape[rotor] ** 2)
    return [(TRAIN, float(alone) / (2 * math.pi)), (BODY, float(frequency[most]) / (2 * math.pi))]


def _hanging(a: Assembled, corner: int) -> Steps:
    numbers = a.numbers.corners[corner]
    return [
        (COUNTERWEIGHT, max(numbers.hanging) + numbers.counterweight),
        (SHARED, float(max(s.corner_load[0, corner] for s in a.ends))),
    ]


def _resting_load_angle(a: Assembled, corner: int) -> Steps:
    numbers = a.numbers.corners[corner]
    lever = numbers.screw.shaft.travel_per_radian / numbers.motor.gear_ratio

    def angle(load: float) -> float:
        return motor_margin.load_angle(load * lever, numbers.motor.holding_torque)

    (_, alone), (_, shared) = _hanging(a, corner)
    mean = float(max(s.corner_load.mean() for s in a.ends))
    together = mean if a.machine.coordinates.shared_motor else shared
    return [
        (COUNTERWEIGHT, angle(alone)),
        (SHARED, angle(shared)),
        (ONE_MOTOR, angle(together)),
        (STRAIGHT, float(a.resting["load_angle"][:, corner].max())),
    ]


def _inertia(a: Assembled, corner: int) -> Steps:
    """Of all corners moving alike: what one more rad/s2 of all motors asks of this one."""
    command = a.machine.command[list(a.machine.kept)]
    c = a.corners[corner]
    per_height = max(float(command[:, corner] @ s.M[0] @ command.sum(axis=1)) for s in a.ends)
    return [(INERTIA, per_height / (c.turn * c.motor.gear) ** 2)]


def _buckling(a: Assembled, corner: int) -> Steps:
    numbers = a.numbers.corners[corner]
    heights = np.linspace(numbers.nut_low, numbers.nut_high, buckling.HEIGHTS)
    return [(BEARINGS, float(buckling_load(a.corners[corner].screw, heights).min()))]


def _critical_speed(a: Assembled, corner: int) -> Steps:
    return [(BEARINGS, critical_speed.first_frequency_on_bearings(a.corners[corner].screw))]


def _mount_load(a: Assembled, corner: int) -> Steps:
    return [(SHARED, float(a.resting["mount_force"][:, corner].min()))]


ANSWERS: dict[str, Callable[[Assembled, int], Steps]] = {
    "buckling_load": _buckling,
    "critical_speed": _critical_speed,
    "axial_stiffness": _axial,
    "sinking": _sinking,
    "corner_frequency": _corner_frequency,
    "hanging_weight": _hanging,
    "resting_load_angle": _resting_load_angle,
    "inertia": _inertia,
    "rotor_resonance": _rotor_resonance,
    "lateral_stiffness": _lateral,
    "bolted_run_out": _reach,
    "side_push": _push,
    "mount_load": _mount_load,
}
"""By the key of a row: what the machine answers for a corner, SI."""
