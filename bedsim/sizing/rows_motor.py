"""Rows about the motor: torque left at speed, load angle, steps, layer heights, resonance."""

from __future__ import annotations

import math

from bedsim.sizing import loads, motor_margin, torque
from bedsim.sizing.layer_heights import Train, layer_heights, sentence
from bedsim.sizing.numbers import CornerNumbers, Duty
from bedsim.sizing.table import Check, below, shown
from bedsim.units import DEG, G_CM2, MINUTE, MM_S, N_MM, UM

SUBJECT = "Motor"

#: Electrical load angle that should not be passed. Our assumption: half of the torque is used at 30 degrees.
LOAD_ANGLE_LIMIT = 30.0 * DEG


def motor_rows(corner: CornerNumbers, duty: Duty) -> list[Check]:
    """All rows about the motor of one corner."""
    return [
        *_torque_rows(corner, duty),
        _resting(corner),
        *_step_rows(corner, duty),
        *_resonance_rows(corner, duty),
    ]


def _torque_rows(corner: CornerNumbers, duty: Duty) -> list[Check]:
    motor, high = corner.motor, corner.screw.friction[2]
    needed = loads.motor_torque(corner, duty, high)
    speed = duty.speed / corner.screw.lead * motor.gear_ratio
    if motor.pull_out:
        speeds, torques = zip(*motor.pull_out, strict=True)
        available = motor_margin.pull_out_torque(speed, speeds, torques)
        source, missing = "pull-out curve given", ""
    else:
        available = motor.holding_torque
        source = "holding torque: no pull-out curve given, the true limit is lower"
        missing = "the motor's pull-out curve (sizing.pull_out)"
    angle = motor_margin.load_angle(needed, motor.holding_torque)
    aside = torque.at_motor(corner.side_torque, motor.gear_ratio, motor.gear_efficiency)
    short = needed - available
    if short > 0:
        missing = f"{short / N_MM:.3g} N mm of motor torque at {speed * MINUTE:.0f} rpm"
    return [
        below(
            SUBJECT,
            "torque at travel speed against pull-out",
            needed / N_MM,
            available / N_MM,
            "N mm",
            formula="(T + T_side)/(i eta_g) + J alpha",
            source=source,
            corner=corner.name,
            missing=missing,
            note=f"{speed * MINUTE:.0f} rpm of the motor, friction at its upper end {high:g}",
        ),
        shown(
            SUBJECT,
            "torque of the standing side force on the bent screw",
            aside / N_MM,
            "N mm",
            formula="T_side/(i eta_g), T_side = side force x run-out across it",
            source="virtual work; derived",
            corner=corner.name,
            note="once per turn, at most, without friction; counted where the motor turns or holds",
        ),
        below(
            SUBJECT,
            "load angle, electrical",
            angle / DEG,
            LOAD_ANGLE_LIMIT / DEG,
            "°",
            formula="asin(T/T_hold)",
            source="Jones; limit assumed",
            corner=corner.name,
            note="infinite: the motor slips"
            if math.isinf(angle)
            else "raising and accelerating, friction at its upper end; bedsim run shows another: going "
            "down a layer, with place errors and vibration",
        ),
    ]


def _resting(corner: CornerNumbers) -> Check:
    """The load angle of a motor that holds the heaviest load alone, nothing rubbing."""
    motor = corner.motor
    held = max(corner.hanging) * corner.screw.lead / (2.0 * math.pi) / motor.gear_ratio
    return shown(
        SUBJECT,
        "load angle at rest, electrical",
        motor_margin.load_angle(held, motor.holding_torque) / DEG,
        "°",
        formula="asin(F l/(2 pi i T_hold))",
        source="Jones",
        corner=corner.name,
        note="heaviest load, no friction",
        key="resting_load_angle",
    )


def _step_rows(corner: CornerNumbers, duty: Duty) -> list[Check]:
    screw, motor = corner.screw, corner.motor
    train = train_of(corner)
    full, micro = train.full_step, train.microstep
    heights = layer_heights(train, duty.layer, motor.place_errors)
    up = loads.torque_up(corner, duty, screw.friction[1])
    free = loads.largest_thrust(corner, duty) * screw.lead / (2.0 * math.pi)
    friction = (up - free) / (motor.gear_ratio * motor.gear_efficiency)
    waits = motor_margin.microsteps_before_motion(friction, motor.holding_torque, motor.microsteps)
    increment = motor_margin.incremental_torque(motor.holding_torque, motor.microsteps)
    return [
        shown(
            SUBJECT,
            "travel of one microstep",
            micro / UM,
            "µm",
            formula="lead/(steps n i)",
            source="geometry",
            corner=corner.name,
            note=f"a full step is {full / UM:.3g} µm; one microstep adds {increment / N_MM:.3g} N mm",
        ),
        below(
            SUBJECT,
            "microsteps before the rotor moves against friction",
            waits,
            duty.layer / micro,
            "",
            formula="asin(T_f/T_hold)/(90°/n)",
            source="Jones; derived",
            corner=corner.name,
            note="against the microsteps in one layer; matters where the direction changes",
        ),
        shown(
            SUBJECT,
            "full steps in one layer",
            duty.layer / full,
            "",
            formula="layer/full step",
            source="geometry",
            corner=corner.name,
            note=sentence(heights),
        ),
        shown(
            SUBJECT,
            "thickness that the motor leaves from layer to layer",
            heights.wanted.thickness[1] / UM,
            "µm",
            formula="max 4 A_k |sin(k theta/2) sin(j k theta/2)|",
            source="StepperMeasured; derived",
            corner=corner.name,
            note="peak to valley at the worst phase",
        ),
    ]


def train_of(corner: CornerNumbers) -> Train:
    """What turns the motor's steps into travel at a corner."""
    motor = corner.motor
    return Train(
        lead=corner.screw.lead,
        steps_per_turn=motor.steps_per_turn,
        microsteps=motor.microsteps,
        gear_ratio=motor.gear_ratio,
    )


def _resonance_rows(corner: CornerNumbers, duty: Duty) -> list[Check]:
    motor = corner.motor
    k = motor_margin.magnetic_stiffness(motor.holding_torque, motor.steps_per_turn)
    frequency = motor_margin.resonance(k, loads.inertia_at_motor(corner, with_load=True))
    full = train_of(corner).full_step
    wave = motor.steps_per_turn / 4.0 * sum(k * likely for k, (_, likely, _) in motor.place_errors.items())
    return [
        shown(
            SUBJECT,
            "inertia at the motor, load carried along",
            loads.inertia_at_motor(corner, with_load=True) / G_CM2,
            "g cm²",
            formula="(J_screw + m (l/(2 pi))^2)/i^2 + J_rotor",
            source="THK, inertial moment",
            corner=corner.name,
            note="heaviest load",
            key="inertia",
        ),
        shown(
            SUBJECT,
            "resonance of rotor and load",
            frequency,
            "Hz",
            formula="sqrt(N_r T_hold/J)/(2 pi)",
            source="Jones",
            corner=corner.name,
            note=f"place errors change the magnetic spring by up to {100 * wave:.0f} %",
            key="rotor_resonance",
        ),
        shown(
            SUBJECT,
            "travel speed at which full steps meet it",
            frequency * full / MM_S,
            "mm/s",
            formula="f x full step",
            source="derived",
            corner=corner.name,
            note=f"microstep errors (period four steps) meet it at {4 * frequency * full / MM_S:.3g} mm/s; "
            f"travel speed here: {duty.speed / MM_S:.3g} mm/s",
        ),
    ]
