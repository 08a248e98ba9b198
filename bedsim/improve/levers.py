"""What a builder can change: every lever as data.

A lever sets keys of every corner, or of the machine, to one of its options.  Spans of numbers are those of
the defaults (low, likely, high of the part's kind).  Prices are classes per corner or per machine, in EUR,
and assumed, like all spans marked so: give your own (`--price`).

A lever works by *removing* a cause or by *cancelling*: a height that takes the arm from a tilt, an angle that
turns one screw against another, a stiffness at which two causes meet.  What cancels holds only as long as
its number does.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Scope = Literal["corners", "corner", "machine"]
Value = str | float | int

PRICES = (0.0, 5.0, 15.0, 40.0, 150.0, 300.0)
"""EUR by class: 0 setting; 1 bracket or shim; 2 small part; 3 bought part; 4 screw or rail; 5 frame rebuilt.
Assumed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What becomes of one key: a value, a factor of what it is, its own plus something, the value of another
    key of the same corner, or a place in the span of its default."""

    key: str
    to: Value | None = None
    times: float | None = None
    plus: float | None = None
    level_with: str | None = None
    at: Literal["low", "likely", "high"] | None = None
    at_most: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """One way to pull a lever; `price` class instead of the lever's, `by_run`: only a run with friction can
    tell what it gains; `cancels` likewise instead of the lever's."""

    words: str
    changes: tuple[Change, ...]
    price: int | None = None
    by_run: bool = False
    cancels: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Lever:
    """A thing that can be changed.

    `scope`: at all corners alike, at one corner at a time, or once in the machine.  `only`: tests of other
    keys, key -> values for which there is such a lever.
    """

    name: str
    price: int
    options: tuple[Option, ...]
    scope: Scope = "corners"
    cancels: bool = False
    only: Mapping[str, tuple[Value, ...]] | None = None


def _kinds(key: str, **words: str) -> tuple[Option, ...]:
    return tuple(Option(words=w, changes=(Change(key=key, to=kind),)) for kind, w in words.items())


def _span(words: str, *keys: str) -> tuple[Option, ...]:
    """Low, likely and high of the defaults of some keys together."""
    told = {"low": "soft", "likely": "usual", "high": "stiff"}
    return tuple(
        Option(words=f"{words}: {told[place]}", changes=tuple(Change(key=k, at=place) for k in keys))
        for place in ("low", "likely", "high")
    )


def _places(key: str, words: str, unit: str, *values: float) -> tuple[Option, ...]:
    return tuple(Option(words=f"{words} {v:g}{unit}", changes=(Change(key=key, to=v),)) for v in values)


def _factors(key: str, *words: tuple[str, float]) -> tuple[Option, ...]:
    return tuple(Option(words=w, changes=(Change(key=key, times=f),)) for w, f in words)


def _pairs(words: str, by_run: bool, *changes: Change, price: int | None = None) -> Option:
    return Option(words=words, changes=changes, by_run=by_run, price=price)


JOINTED = ("rolling", "sliding", "flexure", "air_film")
BALL = ("rolled_ball", "ground_ball")
HELD = ("fixed-free", "supported-supported", "fixed-supported", "fixed-fixed")
BELOW_MM = (-70.0, -55.0, -40.0, -25.0, -15.0)

LEVERS: tuple[Lever, ...] = (
    Lever(
        name="joint.kind",
        price=3,
        options=(
            *_kinds(
                "joint.kind",
                rigid="bolt the nuts to their carriages",
                rolling="rolling joints between nut and carriage",
            ),
            _pairs(
                "flexures between nut and carriage", False, Change(key="joint.kind", to="flexure"), price=2
            ),
            _pairs("sliding joints between nut and carriage", True, Change(key="joint.kind", to="sliding")),
            _pairs(
                "air films between nut and carriage",
                True,
                Change(key="joint.kind", to="air_film"),
                Change(key="joint.rotation_nm_per_rad", to=200.0),
                price=5,
            ),
        ),
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
            *_places("guide.height_mm", "guides at", " mm", *BELOW_MM),
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
            *_places("mount.height_mm", "mounts at", " mm", -25.0, -15.0, -5.0),
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
            *_places("nut.thread_height_mm", "nuts' threads at", " mm", -60.0, -35.0, -15.0),
        ),
    ),
    Lever(
        name="joint.height_mm",
        price=1,
        cancels=True,
        options=_places("joint.height_mm", "joints at", " mm", -50.0, -15.0),
    ),
    Lever(
        name="nut.tilt_nm_per_rad",
        price=2,
        options=(
            *_places("nut.tilt_nm_per_rad", "nut seats that tilt freely,", " N m/rad", 1.0, 10.0, 100.0),
            _pairs(
                "nuts stiff against tilting", False, Change(key="nut.tilt_nm_per_rad", times=4.0), price=3
            ),
        ),
    ),
    Lever(
        name="mount.kind",
        price=1,
        options=_kinds(
            "mount.kind",
            groove="balls in grooves as mounts",
            bolted="bolt the bed to its carriages",
            flexure="flexures as mounts",
        ),
    ),
    Lever(
        name="mount.radial_n_per_um",
        price=1,
        only={"mount.kind": ("groove",)},
        options=_places("mount.radial_n_per_um", "mounts held along their grooves,", " N/µm", 15.0),
    ),
    Lever(
        name="mount.tangential_n_per_um",
        price=2,
        only={"mount.kind": ("groove", "flexure")},
        options=_span("mounts across", "mount.tangential_n_per_um"),
    ),
    Lever(
        name="mount.vertical_n_per_um",
        price=2,
        only={"mount.kind": ("groove", "flexure")},
        options=_span("mounts up and down", "mount.vertical_n_per_um"),
    ),
    Lever(
        name="screw.ends",
        price=2,
        only={"screw.ends": HELD},
        options=(
            *_kinds(
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
        only={"screw.ends": ("motor-free", "motor-supported")},
        options=_kinds(
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
        options=_factors(
            "screw.diameter_mm", ("thinner screws, x 0.75", 0.75), ("thicker screws, x 1.25", 1.25)
        ),
    ),
    Lever(
        name="screw.kind",
        price=4,
        only={"screw.kind": ("rolled_ball",)},
        options=(
            _pairs(
                "ground screws, bow at most 20 µm",
                False,
                Change(key="screw.kind", to="ground_ball"),
                Change(key="screw.run_out.bow_tir_um", at_most=20.0),
                Change(key="screw.run_out.eccentricity_tir_um", at_most=20.0),
            ),
        ),
    ),
    Lever(
        name="screw.run_out.bow_tir_um",
        price=3,
        options=_factors("screw.run_out.bow_tir_um", ("straighten or sort all screws, bow x 0.2", 0.2)),
    ),
    Lever(
        name="screw.run_out.bow_tir_um of one",
        price=3,
        scope="corner",
        options=_factors("screw.run_out.bow_tir_um", ("straighten or replace the screw, bow x 0.2", 0.2)),
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
        only={"screw.kind": BALL},
        options=_places("screw.lead_mm", "screws of lead", " mm", 4.0, 5.0, 10.0),
    ),
    Lever(
        name="print.first_layer_nut_mm",
        price=1,
        scope="machine",
        cancels=True,
        options=(
            _pairs(
                "print 80 mm lower on the screws", False, Change(key="print.first_layer_nut_mm", plus=-80.0)
            ),
            _pairs(
                "print 40 mm higher on the screws", False, Change(key="print.first_layer_nut_mm", plus=40.0)
            ),
        ),
    ),
    Lever(
        name="corner.x_mm, corner.y_mm",
        price=5,
        options=(
            _pairs(
                "screws further out, x 1.15",
                False,
                Change(key="x_mm", times=1.15),
                Change(key="y_mm", times=1.15),
            ),
            _pairs(
                "screws closer in, x 0.85",
                False,
                Change(key="x_mm", times=0.85),
                Change(key="y_mm", times=0.85),
            ),
        ),
    ),
    Lever(
        name="screw.bearing_tilt_nm_per_rad",
        price=2,
        only={"screw.ends": ("fixed-free", "fixed-supported", "fixed-fixed")},
        options=_span("lower bearings against tilting", "screw.bearing_tilt_nm_per_rad"),
    ),
    Lever(
        name="screw.upper_bearing_radial_n_per_um",
        price=2,
        only={"screw.ends": ("supported-supported", "fixed-supported", "fixed-fixed", "motor-supported")},
        options=(
            *_span("upper bearings sideways", "screw.upper_bearing_radial_n_per_um"),
            *_places("screw.upper_bearing_radial_n_per_um", "upper bearings that float,", " N/µm", 0.2),
        ),
    ),
    Lever(
        name="screw.bearing_axial_n_per_um",
        price=3,
        only={"screw.ends": HELD},
        options=_span("thrust bearings", "screw.bearing_axial_n_per_um"),
    ),
    Lever(
        name="screw.coupling_nm_per_rad",
        price=2,
        options=_span("couplings in torsion", "screw.coupling_nm_per_rad"),
    ),
    Lever(name="nut.axial_n_per_um", price=3, options=_span("nuts up and down", "nut.axial_n_per_um")),
    Lever(name="nut.radial_n_per_um", price=3, options=_span("nuts sideways", "nut.radial_n_per_um")),
    Lever(
        name="frame.tangential_n_per_um",
        price=5,
        options=(
            *_factors(
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
        options=_factors("frame.radial_n_per_um", ("frame towards the middle, x 4 as stiff", 4.0)),
    ),
    Lever(
        name="frame.rotation_nm_per_rad",
        price=5,
        options=_span("frame against turning", "frame.rotation_nm_per_rad"),
    ),
    Lever(
        name="frame.vertical_n_per_um", price=5, options=_span("frame up and down", "frame.vertical_n_per_um")
    ),
    Lever(
        name="guide.tilt_nm_per_rad",
        price=4,
        options=_span("guides against tilting", "guide.tilt_nm_per_rad"),
    ),
    Lever(
        name="guide.yaw_nm_per_rad", price=4, options=_span("guides against turning", "guide.yaw_nm_per_rad")
    ),
    Lever(
        name="guide.radial_n_per_um, guide.tangential_n_per_um",
        price=4,
        options=_span("guides sideways", "guide.radial_n_per_um", "guide.tangential_n_per_um"),
    ),
    Lever(
        name="guide.kind",
        price=4,
        options=_kinds(
            "guide.kind",
            profile_rail="profile rails as guides",
            round_rod="round rods as guides",
            wheels="wheels as guides",
        ),
    ),
    Lever(
        name="joint.lateral_n_per_mm",
        price=2,
        only={"joint.kind": JOINTED},
        options=(
            *_factors("joint.lateral_n_per_mm", ("joints recentred softer, x 0.25", 0.25)),
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
        only={"joint.kind": JOINTED},
        options=_factors("joint.element_radius_mm", ("joints' elements twice as far out", 2.0)),
    ),
    Lever(
        name="joint.rotation_nm_per_rad",
        price=2,
        only={"joint.kind": JOINTED},
        options=(
            _pairs(
                "anti-rotation parts at the joints, +200 N m/rad",
                False,
                Change(key="joint.rotation_nm_per_rad", plus=200.0),
            ),
        ),
    ),
    Lever(
        name="joint.axial_n_per_um",
        price=2,
        only={"joint.kind": JOINTED},
        options=_span("joints up and down", "joint.axial_n_per_um"),
    ),
    Lever(
        name="bed.mass_kg",
        price=3,
        scope="machine",
        options=_factors("bed.mass_kg", ("lighter bed, x 0.7", 0.7)),
    ),
    Lever(
        name="bed.thickness_mm",
        price=3,
        scope="machine",
        options=_factors("bed.thickness_mm", ("thicker plate, x 1.5", 1.5)),
    ),
    Lever(
        name="bed.temperature_rise_k",
        price=0,
        scope="machine",
        options=_factors(
            "bed.temperature_rise_k", ("square the machine up warm: half of the bed's warming", 0.5)
        ),
    ),
    Lever(
        name="motor.current_percent",
        price=0,
        options=_places("motor.current_percent", "motors' current at", " %", 50.0, 100.0),
    ),
    Lever(
        name="motor.gear_ratio",
        price=3,
        options=_places("motor.gear_ratio", "motors geared down", ":1", 3.0),
    ),
    Lever(
        name="drive.topology",
        price=3,
        scope="machine",
        options=_kinds(
            "drive.topology", belt="one motor and a belt", motor_per_screw="a motor at every screw"
        ),
    ),
    Lever(
        name="screw.alignment",
        price=1,
        options=(
            _pairs(
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
        options=_factors("guide.straightness_mm_per_m", ("straight guides, x 0.1", 0.1)),
    ),
    Lever(
        name="screw.travel",
        price=4,
        options=(
            _pairs(
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
            _pairs(
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
        only={"mount.kind": ("groove",)},
        options=(
            _pairs(
                "mounts that roll, friction 0.005", True, Change(key="mount.friction_coefficient", to=0.005)
            ),
        ),
    ),
    Lever(
        name="joint.friction_coefficient",
        price=2,
        only={"joint.kind": ("rolling", "sliding")},
        options=(_pairs("joints of low friction", True, Change(key="joint.friction_coefficient", at="low")),),
    ),
    Lever(
        name="joint.magnet_force_n",
        price=2,
        only={"joint.kind": ("rolling",)},
        options=(_pairs("magnets half as strong", True, Change(key="joint.magnet_force_n", times=0.5)),),
    ),
    Lever(
        name="guide.friction_n",
        price=1,
        options=(_pairs("guides of low friction", True, Change(key="guide.friction_n", at="low")),),
    ),
    Lever(
        name="nut.drag_torque_n_mm",
        price=1,
        options=(_pairs("nuts of low drag", True, Change(key="nut.drag_torque_n_mm", at="low")),),
    ),
    Lever(
        name="nut.clearance_um",
        price=2,
        only={"screw.kind": ("plain",)},
        options=(_pairs("nuts without play (spring nuts)", True, Change(key="nut.clearance_um", to=0.0)),),
    ),
    Lever(
        name="motion.speed_mm_s",
        price=0,
        scope="machine",
        options=(
            _pairs(
                "layer changes at a third of the speed", True, Change(key="motion.speed_mm_s", times=1 / 3)
            ),
            _pairs("layer changes three times as fast", True, Change(key="motion.speed_mm_s", times=3.0)),
        ),
    ),
    Lever(
        name="motion.acceleration_mm_s2",
        price=0,
        scope="machine",
        options=(_pairs("acceleration x 0.2", True, Change(key="motion.acceleration_mm_s2", times=0.2)),),
    ),
    Lever(
        name="motion.z_hop_mm",
        price=0,
        scope="machine",
        options=(
            _pairs("hop by 1 mm at every layer", True, Change(key="motion.z_hop_mm", to=1.0)),
            _pairs("no hop", True, Change(key="motion.z_hop_mm", to=0.0)),
        ),
    ),
    Lever(
        name="print.layer_mm",
        price=0,
        scope="machine",
        options=(
            _pairs("layers of 0.2 mm", False, Change(key="print.layer_mm", to=0.2)),
            _pairs("layers of 0.3 mm", False, Change(key="print.layer_mm", to=0.3)),
        ),
    ),
)
