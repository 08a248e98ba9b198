"""Rows about the motor: torque left at speed, load angle, steps, layer heights, resonance."""

from __future__ import annotations

import math

from bedsim.number_text import number
from bedsim.sizing import loads, motor_margin, torque, unit
from bedsim.sizing.layer_heights import Train, layer_heights, sentence
from bedsim.sizing.numbers import CornerNumbers
from bedsim.sizing.rows import AtCorner, Row, RowValue, Subject
from bedsim.units import DEG, MINUTE, MM_S, N_MM, UM

#: Electrical load angle that should not be passed. Our assumption: half of the torque is used at 30 degrees.
LOAD_ANGLE_LIMIT = 30.0 * DEG


def train_of(corner: CornerNumbers) -> Train:
    """What turns the motor's steps into travel at a corner."""
    motor = corner.motor
    return Train(
        lead=corner.screw.shaft.lead,
        steps_per_turn=motor.steps_per_turn,
        microsteps=motor.microsteps,
        gear_ratio=motor.gear_ratio,
    )


def _needed(at: AtCorner) -> float:
    """Torque [N m] of the motor while raising and accelerating, friction at its upper end."""
    return loads.motor_torque(at.corner, at.duty, at.corner.screw.friction[2])


def _pull_out(at: AtCorner) -> RowValue:
    motor, needed = at.corner.motor, _needed(at)
    speed = at.duty.speed / at.corner.screw.shaft.lead * motor.gear_ratio
    if motor.pull_out:
        speeds, torques = zip(*motor.pull_out, strict=True)
        available = motor_margin.pull_out_torque(speed, speeds, torques)
        source, missing = "pull-out curve given", ""
    else:
        available = motor.holding_torque
        source = "holding torque: no pull-out curve given, the true limit is lower"
        missing = "the motor's pull-out curve (sizing.pull_out)"
    short = needed - available
    if short > 0:
        missing = f"{number(short / N_MM)} N mm of motor torque at {speed * MINUTE:.0f} rpm"
    high = at.corner.screw.friction[2]
    return RowValue(
        needed,
        available,
        note=f"{speed * MINUTE:.0f} rpm of the motor, friction at its upper end {high:g}",
        missing=missing,
        words={"given": source},
    )


def _side_torque(at: AtCorner) -> RowValue:
    motor = at.corner.motor
    return RowValue(torque.at_motor(at.corner.side_torque, motor.gear_ratio, motor.gear_efficiency))


def _load_angle(at: AtCorner) -> RowValue:
    angle = motor_margin.load_angle(_needed(at), at.corner.motor.holding_torque)
    note = (
        "infinite: the motor slips"
        if math.isinf(angle)
        else "raising and accelerating, friction at its upper end; bedsim run shows another: going "
        "down a layer, with place errors and vibration"
    )
    return RowValue(angle, LOAD_ANGLE_LIMIT, note=note)


def _resting_load_angle(at: AtCorner) -> RowValue:
    """The load angle of a motor that holds the heaviest load alone, nothing rubbing."""
    motor = at.corner.motor
    held = max(at.corner.hanging) * at.corner.screw.shaft.lead / (2.0 * math.pi) / motor.gear_ratio
    return RowValue(motor_margin.load_angle(held, motor.holding_torque))


def _microstep(at: AtCorner) -> RowValue:
    motor, train = at.corner.motor, train_of(at.corner)
    increment = motor_margin.incremental_torque(motor.holding_torque, motor.microsteps)
    return RowValue(
        train.microstep,
        note=f"a full step is {number(train.full_step / UM)} µm; one microstep adds "
        f"{number(increment / N_MM)} N mm",
    )


def _waiting(at: AtCorner) -> RowValue:
    corner, motor = at.corner, at.corner.motor
    up = loads.torque_up(corner, at.duty, corner.screw.friction[1])
    free = loads.largest_thrust(corner, at.duty) * corner.screw.shaft.lead / (2.0 * math.pi)
    friction = (up - free) / (motor.gear_ratio * motor.gear_efficiency)
    waits = motor_margin.microsteps_before_motion(friction, motor.holding_torque, motor.microsteps)
    return RowValue(waits, at.duty.layer / train_of(corner).microstep)


def _full_steps(at: AtCorner) -> RowValue:
    train, layer = train_of(at.corner), at.duty.layer
    note = sentence(layer_heights(train, layer, at.corner.motor.place_errors))
    return RowValue(layer / train.full_step, note=note)


def _thickness(at: AtCorner) -> RowValue:
    heights = layer_heights(train_of(at.corner), at.duty.layer, at.corner.motor.place_errors)
    return RowValue(heights.wanted.thickness[1])


def _resonance(at: AtCorner) -> RowValue:
    motor = at.corner.motor
    wave = motor.steps_per_turn / 4.0 * sum(k * likely for k, (_, likely, _) in motor.place_errors.items())
    note = f"place errors change the magnetic spring by up to {100 * wave:.0f} %"
    return RowValue(_swing(at.corner), note=note)


def _swing(corner: CornerNumbers) -> float:
    """Frequency [Hz] of rotor and load on the motor's magnetic spring."""
    stiffness = motor_margin.magnetic_stiffness(corner.motor.holding_torque, corner.motor.steps_per_turn)
    return motor_margin.resonance(stiffness, loads.inertia_at_motor(corner, with_load=True))


def _met(at: AtCorner) -> RowValue:
    frequency, full = _swing(at.corner), train_of(at.corner).full_step
    return RowValue(
        frequency * full,
        note=f"microstep errors (period four steps) meet it at {number(4 * frequency * full / MM_S)} mm/s; "
        f"travel speed here: {number(at.duty.speed / MM_S)} mm/s",
    )


MOTOR = Subject(
    title="Motor",
    rows=(
        Row(
            key="pull_out",
            name="torque at travel speed against pull-out",
            unit=unit.N_MM,
            tell=_pull_out,
            stays="below",
            formula="(T + T_side)/(i eta_g) + J alpha",
            source="{given}",
        ),
        Row(
            key="side_torque",
            name="torque of the standing side force on the bent screw",
            unit=unit.N_MM,
            tell=_side_torque,
            formula="T_side/(i eta_g), T_side = side force x run-out across it",
            source="virtual work; derived",
            note="once per turn, at most, without friction; counted where the motor turns or holds",
        ),
        Row(
            key="load_angle",
            name="load angle, electrical",
            unit=unit.DEG,
            tell=_load_angle,
            stays="below",
            formula="asin(T/T_hold)",
            source="Jones; limit assumed",
        ),
        Row(
            key="resting_load_angle",
            name="load angle at rest, electrical",
            unit=unit.DEG,
            tell=_resting_load_angle,
            formula="asin(F l/(2 pi i T_hold))",
            source="Jones",
            note="heaviest load, no friction",
        ),
        Row(
            key="microstep",
            name="travel of one microstep",
            unit=unit.UM,
            tell=_microstep,
            formula="lead/(steps n i)",
            source="geometry",
        ),
        Row(
            key="microsteps_waiting",
            name="microsteps before the rotor moves against friction",
            unit=unit.ONE,
            tell=_waiting,
            stays="below",
            formula="asin(T_f/T_hold)/(90°/n)",
            source="Jones; derived",
            note="against the microsteps in one layer; matters where the direction changes",
        ),
        Row(
            key="full_steps",
            name="full steps in one layer",
            unit=unit.ONE,
            tell=_full_steps,
            formula="layer/full step",
            source="geometry",
        ),
        Row(
            key="layer_thickness",
            name="thickness that the motor leaves from layer to layer",
            unit=unit.UM,
            tell=_thickness,
            formula="max 4 A_k |sin(k theta/2) sin(j k theta/2)|",
            source="StepperMeasured; derived",
            note="peak to valley at the worst phase",
        ),
        Row(
            key="inertia",
            name="inertia at the motor, load carried along",
            unit=unit.G_CM2,
            tell=lambda at: RowValue(loads.inertia_at_motor(at.corner, with_load=True)),
            formula="(J_screw + m (l/(2 pi))^2)/i^2 + J_rotor",
            source="THK, inertial moment",
            note="heaviest load",
        ),
        Row(
            key="rotor_resonance",
            name="resonance of rotor and load",
            unit=unit.HERTZ,
            tell=_resonance,
            formula="sqrt(N_r T_hold/J)/(2 pi)",
            source="Jones",
        ),
        Row(
            key="resonance_speed",
            name="travel speed at which full steps meet it",
            unit=unit.MM_S,
            tell=_met,
            formula="f x full step",
            source="derived",
        ),
    ),
)
