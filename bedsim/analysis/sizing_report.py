"""`bedsim size`: every row of a scenario's machine, what is missing, assumptions, cautions, the screw
decision.

A report never says that a machine is safe: it says what was computed, with which assumptions, and who
decides.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from bedsim.analysis.cautions import cautions
from bedsim.analysis.lost_steps import slip_rows
from bedsim.analysis.machine_says import beside_formulas
from bedsim.analysis.move_speeds import taken_off
from bedsim.analysis.sizing_gather import gather, other_screw, prices_of, sizing_of
from bedsim.model.joint_kind import joint_kind
from bedsim.number_text import number
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.schema import Scenario
from bedsim.shown import Shown
from bedsim.sizing import loads
from bedsim.sizing.decision import DecisionRow, screw_decision
from bedsim.sizing.machine import size_machine
from bedsim.sizing.magnets import HARDWARE_BAND, REMANENCE_PER_K, REMANENCE_PER_K_RANGE
from bedsim.sizing.numbers import CornerNumbers, MachineNumbers
from bedsim.sizing.rows import AtCorner, Subject
from bedsim.sizing.rows_holding import AT_REST, SHAKEN
from bedsim.sizing.rows_joint import element_table
from bedsim.sizing.rows_screw import MOTOR_PUSHED
from bedsim.sizing.rows_train import axial_shares, axial_stiffness
from bedsim.sizing.table import Check, worst_of_each


@dataclass(frozen=True, slots=True, kw_only=True)
class JointPartRow:
    """What one part adds to a joint: place [m], sideways stiffness [N/m], pull [N], friction [N]."""

    name: str
    x: float
    y: float
    stiffness: float
    pull: float
    friction: float


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class SizingReport(Shown):
    """The whole answer.

    `checks`: of each row the corner with the smallest margin; `all_checks`: every corner.  `axial_shares`:
    corner -> part -> share of the axial compliance (0 to 1).  `decision`: ball against plain screw, computed
    rows only.
    """

    title: str
    checks: tuple[Check, ...]
    all_checks: tuple[Check, ...]
    axial_shares: Mapping[str, Mapping[str, float]]
    softest_corner: str
    joint_parts: tuple[JointPartRow, ...]
    decision: tuple[DecisionRow, ...]
    decision_corner: str
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def passed_limits(self) -> tuple[Check, ...]:
        """Rows whose limit is not kept."""
        return tuple(c for c in self.checks if c.within is False)

    @property
    def missing(self) -> tuple[str, ...]:
        """What would have to be added or given, one line each, with the rows that ask for it."""
        wanted: dict[str, list[str]] = {}
        for check in self.checks:
            if check.missing:
                wanted.setdefault(check.missing, []).append(check.name)
        return tuple(f"{what} (needed by: {'; '.join(names)})" for what, names in wanted.items())


def size_scenario(loaded: LoadedScenario) -> SizingReport:
    """Compute every row for a loaded scenario.

    Raises ModelError when the mounts stand on one line.
    """
    machine = _shaken(loaded, gather(loaded))
    checks = beside_formulas(
        loaded, machine, [*size_machine(machine), *_of_kinds(machine), *slip_rows(loaded)]
    )
    heaviest = max(machine.corners, key=lambda c: max(c.hanging))
    decision, assumed = _decision(loaded, machine, heaviest)
    return SizingReport(
        title=loaded.scenario.title,
        checks=tuple(worst_of_each(checks)),
        all_checks=tuple(checks),
        axial_shares={c.name: axial_shares(c) for c in machine.corners},
        softest_corner=min(machine.corners, key=axial_stiffness).name,
        joint_parts=tuple(
            JointPartRow(name=n, x=x, y=y, stiffness=k, pull=pull, friction=f)
            for n, x, y, k, pull, f in element_table(heaviest.joint)
        ),
        decision=tuple(decision),
        decision_corner=heaviest.name,
        assumptions=(*_assumptions(loaded.scenario, machine), assumed),
        cautions=_cautions(loaded.scenario, machine, checks),
    )


def _of_kinds(machine: MachineNumbers) -> list[Check]:
    """Rows that kinds of joints have beside those of every joint."""
    return [
        check
        for index, corner in enumerate(machine.corners)
        for check in Subject(title="Joint", rows=joint_kind(corner.joint.kind).size).checks(
            AtCorner(machine, index), corner.name
        )
    ]


def _shaken(loaded: LoadedScenario, machine: MachineNumbers) -> MachineNumbers:
    """The numbers with what the layer change takes off every mount."""
    taken, by = taken_off(loaded)
    corners = zip(machine.corners, taken, strict=True)
    return replace(machine, shaken_by=by, corners=tuple(replace(c, shaken_off=t) for c, t in corners))


def _decision(
    loaded: LoadedScenario, machine: MachineNumbers, corner: CornerNumbers
) -> tuple[list[DecisionRow], str]:
    sizing = sizing_of(loaded.scenario)
    other, words = other_screw(corner.screw, sizing.other_screw, sizing)
    ball, plain = (corner.screw, other) if corner.screw.is_ball else (other, corner.screw)
    if ball.is_ball == plain.is_ball:
        return [], "no screw decision: sizing.other_screw is of the same type as the screw in the machine"
    rows = screw_decision(corner, machine.duty, ball, plain, len(machine.corners), prices_of(loaded.scenario))
    return rows, f"Screw decision: {words}."


def _assumptions(scenario: Scenario, machine: MachineNumbers) -> list[str]:
    duty = machine.duty
    lines = [
        "Loads: a stiff bed shares its weight by statics"
        + (" as on equal springs" if len(machine.corners) > 3 else "")
        + "; margins hold for the heaviest load and the worst corner.",
        f"When shaken, {100 * duty.vibration_friction:.0f} % of the thread's friction is counted on "
        "(sizing.vibration_friction).",
        "Friction within the range given for the nut; detent at its lower end where it holds.",
        "What the machine says: as bedsim run assembles it, at rest without friction and radial play, "
        "modes with contacts stuck; each bent screw alone over a turn.",
    ]
    if scenario.print.section:
        lines.append(
            "Wear, life and layer height: for layers as under [print]; travel and mass with sections."
        )
    if machine.unassembled:
        lines.append(f"The torque of side forces on the screws is not counted: {machine.unassembled}")
    low, _, high = machine.corners[0].screw.friction
    if low == high:
        lines.append(
            f"Friction is taken as exactly {low:g}: give nut.friction_coefficient as low, likely, high."
        )
    if scenario.drive.topology == "belt":
        lines.append("The one motor's torque, detent and inertia are shared equally among the screws.")
    if any(c.joint.parts for c in machine.corners):
        first, last = (100 * k for k in REMANENCE_PER_K_RANGE)
        lines.append(
            f"Magnets: rigid, coaxial, no iron near; pull within about {100 * HARDWARE_BAND:.0f} % of "
            f"hardware; remanence {number(100 * REMANENCE_PER_K, 2)} % per K ({number(first, 2)} to "
            f"{number(last, 2)})."
        )
    return lines


def _cautions(scenario: Scenario, machine: MachineNumbers, checks: list[Check]) -> tuple[str, ...]:
    passed = {c.key for c in checks if c.within is False}
    if AT_REST in passed:
        words = (
            "Caution: by these numbers the bed is not held when the motors are off: it can come down on "
            "hands, nozzle and print. What is missing is listed above."
        )
    elif any(_held_by_detent_alone(c) for c in machine.corners):
        words = (
            "Caution: without current these screws do not hold by themselves; only the motors' detent does, "
            "and it does not stop a rotor that has begun to turn: a knock can bring the bed down."
        )
    elif SHAKEN in passed:
        words = (
            "Caution: by these numbers the bed stays up without current as long as nothing shakes it; "
            "shaken, it comes down on hands, nozzle and print. What is missing is listed above."
        )
    else:
        words = (
            "Caution: by these numbers the bed stays up without current; grease, wear, warmth or vibration "
            "can lower friction below what was given, and then it comes down."
        )
    return (
        words,
        *_motor_carries(passed),
        "Caution: a motor pushes on when something is in the way: it can crush fingers.",
        *cautions(scenario),
        "These rows are computed from the numbers above and nothing else; whoever builds and runs the "
        "machine must decide, with measurements of the real parts.",
    )


def _motor_carries(passed: set[str]) -> tuple[str, ...]:
    if MOTOR_PUSHED not in passed:
        return ()
    return (
        "Caution: the motors' own bearings carry more than their data sheet allows: they wear, the rotor "
        "moves by its play, and a shaft that works loose in its coupling lets the bed down.",
    )


def _held_by_detent_alone(corner: CornerNumbers) -> bool:
    needed = loads.torque_to_hold(corner, corner.screw, corner.screw.friction[0])
    return needed > corner.motor.brake_torque
