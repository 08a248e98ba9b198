"""`bedsim size --power-loss`: does the bed hold, creep or fall, how fast, how far, and what unequal corners
do.

Nothing here says that a machine is harmless: it says what was computed, with which assumptions, and who
decides.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.analysis.cautions import cautions
from bedsim.analysis.sizing_gather import bounds_of, gather, lower_stop
from bedsim.model.assembly import Machine
from bedsim.model.build import build_machine
from bedsim.model.convert import pieces_of
from bedsim.model.stations import Stations
from bedsim.number_text import number
from bedsim.power_loss import back_driving
from bedsim.power_loss.back_driving import Falling
from bedsim.power_loss.fall import Fall, fall
from bedsim.power_loss.unequal import UnequalRow, unequal_rows
from bedsim.scenario.event_keys import PowerLoss
from bedsim.scenario.load import LoadedScenario
from bedsim.sizing import loads
from bedsim.sizing.numbers import CornerNumbers, MachineNumbers
from bedsim.sizing.rows_holding import missing_words, resting_torque
from bedsim.tilt.report import unknown_limits
from bedsim.tilt.tilted import racking
from bedsim.units import DEG, MM, MM_S, N_MM

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """How the power is lost: `kept` part of the friction counts, `low` ends of ranges or likely values."""

    name: str
    low: bool
    kept: float
    hill: bool  # rotors on top of their detent
    moving: bool  # lowered at the travel speed when it happens


@dataclass(frozen=True, slots=True, kw_only=True)
class FallRow:
    """What one case leads to at one layer: `outcome` "holds", "sinks and stops", "creeps" or "falls"; SI."""

    case: str
    layer: int
    outcome: str
    lost: float  # m
    time: float  # s
    top_speed: float  # m/s
    energy_error: float
    course: Fall


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerLossReport:
    """The whole answer."""

    title: str
    rows: tuple[FallRow, ...]
    unequal: tuple[UnequalRow, ...]
    missing: tuple[str, ...]
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]


def power_loss_scenario(loaded: LoadedScenario) -> PowerLossReport:
    """Compute all cases at the first and the last layer, of objects also where the last begins and where the
    bed is lowest, and the unequal ones.

    Raises ModelError when the machine cannot be assembled, SolverError when a screw jams or chatters.
    """
    numbers, machine = gather(loaded), build_machine(loaded.scenario, loaded.tables)
    keys = loaded.scenario.power_loss or PowerLoss()
    rows = [
        _row(loaded, numbers, machine, case, layer, keys)
        for case in cases(numbers)
        for layer in machine.stations.ends
    ]
    worst = next(case for case in cases(numbers) if case.low and case.hill)
    high, low = int(machine.stations.first[-1]), machine.stations.lowest
    unequal = unequal_rows(
        loaded,
        numbers,
        machine,
        falling(loaded, numbers, machine, worst, high),
        room_below(loaded, machine, high),
        falling(loaded, numbers, machine, worst, low),
    )
    return PowerLossReport(
        title=loaded.scenario.title,
        rows=tuple(rows),
        unequal=tuple(unequal),
        missing=(*_missing(numbers), *unknown_limits(loaded.scenario)),
        assumptions=_assumptions(loaded, numbers, machine.stations, keys, rows),
        cautions=_cautions(loaded, rows),
    )


def cases(numbers: MachineNumbers) -> tuple[Case, ...]:
    """The cases of every report, the mildest first."""
    shaken = numbers.duty.vibration_friction
    return (
        Case(name="as given, at rest", low=False, kept=1.0, hill=False, moving=False),
        Case(name="unfavourable, at rest", low=True, kept=1.0, hill=True, moving=False),
        Case(name="unfavourable, while lowering", low=True, kept=1.0, hill=False, moving=True),
        Case(name="unfavourable, shaken", low=True, kept=shaken, hill=True, moving=False),
    )


def falling(
    loaded: LoadedScenario, numbers: MachineNumbers, machine: Machine, case: Case, layer: int
) -> Falling:
    """The machine of a case at a layer, part mass included."""
    scenario, corners = loaded.scenario, numbers.corners
    system = machine.system(np.array([layer]))
    carried = machine.command[list(machine.kept)].copy()
    turning = [k for k, index in enumerate(machine.kept) if index in _rotors(machine)]
    carried[turning] = 0.0
    count = len(corners)
    weight = -carried.T @ system.weight[0] - np.array([c.counterweight for c in corners])
    shared = scenario.drive.topology == "belt"
    keys = scenario.power_loss or PowerLoss()
    radius = np.array([c.screw.shaft.lead for c in corners]) / (2 * math.pi)
    phase = back_driving.hilltops(count) if case.hill else _phases(loaded, machine, numbers, layer)
    return Falling(
        radius=radius,
        inertia=np.array([loads.inertia_at_screw(c) for c in corners]),
        mass=carried.T @ system.M[0] @ carried,
        weight=weight,
        racking=racking(machine, system),
        driven=np.array([loads.efficiency_back(c.screw, _friction(c, case)) for c in corners]),
        driving=np.array([1 / loads.efficiency_raising(c.screw, _friction(c, case)) for c in corners]),
        torque=np.array([_held_back(loaded, c, k, case) for k, c in enumerate(corners)]),
        viscous=np.full(count, keys.drag_n_m_s),
        guide=np.array([_guide(loaded, k, case) for k in range(count)]),
        detent=np.array([_detent(c, case) for c in corners]),
        cycles=np.array([c.motor.steps_per_turn * c.motor.gear_ratio for c in corners]),
        phase=phase,
        group=np.zeros(count, dtype=np.int64) if shared else np.arange(count),
        held=np.zeros(1 if shared else count, dtype=bool),
    )


def room_below(loaded: LoadedScenario, machine: Machine, layer: int) -> Array:
    """How far (c,) m each nut can sink from a layer to its lower stop."""
    scenario = loaded.scenario
    stops = np.array([lower_stop(scenario, c) for c in scenario.corner])
    nut = machine.first_nut - float(machine.stations.depth[layer])
    return np.maximum(nut - stops, 0.0)


def _rotors(machine: Machine) -> set[int]:
    at = machine.coordinates
    found = {at.rotor(i) for i in range(at.corners)}
    return found | {at.motor} if at.shared_motor else found


def _friction(corner: CornerNumbers, case: Case) -> float:
    low, likely, _ = corner.screw.friction
    return (low if case.low else likely) * case.kept


def _detent(corner: CornerNumbers, case: Case) -> float:
    motor = corner.motor
    return (motor.detent_low if case.low else motor.detent_torque) * motor.gear_ratio


def _held_back(loaded: LoadedScenario, corner: CornerNumbers, k: int, case: Case) -> float:
    given = loaded.scenario.corner[k].nut.drag_torque_n_mm
    bounds = bounds_of(loaded, corner.name, "nut.drag_torque_n_mm", given)
    return corner.motor.brake_torque + case.kept * bounds[0 if case.low else 1] * N_MM


def _guide(loaded: LoadedScenario, k: int, case: Case) -> float:
    corner = loaded.scenario.corner[k]
    bounds = bounds_of(loaded, corner.name, "guide.friction_n", corner.guide.friction_n)
    return case.kept * bounds[0 if case.low else 1]


def _phases(loaded: LoadedScenario, machine: Machine, numbers: MachineNumbers, layer: int) -> Array:
    """Detent phase (c,) rad of every rotor where the layer puts it, counted downward."""
    scenario, height = loaded.scenario, -float(machine.stations.depth[layer])
    shared = scenario.drive.topology == "belt"
    found = []
    for k, c in enumerate(numbers.corners):
        turn = float(machine.command[machine.coordinates.rotor(k), k])
        owner = scenario.corner[0 if shared else k].motor
        at = c.motor.steps_per_turn * c.motor.gear_ratio * turn * height + owner.detent_deg * DEG
        found.append(-math.copysign(1.0, turn) * at)
    return np.array(found)


def _row(
    loaded: LoadedScenario,
    numbers: MachineNumbers,
    machine: Machine,
    case: Case,
    layer: int,
    keys: PowerLoss,
) -> FallRow:
    system = falling(loaded, numbers, machine, case, layer)
    speed = numbers.duty.speed if case.moving else 0.0
    course = fall(system, room_below(loaded, machine, layer), start_speed=speed, longest=keys.longest_s)
    return FallRow(
        case=case.name,
        layer=layer,
        outcome=outcome(course, system, keys.creep_mm_s * MM_S),
        lost=float(-course.height[-1].min()),
        time=float(course.time[-1]),
        top_speed=float(-course.speed.min()),
        energy_error=course.energy_error,
        course=course,
    )


def outcome(course: Fall, system: Falling, creep: float) -> str:
    """Say in a word what happened; `creep` m/s is the speed above which coming down is called falling."""
    lost = float(-course.height[-1].min())
    step = float(np.max(2 * math.pi * system.radius / np.maximum(system.cycles, 1.0)))
    if course.end in ("held", "swings") or (course.end == "came to rest" and lost < step):
        return "holds"
    if course.end == "came to rest":
        return "sinks and stops"
    return "falls" if float(-course.speed.min()) > creep else "creeps"


def _missing(numbers: MachineNumbers) -> tuple[str, ...]:
    """Brake torque or counterweight that is lacking: at the lowest friction for a rotor that rests in its
    valley and for one that does not, and when shaken."""
    heaviest = max(numbers.corners, key=lambda c: max(c.hanging))
    low, brake = heaviest.screw.friction[0], heaviest.motor.brake_torque
    lines = []
    for words, friction, held in (
        ("at the lowest friction, detent counted on", low, resting_torque(heaviest)),
        ("at the lowest friction, to stop a rotor that already turns (detent does not)", low, brake),
        ("when shaken, to stop a rotor that already turns", low * numbers.duty.vibration_friction, brake),
    ):
        lacking = missing_words(heaviest, friction, held)
        if lacking:
            lines.append(f"{words}: {lacking}")
    return tuple(lines)


def _assumptions(
    loaded: LoadedScenario, numbers: MachineNumbers, laid: Stations, keys: PowerLoss, rows: list[FallRow]
) -> tuple[str, ...]:
    heaviest = max(numbers.corners, key=lambda c: max(c.hanging))
    low = heaviest.screw.friction[0]
    free = loads.torque_to_hold(heaviest, heaviest.screw, low) - heaviest.motor.brake_torque
    share = back_driving.loose_share(free, heaviest.motor.detent_low * heaviest.motor.gear_ratio)
    part = pieces_of(loaded.scenario).weighed[0]
    aside = max(c.side_torque for c in numbers.corners)
    return (
        "Unfavourable: lowest friction of threads, nuts and guides, lowest detent, every rotor on top of its "
        "detent where the current left it; while lowering: all corners at the travel speed.",
        f"When shaken, {100 * numbers.duty.vibration_friction:.0f} % of the friction is counted on "
        "(sizing.vibration_friction).",
        f"A rotor rests where its current left it: at the lowest friction {100 * share:.0f} % of these "
        f"places let the one at {heaviest.name} come loose for good, nut and guide left out.",
        f"Part: none at layer 1, {part:g} kg at the last. The bed drops until the first nut reaches its "
        "stop; the blow there is not computed.",
        f"Below {keys.creep_mm_s:g} mm/s a bed is said to creep, above it to fall. Motors are open: shorted "
        "windings would slow them (power_loss.drag_n_m_s).",
        f"Unequal corners, unfavourable at rest: drops from layer {laid.first[-1]}, lifting from layer "
        f"{laid.lowest}; the "
        "stopped driver keeps its screw. Beyond some 10° of tilt the course is rough. Side force: springs, "
        "friction and slope of the mounts.",
        f"A standing side force turns the bent screws by up to {number(aside / N_MM, 2)} N mm, once per turn "
        "either way: counted in what is missing, not in the courses.",
        f"Balance of energy kept to {max(row.energy_error for row in rows):.0e} of what is turned over.",
    )


def _cautions(loaded: LoadedScenario, rows: list[FallRow]) -> tuple[str, ...]:
    falls = [row for row in rows if row.outcome in ("falls", "creeps")]
    if falls:
        fastest = max(falls, key=lambda row: row.top_speed)
        words = (
            f"Caution: by these numbers the bed comes down when the power goes, at up to "
            f"{number(fastest.top_speed / MM_S, 2)} mm/s and {number(fastest.lost / MM, 2)} mm deep: it can "
            "pinch, crush and burn."
        )
    else:
        words = (
            "Caution: by these numbers the bed stays up without current; grease, wear, warmth or vibration "
            "can lower friction below what was given, and then it comes down: it can pinch, crush and burn."
        )
    return (
        words,
        "Caution: a bed of which one corner stays behind tips; mounts can let go and drop it.",
        *cautions(loaded.scenario),
        "These courses are computed from the numbers above and nothing else; whoever builds and runs the "
        "machine must decide, with measurements of the real parts.",
    )
