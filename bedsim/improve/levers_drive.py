"""Levers of the drive: motors, couplings, belt, hand and length of screws."""

from __future__ import annotations

from bedsim.improve.lever import (
    Change,
    Lever,
    OfKinds,
    factors,
    gives_way,
    kinds,
    one_of,
    pairs,
    slides,
    span,
)

ON_MOTOR = one_of("motor-free", "motor-supported")
IN_BEARINGS = one_of("supported-supported", "fixed-free", "fixed-supported", "fixed-fixed")

DRIVE: tuple[Lever, ...] = (
    Lever(
        name="motor.steps_per_turn",
        price=3,
        options=(pairs("motors of 400 steps", False, Change(key="motor.steps_per_turn", to=400)),),
    ),
    Lever(
        name="motor.microsteps",
        price=0,
        options=(
            pairs("motors at 4 microsteps", True, Change(key="motor.microsteps", to=4)),
            pairs("motors at 64 microsteps", True, Change(key="motor.microsteps", to=64)),
            pairs("motors at 256 microsteps", True, Change(key="motor.microsteps", to=256)),
        ),
    ),
    Lever(
        name="motor.holding_torque_n_m",
        price=3,
        options=factors("motor.holding_torque_n_m", ("stronger motors, torque x 1.5", 1.5)),
    ),
    Lever(
        name="motor.place_error",
        price=3,
        options=(
            pairs(
                "motors that keep their place, errors x 0.3",
                False,
                *(Change(key=f"motor.place_error_{k}_deg", times=0.3) for k in (1, 2, 3, 4)),
            ),
        ),
    ),
    Lever(
        name="coupling.kind",
        price=2,
        only={"screw.ends": ON_MOTOR},
        options=OfKinds("coupling"),
    ),
    Lever(
        name="coupling.eccentricity_tir_um",
        price=1,
        only={"screw.ends": ON_MOTOR},
        options=(
            pairs(
                "couplings centred and squared, errors x 0.2",
                False,
                Change(key="coupling.eccentricity_tir_um", times=0.2),
                Change(key="coupling.angle_tir_um_per_100mm", times=0.2),
            ),
        ),
    ),
    Lever(
        name="drive.belt_n_per_um",
        price=3,
        scope="machine",
        only={"drive.topology": one_of("belt")},
        options=factors("drive.belt_n_per_um", ("stiffer belt, x 3", 3.0)),
    ),
    Lever(
        name="drive.pulley_eccentricity_tir_um",
        price=2,
        scope="machine",
        only={"drive.topology": one_of("belt")},
        options=factors("drive.pulley_eccentricity_tir_um", ("pulleys that run true, x 0.2", 0.2)),
    ),
    Lever(
        name="screw.hand",
        price=4,
        scope="corner",
        cancels=True,
        options=kinds("screw.hand", left="a left-hand screw and nut", right="a right-hand screw and nut"),
    ),
    Lever(
        name="screw.length_mm",
        price=4,
        options=factors("screw.length_mm", ("shorter screws, x 0.85", 0.85)),
    ),
    Lever(
        name="screw.bearing_radial_n_per_um",
        price=2,
        only={"screw.ends": IN_BEARINGS},
        options=span("lower bearings sideways", "screw.bearing_radial_n_per_um"),
    ),
    Lever(
        name="screw.axial_play_um",
        price=2,
        options=(pairs("screws held without axial play", True, Change(key="screw.axial_play_um", to=0.0)),),
    ),
    Lever(
        name="nut.friction_coefficient",
        price=2,
        only={"screw.kind": slides},
        options=(pairs("nuts of low friction", True, Change(key="nut.friction_coefficient", at="low")),),
    ),
    Lever(
        name="joint.damping_n_s_per_m",
        price=2,
        only={"joint.kind": gives_way},
        options=(
            pairs("dampers at the joints, 20 N s/m", True, Change(key="joint.damping_n_s_per_m", to=20.0)),
        ),
    ),
)
