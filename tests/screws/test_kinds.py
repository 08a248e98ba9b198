"""Dimensions, efficiencies and nut stiffness against printed tables.

Sources: [ROYMECH] roymech.org, Trapezoidal screw threads (ISO 2904); [ENGEDGE] Engineers Edge, external ISO
metric trapezoidal threads 7e; [TRANSDEV] Trans Dev, trapezoidal screw specifications.  Values as printed.
"""

import math

import pytest

from bedsim.components.screw import Screw
from bedsim.errors import InputError
from bedsim.screws import kinds

MM = 1e-3


@pytest.mark.parametrize(
    ("d", "pitch", "d2", "D4", "d3", "D1"),
    [  # [ROYMECH], mm
        (8, 1.5, 7.25, 8.3, 6.2, 6.5),
        (9, 1.5, 8.25, 9.3, 7.2, 7.5),
        (10, 2, 9, 10.5, 7.5, 8),
        (11, 2, 10, 11.5, 8.5, 9),
        (11, 3, 9.5, 11.5, 7.5, 8),
        (12, 2, 11, 12.5, 9.5, 10),
        (12, 3, 10.5, 12.5, 8.5, 9),
        (14, 3, 12.5, 14.5, 10.5, 11),
    ],
)
def test_basic_dimensions(d, pitch, d2, D4, d3, D1):
    t = kinds.trapezoidal(d * MM, pitch * MM)
    got = [v / MM for v in (t.pitch_diameter, t.nut_major, t.root_diameter, t.nut_minor)]
    assert got == pytest.approx([d2, D4, d3, D1], abs=1e-9)


@pytest.mark.parametrize(
    ("d", "pitch", "minor_max", "minor_min"),
    [  # [ENGEDGE] 7e, mm
        (8, 1.5, 6.200, 5.921),
        (9, 2, 6.500, 6.191),
        (10, 1.5, 8.200, 7.921),
        (10, 2, 7.500, 7.191),
        (12, 3, 8.500, 8.135),
        (16, 4, 11.500, 11.074),
    ],
)
def test_root_is_the_largest_minor_diameter_of_class_7e(d, pitch, minor_max, minor_min):
    root = kinds.trapezoidal(d * MM, pitch * MM).root_diameter / MM
    assert root == pytest.approx(minor_max, abs=5e-4)
    assert root > minor_min


@pytest.mark.parametrize(
    ("d", "pitch", "starts", "degrees", "minutes", "at_01", "at_02"),
    [  # [TRANSDEV]: lead angle, efficiency at friction 0.1 and 0.2 (square-thread friction angle)
        (10, 2, 1, 4, 2, 0.41, 0.26),
        (10, 3, 1, 6, 25, 0.52, 0.35),
        (10, 2, 2, 8, 3, 0.58, 0.40),
        (12, 3, 1, 5, 12, 0.47, 0.31),
        (12, 3, 2, 10, 19, 0.63, 0.46),
        (14, 3, 1, 4, 22, 0.43, 0.27),
        (14, 4, 1, 6, 3, 0.51, 0.34),
        (14, 3, 2, 8, 41, 0.59, 0.42),
        (16, 4, 2, 10, 19, 0.63, 0.46),
        (18, 4, 1, 4, 33, 0.44, 0.28),
        (20, 4, 5, 19, 28, 0.75, 0.59),
        (20, 5, 4, 20, 0, 0.76, 0.60),
        (22, 5, 1, 4, 40, 0.45, 0.28),
        (24, 5, 1, 4, 14, 0.42, 0.27),
    ],
)
def test_lead_angles_and_efficiencies(d, pitch, starts, degrees, minutes, at_01, at_02):
    """Angles cut to minutes; efficiencies to two digits, up to 0.006 off its own formula."""
    t = kinds.trapezoidal(d * MM, pitch * MM, starts)
    assert math.degrees(t.lead_angle) == pytest.approx(degrees + minutes / 60, abs=1 / 60)
    assert kinds.raising_efficiency(t, 0.1, flank_angle=0.0) == pytest.approx(at_01, abs=0.006)
    assert kinds.raising_efficiency(t, 0.2, flank_angle=0.0) == pytest.approx(at_02, abs=0.006)
    assert kinds.raising_efficiency(t, 0.1) < kinds.raising_efficiency(t, 0.1, flank_angle=0.0)


def test_second_moment_of_the_smallest_root():
    """[TRANSDEV] prints I = 131 mm4 for Tr10x2, that of the smallest 7e root, 7.191 mm."""
    screw = Screw(
        kind="plain",
        diameter=10e-3,
        root_diameter=7.191e-3,
        pitch=2e-3,
        lead=2e-3,
        hand=1,
        length=0.3,
        ends="fixed-free",
        youngs_modulus=206e9,
        shear_modulus=79.4e9,
        density=7850.0,
        bearing_radial=1e8,
        upper_bearing_radial=1e8,
        bearing_tilt=1e4,
        bearing_axial=1e8,
        coupling=1e2,
    )
    assert screw.second_moment * 1e12 == pytest.approx(131, abs=0.5)


def test_self_locking_changes_sign_at_friction_over_cosine():
    """Self-locking limit tan(phi) = f/cos 15 deg (derived); Tr8x8 runs back, Tr8x2 does not at 0.1."""
    t = kinds.trapezoidal(8 * MM, 2 * MM, 4)
    at_limit = math.tan(t.lead_angle) * math.cos(math.radians(15))
    assert kinds.back_driving_efficiency(t, at_limit) == pytest.approx(0, abs=1e-12)
    assert (
        kinds.back_driving_efficiency(t, 0.1)
        > 0
        > kinds.back_driving_efficiency(kinds.trapezoidal(8e-3, 2e-3), 0.1)
    )


def test_nut_stiffness_follows_the_catalogue_rule():
    """THK: catalogue value at 30 % of Ca (10 % as preload), cube root between, 80 % for brackets."""
    assert kinds.nut_stiffness(200e6, 7649, load=0.3 * 7649) == pytest.approx(160e6)
    assert kinds.nut_stiffness(200e6, 7649, preload=0.1 * 7649) == pytest.approx(160e6)
    assert kinds.nut_stiffness(200e6, 7649, load=0.3 * 7649 / 8) == pytest.approx(80e6)
    for bad in ({}, {"load": 1.0, "preload": 1.0}, {"load": 0.0}):
        with pytest.raises(InputError, match="either load or preload"):
            kinds.nut_stiffness(200e6, 7649, **bad)


def test_catalogue_rows_of_16_by_5():
    """The catalogue prints Ca 780 kgf, K 20 kgf/um for 16 x 5; the remembered row is said to be from
    memory."""
    found, remembered = kinds.ball_screws(16 * MM, 5 * MM)
    assert found.status == "found" and remembered.status == "from memory"
    assert found.dynamic_rating == pytest.approx(7649, abs=1)
    assert found.stiffness == pytest.approx(196e6, abs=1e6)
    assert kinds.ball_screws(15 * MM, 5 * MM)[0].root == pytest.approx((12.5 * MM, 12.5 * MM))


def test_unknown_sizes_are_refused():
    with pytest.raises(InputError, match=r"no catalogue row here. Sizes: 12 x 4"):
        kinds.ball_screws(13 * MM, 5 * MM)
    with pytest.raises(InputError, match=r"must be 1.5 or 2 to 5"):
        kinds.trapezoidal(8 * MM, 1.0 * MM)
    with pytest.raises(InputError, match="leaves no core"):
        kinds.trapezoidal(4 * MM, 4 * MM)


def test_kinds_carry_ordered_ranges():
    for kind in kinds.KINDS.values():
        for r in (kind.friction, kind.clearance, kind.preload_share):
            assert r is None or r.low <= r.likely <= r.high
