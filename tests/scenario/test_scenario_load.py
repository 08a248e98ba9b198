"""Loading: common tables and corners, ranges, defaults, overrides, values set, the resolved text."""

import tomllib
from dataclasses import FrozenInstanceError

import pytest

from bedsim.errors import InputError
from bedsim.scenario.load import LoadedScenario, load_scenario, scenario_from_tree


def _ranges(loaded: LoadedScenario) -> dict[str, tuple[float, float, float, str]]:
    return {r.key: (r.low, r.likely, r.high, r.basis) for r in loaded.ranges}


def _resolved(loaded: LoadedScenario) -> LoadedScenario:
    text = loaded.resolved_toml()
    return scenario_from_tree(tomllib.loads(text), folder=loaded.folder, source=text, name="resolved")


def test_common_tables_hold_for_every_corner_and_a_corner_wins_key_by_key(write):
    path = write(("x_mm = 180\n", "x_mm = 180\nscrew.run_out.bow_deg = 90\nguide.kind = 'wheels'\n"))
    path.write_text(path.read_text().replace("[guide]", "[screw.run_out]\nbow_tir_um = 120\n[guide]"))
    a, b, c = load_scenario(path).scenario.corner
    assert [x.screw.run_out.bow_tir_um for x in (a, b, c)] == [120, 120, 120]
    assert [x.screw.run_out.bow_deg for x in (a, b, c)] == [0, 90, 0]
    assert [x.guide.kind for x in (a, b, c)] == ["profile_rail", "wheels", "profile_rail"]


def test_defaults_go_by_the_kind_of_each_corners_part(write):
    loaded = load_scenario(write(("x_mm = 180\n", "x_mm = 180\nguide.kind = 'wheels'\n")))
    a, b, _ = loaded.scenario.corner
    assert a.guide.radial_n_per_um == 40
    assert b.guide.radial_n_per_um == 1
    keys = _ranges(loaded)
    assert keys["corner.A.guide.radial_n_per_um"] == (15, 40, 120, "default")
    assert keys["corner.B.guide.radial_n_per_um"] == (0.4, 1, 2.5, "default")
    assert "guide.radial_n_per_um" not in keys


def test_a_default_shared_by_all_corners_is_one_range_under_the_common_key(write):
    keys = _ranges(load_scenario(write()))
    assert keys["guide.radial_n_per_um"] == (15, 40, 120, "default")
    assert not [k for k in keys if k.startswith("corner.")]


def test_an_uncertain_number_gives_its_likely_value_and_its_range(write):
    path = write(added='[frame]\nradial_n_per_um = {low = 1, likely = 2, high = 5, basis = "measured"}\n')
    path.write_text(path.read_text().replace("mass_kg = 2.5", "mass_kg = {low = 2, likely = 2.5, high = 3}"))
    loaded = load_scenario(path)
    assert loaded.scenario.corner[2].frame.radial_n_per_um == 2
    assert _ranges(loaded)["frame.radial_n_per_um"] == (1, 2, 5, "measured")
    assert _ranges(loaded)["bed.mass_kg"] == (2, 2.5, 3, "estimated")
    found = next(r for r in loaded.ranges if r.key == "bed.mass_kg")
    assert (found.unit, found.source) == ("kg", "machine.toml")


def test_a_corners_range_carries_the_corners_name(write):
    path = write(("y_mm = 180\n", "y_mm = 180\nscrew.run_out.bow_tir_um = {low = 1, likely = 2, high = 4}\n"))
    loaded = load_scenario(path)
    assert _ranges(loaded)["corner.C.screw.run_out.bow_tir_um"][:3] == (1, 2, 4)
    assert loaded.scenario.corner[0].screw.run_out.bow_tir_um == 0


def test_a_corners_plain_number_takes_the_place_of_a_common_range(write):
    path = write(
        ("[guide]", "[screw.run_out]\nbow_tir_um = {low = 1, likely = 2, high = 4}\n[guide]"),
        ("y_mm = 180\n", "y_mm = 180\nscrew.run_out.bow_tir_um = 7\n"),
    )
    loaded = load_scenario(path)
    assert [c.screw.run_out.bow_tir_um for c in loaded.scenario.corner] == [2, 2, 7]


def test_a_range_that_cannot_matter_is_not_asked_for(write):
    """A free end has no upper bearing, no belt has no stiffness, a plate on three screws no twist."""
    keys = _ranges(load_scenario(write()))
    assert "screw.bearing_tilt_nm_per_rad" in keys
    for key in ("screw.upper_bearing_radial_n_per_um", "drive.belt_n_per_um", "bed.thickness_mm"):
        assert key not in keys
    held = _ranges(load_scenario(write(), ["screw.ends=supported-supported", "drive.topology=belt"]))
    assert "screw.bearing_tilt_nm_per_rad" not in held
    assert {"screw.upper_bearing_radial_n_per_um", "drive.belt_n_per_um"} <= set(held)


def test_probes_default_to_the_centre_and_the_four_corners_of_the_bed(write):
    probes = load_scenario(write()).scenario.probe
    assert [(p.x_mm, p.y_mm) for p in probes] == [(0, 0), (-150, -100), (150, -100), (150, 100), (-150, 100)]


def test_overrides_win_over_the_file_and_are_noted_in_its_text(write):
    loaded = load_scenario(
        write(), ["print.layers=50", "corner.B.screw.lead_mm=4", "joint.kind=rolling", "title=Two words"]
    )
    assert loaded.scenario.print.layers == 50
    assert [c.screw.lead_mm for c in loaded.scenario.corner] == [5, 4, 5]
    assert loaded.scenario.corner[0].joint.kind == "rolling"
    assert loaded.scenario.title == "Two words"
    assert "# set on the command line: print.layers=50" in loaded.source_text
    assert tomllib.loads(loaded.source_text)["print"]["layers"] == 40


def test_with_values_reaches_every_corner_that_inherits_and_no_other(write):
    loaded = load_scenario(write(("y_mm = 180\n", "y_mm = 180\nguide.radial_n_per_um = 9\n")))
    changed = loaded.with_values({"guide.radial_n_per_um": 3.0, "corner.A.screw.lead_mm": 4})
    assert [c.guide.radial_n_per_um for c in changed.scenario.corner] == [3, 3, 9]
    assert [c.screw.lead_mm for c in changed.scenario.corner] == [4, 5, 5]
    assert "guide.radial_n_per_um" not in _ranges(changed)
    assert [c.guide.radial_n_per_um for c in loaded.scenario.corner] == [40, 40, 9]


def test_with_values_at_either_end_of_every_default_range_loads(write):
    loaded = load_scenario(write(), ["joint.kind=rolling"])
    for found in loaded.ranges:
        for value in (found.low, found.high):
            assert loaded.with_values({found.key: value}).scenario != loaded.scenario


def test_with_values_is_checked_like_the_file(write):
    loaded = load_scenario(write())
    with pytest.raises(InputError, match=r"guide\.radial_n_per_um = -1: must be > 0"):
        loaded.with_values({"guide.radial_n_per_um": -1.0})
    with pytest.raises(InputError, match=r"Did you mean radial_n_per_um\?"):
        loaded.with_values({"guide.radal_n_per_um": 1.0})


@pytest.mark.parametrize("kind", ["rigid", "rolling", "sliding", "flexure"])
def test_the_resolved_text_loads_again_to_the_same_scenario_and_ranges(write, kind):
    path = write(
        (
            "x_mm = 180\n",
            "x_mm = 180\nguide.kind = 'wheels'\nscrew.run_out.bow_tir_um = {low=1, likely=2, high=3}\n",
        ),
        ("y_mm = 180\n", "y_mm = 180\nguide.radial_n_per_um = 9\n"),
    )
    loaded = load_scenario(path, [f"joint.kind={kind}"])
    again = _resolved(loaded)
    assert again.scenario == loaded.scenario
    assert _ranges(again) == _ranges(loaded)
    sources = {r.key: r.source for r in loaded.ranges if r.basis == "default"}
    assert {r.key: r.source for r in again.ranges if r.basis == "default"} == sources


def test_ranges_inside_listed_elements_survive_resolving(write):
    entry = "{x_mm = 20, y_mm = 0, lateral_n_per_mm = {low = 1, likely = 2, high = 3}}"
    loaded = load_scenario(write(added=f"[joint]\nkind = 'rolling'\nelement = [{entry}]\n".replace("'", '"')))
    assert _ranges(loaded)["joint.element.1.lateral_n_per_mm"][:3] == (1, 2, 3)
    assert _ranges(_resolved(loaded)) == _ranges(loaded)
    assert loaded.with_values({"joint.element.1.lateral_n_per_mm": 5}).scenario.corner[0].joint.element[
        0
    ] == (loaded.scenario.corner[0].joint.element[0].model_copy(update={"lateral_n_per_mm": 5}))


def test_the_resolved_text_marks_what_was_defaulted(write):
    lines = load_scenario(write()).resolved_toml().splitlines()
    mass, ratio, radial = (next(x for x in lines if x.startswith(k)) for k in ("mass_kg", "ratio", "radial"))
    assert "default" not in mass
    assert ratio.endswith(
        "# default: a stage's axial mode 0.0014, a spindle in rolling bearings 0.042, both measured; "
        "likely and high assumed"
    )
    assert 'basis = "default"' in radial
    assert "settle_s = 0.3  # default" in lines


def test_titles_with_quotes_and_control_characters_resolve(write):
    loaded = load_scenario(write(('"three corners"', '"a \\"b\\" \\\\ \\t µ \\u007f"')))
    assert _resolved(loaded).scenario.title == loaded.scenario.title == 'a "b" \\ \t µ \x7f'


def test_a_loaded_scenario_is_frozen(write):
    loaded = load_scenario(write())
    with pytest.raises(FrozenInstanceError):
        loaded.scenario = None
