"""The table of defaults: ordered, within the limits of the keys, with sources; root diameters."""

import numpy as np
import pytest

from bedsim import registry
from bedsim.kinds.screw_plain import thread_clearance_mm
from bedsim.scenario.defaults import TABLE, default_ranges, root_diameter_default
from bedsim.scenario.derived_defaults import RULES, SECTIONS, derived_defaults
from bedsim.scenario.keys import PARTS, field_at, value_adapter

LISTED = {
    **{(part, "any"): defaults for part, defaults in TABLE.items()},
    **{(k.part, k.name): k.defaults for part in registry.parts() for k in registry.kinds(part)},
    **{("nut", k.name): registry.screw_kind(k.name).nut for k in registry.kinds("screw")},
}
ENTRIES = [(part, kind, key, d) for (part, kind), keys in LISTED.items() for key, d in keys.items()]


@pytest.mark.parametrize(
    ("part", "kind", "key", "default"), ENTRIES, ids=[f"{p}-{k}-{n}" for p, k, n, _ in ENTRIES]
)
def test_every_default_keeps_order_and_the_limits_of_its_key(part, kind, key, default):
    loc = ("corner", 0, part, key) if part in PARTS else (part, key)
    assert field_at(loc) is not None, "no such key"
    assert default.low <= default.likely <= default.high
    for value in (default.low, default.likely, default.high):
        value_adapter(loc).validate_python(value)


def test_the_likely_default_agrees_with_the_schemas_own():
    """Two tables that state one number must not drift apart."""
    for part, kind, key, default in ENTRIES:
        loc = ("corner", 0, part, key) if part in PARTS else (part, key)
        field = field_at(loc)
        if kind == "any" and not field.is_required():
            assert field.default == default.likely, f"{part}.{key}"


def test_every_source_says_what_it_is():
    words = (
        "assumed",
        "computed",
        "from memory",
        "convention",
        "MISUMI",
        "ISO",
        "Cross",
        "alloy data",
        "a stage",
        "data sheet",
    )
    for part, kind, key, default in ENTRIES:
        assert default.source.startswith(words), f"{part} {kind} {key}: {default.source}"


def test_defaults_of_a_kind_include_those_of_every_kind():
    assert (
        default_ranges("guide", "wheels")["height_mm"] == default_ranges("guide", "profile_rail")["height_mm"]
    )


# Trapezoidal basic profile, RoyMech "Trapezoidal" (ISO 2904 / DIN 103-4): d, P -> d3, as printed in mm.
ROYMECH = [
    (8, 1.5, 6.2),
    (9, 1.5, 7.2),
    (10, 2, 7.5),
    (11, 2, 8.5),
    (11, 3, 7.5),
    (12, 2, 9.5),
    (12, 3, 8.5),
    (14, 3, 10.5),
]


@pytest.mark.parametrize(("diameter", "pitch", "root"), ROYMECH)
def test_root_diameter_of_trapezoidal_threads_is_the_tabulated_one(diameter, pitch, root):
    found = root_diameter_default("plain", diameter, pitch, 1)
    assert found.likely == pytest.approx(root, abs=0.005)
    assert root_diameter_default("plain", diameter, 4 * pitch, 4) == found


def test_root_diameter_of_tr16x4():
    """Engineers Edge, metric trapezoidal 7e table: d3 = 11.5 mm for Tr16x4."""
    assert root_diameter_default("plain", 16, 4, 1).likely == pytest.approx(11.5, abs=0.005)
    assert thread_clearance_mm(4) == 0.25


def test_root_diameter_of_ball_screws_covers_a_catalogue_example():
    """MISUMI p. 1676: shaft 15, lead 5: root diameter 12.5 mm."""
    found = root_diameter_default("rolled_ball", 15, 5, 1)
    assert found.low < 12.5 < found.high
    assert found.likely == pytest.approx(12.5, rel=0.02)


def test_a_thread_that_leaves_no_core_has_no_default():
    assert root_diameter_default("plain", 8, 8, 1) is None


# ---- defaults that follow from what stands beside them ------------------------------------------------


def corner(**tables):
    screw = {"kind": "rolled_ball", "diameter_mm": 16.0, "lead_mm": 5.0, "starts": 1}
    return {"screw": screw, "nut": {"axial_n_per_um": 40.0}} | tables


def test_a_ball_nut_of_16_by_5_is_as_stiff_across_as_its_contacts():
    """Hertz contacts of 65 balls at 45 degrees give 47 N/um along, 24 across and 2,400 N m/rad at 30 N (16 x
    5, ball circle radius 8.25 mm, 20 mm active): across half of along, tilt 51 N m/rad per N/um."""
    found = derived_defaults(
        "nut", "rolled_ball", corner(nut={"axial_n_per_um": 47.0, "active_length_mm": 20.0})
    )
    assert found["radial_n_per_um"].likely == pytest.approx(24, rel=0.03)
    assert found["tilt_nm_per_rad"].likely == pytest.approx(2400, rel=0.05)  # r of 8 mm, not 8.25
    assert found["radial_n_per_um"].low == pytest.approx(23.5 / 1.4, rel=0.005)
    usual = derived_defaults("nut", "rolled_ball", corner())["radial_n_per_um"]
    assert (usual.low, usual.likely, usual.high) == (12.5, 20.0, 60.0)


def test_the_tilt_of_a_nut_is_that_of_its_balls_one_by_one():
    """Balls on four turns, contact normals at 45 degrees, half of them each way: stiffness
    against tilting summed ball by ball over that along the axis."""
    r, length, count = 8e-3, 20e-3, 64
    turn = np.tile(2 * np.pi * np.arange(count) / 16, 2)
    z = np.tile(length * ((np.arange(count) + 0.5) / count - 0.5), 2)
    normal = np.stack([np.cos(turn), np.sin(turn), np.repeat([1.0, -1.0], count)]) / 2**0.5
    at = np.stack([r * np.cos(turn), r * np.sin(turn), z])
    arm = np.cross(at.T, normal.T)[:, 1]  # of a tilt about Y
    along, across, tilt = (float(np.sum(part**2)) for part in (normal[2], normal[0], arm))
    found = derived_defaults("nut", "rolled_ball", corner(nut={"axial_n_per_um": 40.0}))
    assert found["radial_n_per_um"].likely == pytest.approx(40 * across / along, rel=0.01)
    assert found["tilt_nm_per_rad"].likely == pytest.approx(40e6 * tilt / along, rel=0.02)


@pytest.mark.parametrize(
    ("section", "length", "low", "high"),
    [("20x20", 500, 0.19, 0.75), ("40x40", 800, 0.59, 2.4), ("steel_60x40x2", 500, 7.9, 31.7)],
)
def test_a_post_between_hinged_and_built_in(section, length, low, high):
    """192 E I/L^3 by hand: 20x20, 0.7 cm4, 500 mm: 192 x 70e9 x 0.7e-8 / 0.125 = 0.753 N/um; hinged a
    quarter."""
    found = derived_defaults("frame", "any", corner(frame={"section": section, "free_length_mm": length}))
    both = found["radial_n_per_um"], found["tangential_n_per_um"]
    for default in both:
        assert (default.low, default.high) == pytest.approx((low, high), rel=0.02)
        assert default.likely == pytest.approx((low * high) ** 0.5, rel=0.02)


def test_a_post_of_unknown_length_and_one_that_stands_free():
    """40x40, 9 cm4: 3 E I/L^3 = 0.151 N/um at 500 mm; 800 mm with a soft foot 1.5 E I/L^3 = 0.0185."""
    frame = {"section": "40x40", "post": "free_standing"}
    found = derived_defaults("frame", "any", corner(frame=frame))["radial_n_per_um"]
    assert (found.low, found.high) == pytest.approx((0.0185, 0.151), rel=0.01)
    plain = derived_defaults("frame", "any", corner(frame={}))["radial_n_per_um"]
    assert (plain.low, plain.likely, plain.high) == (0.5, 2.0, 8.0)
    assert set(SECTIONS) == {"20x20", "30x30", "40x40", "steel_40x20x2", "steel_60x40x2"}


def test_detent_is_a_share_of_the_holding_torque():
    """Data sheets read: 0.40 N m with 0.022 (5.5 %), 0.343 with 0.0177, 0.226 with 0.016, 0.549 with 0.028,
    1.26 with 0.045; the shares of seven motors lie between 3.6 and 11 %."""
    for holding, detent in ((0.40, 0.022), (0.343, 0.0177), (0.226, 0.016), (0.549, 0.028), (1.26, 0.045)):
        found = derived_defaults("motor", "any", corner(motor={"holding_torque_n_m": holding}))
        assert found["detent_torque_n_m"].low * 0.98 <= detent <= found["detent_torque_n_m"].high
        assert found["detent_torque_n_m"].likely == pytest.approx(0.055 * holding, rel=0.01)


def test_bearings_back_to_back_hold_an_end_as_those_face_to_face_do_not():
    """Hertz contacts of a pair 7000 or 7001 at 15 to 60 N: 2,500 to 4,900 against 90 to 320 N m/rad."""
    for arrangement, low, high in (("back_to_back", 2500, 4900), ("face_to_face", 90, 320)):
        screw = corner()["screw"] | {"bearing_arrangement": arrangement}
        found = derived_defaults("screw", "rolled_ball", corner(screw=screw))["bearing_tilt_nm_per_rad"]
        assert (found.low, found.high) == (low, high)
    unknown = derived_defaults("screw", "rolled_ball", corner())["bearing_tilt_nm_per_rad"]
    assert (unknown.low, unknown.high) == (90, 4900)


def test_every_rule_stands_beside_a_key_and_tells_its_words():
    for part, rules in RULES.items():
        for key, (_, words, source) in rules.items():
            assert field_at(("corner", 0, part, key)) is not None
            assert words and source


@pytest.mark.parametrize("ends", ["motor-free", "motor-supported"])
def test_a_screw_on_its_motor_takes_the_coupling_s_and_the_motor_s_defaults(ends):
    corner = {"screw": {"kind": "plain", "ends": ends}, "coupling": {"kind": "jaw"}}
    found = derived_defaults("screw", "plain", corner)
    assert found["coupling_nm_per_rad"].likely == 40.0
    assert (found["axial_play_um"].low, found["axial_play_um"].high) == (20.0, 80.0)
    assert "axial_play_um" not in derived_defaults("screw", "plain", {"screw": {"ends": "fixed-free"}})
    unknown = default_ranges("coupling", "not_known")["tilt_nm_per_rad"]
    kinds = [default_ranges("coupling", k)["tilt_nm_per_rad"] for k in ("rigid", "jaw", "helical", "disc")]
    assert (unknown.low, unknown.high) == (min(k.low for k in kinds), max(k.high for k in kinds))
