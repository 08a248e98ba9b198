"""Levers of stiffness: bearings, nuts, frame, guides, joints."""

from __future__ import annotations

from bedsim.improve.lever import (
    HELD,
    Change,
    Lever,
    OfKinds,
    Option,
    factors,
    gives_way,
    one_of,
    pairs,
    places,
    span,
)

STIFFNESS: tuple[Lever, ...] = (
    Lever(
        name="screw.bearing_tilt_nm_per_rad",
        price=2,
        only={"screw.ends": one_of("fixed-free", "fixed-supported", "fixed-fixed")},
        options=span("lower bearings against tilting", "screw.bearing_tilt_nm_per_rad"),
    ),
    Lever(
        name="screw.upper_bearing_radial_n_per_um",
        price=2,
        only={
            "screw.ends": one_of("supported-supported", "fixed-supported", "fixed-fixed", "motor-supported")
        },
        options=(
            *span("upper bearings sideways", "screw.upper_bearing_radial_n_per_um"),
            *places("screw.upper_bearing_radial_n_per_um", "upper bearings that float,", " N/µm", 0.2),
        ),
    ),
    Lever(
        name="screw.bearing_axial_n_per_um",
        price=3,
        only={"screw.ends": HELD},
        options=span("thrust bearings", "screw.bearing_axial_n_per_um"),
    ),
    Lever(
        name="screw.coupling_nm_per_rad",
        price=2,
        options=span("couplings in torsion", "screw.coupling_nm_per_rad"),
    ),
    Lever(name="nut.axial_n_per_um", price=3, options=span("nuts up and down", "nut.axial_n_per_um")),
    Lever(name="nut.radial_n_per_um", price=3, options=span("nuts sideways", "nut.radial_n_per_um")),
    Lever(
        name="frame.tangential_n_per_um",
        price=5,
        options=(
            *factors(
                "frame.tangential_n_per_um",
                ("frame across, x 4 as stiff", 4.0),
                ("frame across, x 2 as stiff", 2.0),
            ),
            Option(
                words="frame across, x 0.3 as stiff",
                changes=(Change(key="frame.tangential_n_per_um", times=0.3),),
                cancels=True,
            ),
        ),
    ),
    Lever(
        name="frame.radial_n_per_um",
        price=5,
        options=factors("frame.radial_n_per_um", ("frame towards the middle, x 4 as stiff", 4.0)),
    ),
    Lever(
        name="frame.rotation_nm_per_rad",
        price=5,
        options=span("frame against turning", "frame.rotation_nm_per_rad"),
    ),
    Lever(
        name="frame.vertical_n_per_um", price=5, options=span("frame up and down", "frame.vertical_n_per_um")
    ),
    Lever(
        name="guide.tilt_nm_per_rad",
        price=4,
        options=span("guides against tilting", "guide.tilt_nm_per_rad"),
    ),
    Lever(
        name="guide.yaw_nm_per_rad", price=4, options=span("guides against turning", "guide.yaw_nm_per_rad")
    ),
    Lever(
        name="guide.radial_n_per_um, guide.tangential_n_per_um",
        price=4,
        options=span("guides sideways", "guide.radial_n_per_um", "guide.tangential_n_per_um"),
    ),
    Lever(
        name="guide.kind",
        price=4,
        options=OfKinds("guide"),
    ),
    Lever(
        name="joint.lateral_n_per_mm",
        price=2,
        only={"joint.kind": gives_way},
        options=(
            *factors("joint.lateral_n_per_mm", ("joints recentred softer, x 0.25", 0.25)),
            Option(
                words="joints recentred stiffer, x 4",
                changes=(Change(key="joint.lateral_n_per_mm", times=4.0),),
                cancels=True,
            ),
        ),
    ),
    Lever(
        name="joint.element_radius_mm",
        price=2,
        only={"joint.kind": gives_way},
        options=factors("joint.element_radius_mm", ("joints' elements twice as far out", 2.0)),
    ),
    Lever(
        name="joint.rotation_nm_per_rad",
        price=2,
        only={"joint.kind": gives_way},
        options=(
            pairs(
                "anti-rotation parts at the joints, +200 N m/rad",
                False,
                Change(key="joint.rotation_nm_per_rad", plus=200.0),
            ),
        ),
    ),
    Lever(
        name="joint.axial_n_per_um",
        price=2,
        only={"joint.kind": gives_way},
        options=span("joints up and down", "joint.axial_n_per_um"),
    ),
)
