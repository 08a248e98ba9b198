"""Levers of weight, drive, squareness, friction and motion."""

from __future__ import annotations

from bedsim.improve.lever import Change, Lever, factors, grooved, is_usual, kinds, pairs, places, slides

STEEL_OVER_ALUMINIUM = 7850.0 / 2700.0
"""Densities of the two; the heater goes with the plate.  Our assumption."""

SETTING: tuple[Lever, ...] = (
    Lever(
        name="bed.mass_kg",
        price=3,
        scope="machine",
        options=factors("bed.mass_kg", ("lighter bed, x 0.7", 0.7)),
    ),
    Lever(
        name="bed.thickness_mm",
        price=3,
        scope="machine",
        options=factors("bed.thickness_mm", ("thicker plate, x 1.5", 1.5)),
    ),
    Lever(
        name="bed material",
        price=3,
        scope="machine",
        options=(
            pairs(
                "steel plate in place of aluminium, as thick",
                False,
                Change(key="bed.mass_kg", times=STEEL_OVER_ALUMINIUM),
                Change(key="bed.expansion_um_per_m_k", to=11.8),
                Change(key="bed.shear_modulus_gpa", to=79.4),
            ),
        ),
    ),
    Lever(
        name="carriage.mass_kg",
        price=3,
        options=factors("carriage.mass_kg", ("lighter carriages, x 0.5", 0.5)),
    ),
    Lever(
        name="guide.offset",
        price=1,
        options=(
            pairs(
                "guides in line with their screws",
                False,
                Change(key="guide.offset_x_mm", to=0.0),
                Change(key="guide.offset_y_mm", to=0.0),
            ),
        ),
    ),
    Lever(
        name="mount.offset",
        price=1,
        options=(
            pairs(
                "mounts in line with their screws",
                False,
                Change(key="mount.offset_x_mm", to=0.0),
                Change(key="mount.offset_y_mm", to=0.0),
            ),
        ),
    ),
    Lever(
        name="mount.magnet_force_n",
        price=2,
        only={"mount.kind": grooved},
        options=(pairs("magnets at the mounts, 15 N", True, Change(key="mount.magnet_force_n", to=15.0)),),
    ),
    Lever(
        name="motion.jerk_mm_s3",
        price=0,
        scope="machine",
        options=(pairs("jerk of at most 1000 mm/s³", True, Change(key="motion.jerk_mm_s3", to=1000.0)),),
    ),
    Lever(
        name="print.settle_s",
        price=0,
        scope="machine",
        options=(pairs("three times as long a pause", True, Change(key="print.settle_s", times=3.0)),),
    ),
    Lever(
        name="bed.temperature_rise_k",
        price=0,
        scope="machine",
        options=factors(
            "bed.temperature_rise_k", ("square the machine up warm: half of the bed's warming", 0.5)
        ),
    ),
    Lever(
        name="motor.current_percent",
        price=0,
        options=places("motor.current_percent", "motors' current at", " %", 50.0, 100.0),
    ),
    Lever(
        name="motor.gear_ratio",
        price=3,
        options=places("motor.gear_ratio", "motors geared down", ":1", 3.0),
    ),
    Lever(
        name="drive.topology",
        price=3,
        scope="machine",
        options=kinds(
            "drive.topology", belt="one motor and a belt", motor_per_screw="a motor at every screw"
        ),
    ),
    Lever(
        name="screw.alignment",
        price=1,
        options=(
            pairs(
                "square the screws to their guides",
                False,
                *(
                    Change(key=f"screw.alignment.{k}", times=0.0)
                    for k in ("offset_x_um", "offset_y_um", "slope_x_um_per_100mm", "slope_y_um_per_100mm")
                ),
            ),
        ),
    ),
    Lever(
        name="guide.straightness_mm_per_m",
        price=4,
        options=factors("guide.straightness_mm_per_m", ("straight guides, x 0.1", 0.1)),
    ),
    Lever(
        name="screw.travel",
        price=4,
        options=(
            pairs(
                "screws of a better travel class, deviations x 0.2",
                False,
                *(
                    Change(key=f"screw.travel.{k}", times=0.2)
                    for k in ("slope_um_per_300mm", "variation_pv_um", "once_per_turn_pv_um")
                ),
            ),
        ),
    ),
    Lever(
        name="nut.bore_offset",
        price=1,
        options=(
            pairs(
                "bores of the nuts in their place",
                False,
                Change(key="nut.bore_offset_x_um", times=0.0),
                Change(key="nut.bore_offset_y_um", times=0.0),
            ),
        ),
    ),
    Lever(
        name="mount.friction_coefficient",
        price=2,
        only={"mount.kind": grooved},
        options=(
            pairs(
                "mounts that roll, friction 0.005", True, Change(key="mount.friction_coefficient", to=0.005)
            ),
        ),
    ),
    Lever(
        name="joint.friction_coefficient",
        price=2,
        only={"joint.kind": is_usual("joint", "friction_coefficient")},
        options=(pairs("joints of low friction", True, Change(key="joint.friction_coefficient", at="low")),),
    ),
    Lever(
        name="joint.magnet_force_n",
        price=2,
        only={"joint.kind": is_usual("joint", "magnet_force_n")},
        options=(pairs("magnets half as strong", True, Change(key="joint.magnet_force_n", times=0.5)),),
    ),
    Lever(
        name="guide.friction_n",
        price=1,
        options=(pairs("guides of low friction", True, Change(key="guide.friction_n", at="low")),),
    ),
    Lever(
        name="nut.drag_torque_n_mm",
        price=1,
        options=(pairs("nuts of low drag", True, Change(key="nut.drag_torque_n_mm", at="low")),),
    ),
    Lever(
        name="nut.clearance_um",
        price=2,
        only={"screw.kind": slides},
        options=(pairs("nuts without play (spring nuts)", True, Change(key="nut.clearance_um", to=0.0)),),
    ),
    Lever(
        name="motion.speed_mm_s",
        price=0,
        scope="machine",
        options=(
            pairs(
                "layer changes at a third of the speed", True, Change(key="motion.speed_mm_s", times=1 / 3)
            ),
            pairs("layer changes three times as fast", True, Change(key="motion.speed_mm_s", times=3.0)),
        ),
    ),
    Lever(
        name="motion.acceleration_mm_s2",
        price=0,
        scope="machine",
        options=(pairs("acceleration x 0.2", True, Change(key="motion.acceleration_mm_s2", times=0.2)),),
    ),
    Lever(
        name="motion.z_hop_mm",
        price=0,
        scope="machine",
        options=(
            pairs("hop by 1 mm at every layer", True, Change(key="motion.z_hop_mm", to=1.0)),
            pairs("no hop", True, Change(key="motion.z_hop_mm", to=0.0)),
        ),
    ),
    Lever(
        name="print.layer_mm",
        price=0,
        scope="machine",
        options=(
            pairs("layers of 0.2 mm", False, Change(key="print.layer_mm", to=0.2)),
            pairs("layers of 0.3 mm", False, Change(key="print.layer_mm", to=0.3)),
        ),
    ),
)
