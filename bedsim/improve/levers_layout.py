"""Levers of what the machine is: kinds of parts, heights, screws, places."""

from __future__ import annotations

from bedsim.improve.lever import (
    HELD,
    Change,
    Lever,
    OfKinds,
    Option,
    factors,
    grooved,
    kinds,
    one_of,
    pairs,
    places,
    rolls,
    span,
    springy,
)

BELOW_MM = (-70.0, -55.0, -40.0, -25.0, -15.0)

LAYOUT: tuple[Lever, ...] = (
    Lever(
        name="joint.kind",
        price=3,
        options=OfKinds("joint"),
    ),
    Lever(
        name="guide.height_mm",
        price=1,
        cancels=True,
        options=(
            Option(
                words="guides level with the mounts",
                changes=(Change(key="guide.height_mm", level_with="mount.height_mm"),),
            ),
            Option(
                words="guides level with the nuts' threads",
                changes=(Change(key="guide.height_mm", level_with="nut.thread_height_mm"),),
            ),
            *places("guide.height_mm", "guides at", " mm", *BELOW_MM),
        ),
    ),
    Lever(
        name="mount.height_mm",
        price=1,
        cancels=True,
        options=(
            Option(
                words="mounts level with the guides",
                changes=(Change(key="mount.height_mm", level_with="guide.height_mm"),),
            ),
            *places("mount.height_mm", "mounts at", " mm", -25.0, -15.0, -5.0),
        ),
    ),
    Lever(
        name="nut.thread_height_mm",
        price=1,
        cancels=True,
        options=(
            Option(
                words="nuts' threads level with the guides",
                changes=(Change(key="nut.thread_height_mm", level_with="guide.height_mm"),),
            ),
            *places("nut.thread_height_mm", "nuts' threads at", " mm", -60.0, -35.0, -15.0),
        ),
    ),
    Lever(
        name="joint.height_mm",
        price=1,
        cancels=True,
        options=places("joint.height_mm", "joints at", " mm", -50.0, -15.0),
    ),
    Lever(
        name="nut.tilt_nm_per_rad",
        price=2,
        options=(
            *places("nut.tilt_nm_per_rad", "nut seats that tilt freely,", " N m/rad", 1.0, 10.0, 100.0),
            pairs("nuts stiff against tilting", False, Change(key="nut.tilt_nm_per_rad", times=4.0), price=3),
        ),
    ),
    Lever(
        name="mount.kind",
        price=1,
        options=OfKinds("mount"),
    ),
    Lever(
        name="mount.radial_n_per_um",
        price=1,
        only={"mount.kind": grooved},
        options=places("mount.radial_n_per_um", "mounts held along their grooves,", " N/µm", 15.0),
    ),
    Lever(
        name="mount.tangential_n_per_um",
        price=2,
        only={"mount.kind": springy},
        options=span("mounts across", "mount.tangential_n_per_um"),
    ),
    Lever(
        name="mount.vertical_n_per_um",
        price=2,
        only={"mount.kind": springy},
        options=span("mounts up and down", "mount.vertical_n_per_um"),
    ),
    Lever(
        name="screw.ends",
        price=2,
        only={"screw.ends": HELD},
        options=(
            *kinds(
                "screw.ends",
                **{
                    "fixed-free": "let the screws' upper ends free",
                    "supported-supported": "screws supported at both ends",
                    "fixed-supported": "support the screws' upper ends",
                    "fixed-fixed": "hold both ends of the screws fast",
                },
            ),
        ),
    ),
    Lever(
        name="screw.ends on the motor",
        price=2,
        only={"screw.ends": one_of("motor-free", "motor-supported")},
        options=kinds(
            "screw.ends",
            **{
                "motor-free": "let the screws' upper ends free",
                "motor-supported": "support the screws' upper ends",
            },
        ),
    ),
    Lever(
        name="screw.diameter_mm",
        price=4,
        options=factors(
            "screw.diameter_mm", ("thinner screws, x 0.75", 0.75), ("thicker screws, x 1.25", 1.25)
        ),
    ),
    Lever(
        name="screw.kind",
        price=4,
        only={"screw.kind": rolls},
        options=OfKinds("screw"),
    ),
    Lever(
        name="screw.run_out.bow_tir_um",
        price=3,
        options=factors("screw.run_out.bow_tir_um", ("straighten or sort all screws, bow x 0.2", 0.2)),
    ),
    Lever(
        name="screw.run_out.bow_tir_um of one",
        price=3,
        scope="corner",
        options=factors("screw.run_out.bow_tir_um", ("straighten or replace the screw, bow x 0.2", 0.2)),
    ),
    Lever(
        name="screw.clocking_deg",
        price=0,
        scope="corner",
        cancels=True,
        options=tuple(
            Option(
                words=f"turn the screw in its coupling by {v:.0f}°",
                changes=(Change(key="screw.clocking_deg", plus=v),),
            )
            for v in (-120.0, -60.0, 60.0, 120.0, 180.0)
        ),
    ),
    Lever(
        name="screw.lead_mm",
        price=4,
        only={"screw.kind": rolls},
        options=places("screw.lead_mm", "screws of lead", " mm", 4.0, 5.0, 10.0),
    ),
    Lever(
        name="print.first_layer_nut_mm",
        price=1,
        scope="machine",
        cancels=True,
        options=(
            pairs(
                "print 80 mm lower on the screws", False, Change(key="print.first_layer_nut_mm", plus=-80.0)
            ),
            pairs(
                "print 40 mm higher on the screws", False, Change(key="print.first_layer_nut_mm", plus=40.0)
            ),
        ),
    ),
    Lever(
        name="corner.x_mm, corner.y_mm",
        price=5,
        options=(
            pairs(
                "screws further out, x 1.15",
                False,
                Change(key="x_mm", times=1.15),
                Change(key="y_mm", times=1.15),
            ),
            pairs(
                "screws closer in, x 0.85",
                False,
                Change(key="x_mm", times=0.85),
                Change(key="y_mm", times=0.85),
            ),
        ),
    ),
)
