"""Keys that do nothing beside a choice: refused in a file, resting where the choice is made over the file."""

import pytest

from bedsim.results.reload import scenario_of
from bedsim.scenario.idle import resting_lines, rules
from bedsim.scenario.keys import PARTS, field_at
from bedsim.scenario.load import load_scenario
from bedsim.simulation import simulate

JOINTED = '[joint]\nkind = "rolling"\ntravel_mm = {low = 1, likely = 2, high = 3}\n'


def test_every_rule_names_keys_and_choices_that_there_are():
    for rule in rules():
        for key in (*rule.keys, *rule.beside):
            listed = key.replace(".element.", ".element..").replace("print.section.", "print.section..")
            steps = [0 if s == "" else s for s in listed.split(".")]
            loc = ("corner", 0, *steps) if steps[0] in PARTS else tuple(steps)
            assert field_at(loc) is not None, key


REFUSED = [
    (
        "[joint]\ntravel_mm = 2\n[guide]",
        'joint.travel_mm = 2: does nothing beside joint.kind = "rigid": a bolted nut does not move on its '
        "carriage. Leave it out.",
    ),
    (
        "[drive]\nbelt_n_per_um = 0.3\n[guide]",
        'drive.belt_n_per_um = 0.3: does nothing beside drive.topology = "motor_per_screw": there is no '
        "belt. Leave it out.",
    ),
    (
        "[nut]\nflank_angle_deg = {low = 14, likely = 15, high = 16}\n[guide]",
        "nut.flank_angle_deg = {low = 14, likely = 15, high = 16}: does nothing beside screw.kind = "
        '"rolled_ball": it belongs to the flanks of a plain thread. Leave it out.',
    ),
]


@pytest.mark.parametrize(("written", "line"), REFUSED)
def test_a_key_that_does_nothing_is_refused(write, faults, written, line):
    assert faults(write(("[guide]", written))) == [line]


def test_kinds_that_put_a_key_to_rest_alike_do_so_together(write, faults):
    """Two rolled screws and a ground one: no flank slides in any of them."""
    path = write(
        ("[guide]", "[sizing]\npressure_velocity_mpa_m_s = 2\n[guide]"),
        added='[corner.screw]\nkind = "ground_ball"\n',
    )
    assert "pressure_velocity_mpa_m_s = 2: does nothing beside screw.kind" in faults(path)[0]


def test_a_corners_own_key_is_refused_by_its_corner(write, faults):
    path = write(added="[corner.screw]\nupper_bearing_radial_n_per_um = 9\n")
    assert faults(path)[0].startswith("corner.C.screw.upper_bearing_radial_n_per_um = 9: does nothing beside")


def test_only_a_number_of_corners_tells_without_a_value(write, faults):
    path = write(("mass_kg = 2.5", "mass_kg = 2.5\nshear_modulus_gpa = 70"))
    words = "does nothing here: three screws do not twist the plate"
    assert faults(path) == [f"bed.shear_modulus_gpa = 70: {words}. Leave it out."]


def test_a_common_key_that_acts_at_one_corner_is_taken(write):
    path = write(("[guide]", "[joint]\ntravel_mm = 2\n[guide]"), added='[corner.joint]\nkind = "rolling"\n')
    assert load_scenario(path).scenario.corner[2].joint.travel_mm == 2


def test_the_first_corners_motor_drives_a_belt_and_the_others_do_not(write, faults):
    belt = ("[guide]", '[drive]\ntopology = "belt"\n[motor]\nholding_torque_n_m = 1.5\n[guide]')
    assert load_scenario(write(belt)).scenario.corner[0].motor.holding_torque_n_m == 1.5
    path = write(belt, added="[corner.motor]\nholding_torque_n_m = 2\n")
    assert faults(path)[0].startswith("corner.C.motor.holding_torque_n_m = 2: does nothing beside drive.topo")


def test_a_value_that_is_taken_anyway_claims_nothing(write):
    text = "[nut]\nclearance_um = 0\n[mount]\nrotation_nm_per_rad = 0\n[joint]\nelements = 1\n[guide]"
    assert load_scenario(write(("[guide]", text))).resting == {}


def test_an_option_that_does_nothing_is_refused_as_an_option(write, faults):
    assert faults(write(), "joint.travel_mm=2")[0].startswith("--set: joint.travel_mm = 2: does nothing")


def test_where_the_choice_is_made_over_the_file_the_key_rests(write):
    path = write(("[guide]", JOINTED + "[guide]"))
    assert "joint.travel_mm" in {r.key for r in load_scenario(path).ranges}
    for bolted in (
        load_scenario(path, ["joint.kind=rigid"]),
        load_scenario(path, varied=["joint.kind=rigid"]),
        load_scenario(path).with_values({"joint.kind": "rigid"}).with_values({"bed.mass_kg": 3.0}),
    ):
        assert bolted.resting == {"joint.travel_mm": ' beside joint.kind = "rigid"'}
        assert "joint.travel_mm" not in {r.key for r in bolted.ranges}
        assert 'travel_mm = 2.0  # not used beside joint.kind = "rigid"' in bolted.resolved_toml()
        assert resting_lines(bolted.resting) == ['Not used beside joint.kind = "rigid": joint.travel_mm.']


def test_values_that_come_back_from_a_choice_act_again(write):
    loaded = load_scenario(write(("[guide]", JOINTED + "[guide]")), ["joint.kind=rigid"])
    assert loaded.with_values({"joint.kind": "rolling"}).resting == {}


def test_a_result_is_read_again_with_keys_that_rest(write):
    path = write(("[guide]", JOINTED + "[guide]"), ("layers = 40", "layers = 2"))
    run = simulate(load_scenario(path, ["joint.kind=rigid"]), engine="equilibrium")
    assert scenario_of(run, "x.h5").scenario.corner[0].joint.travel_mm == 2


@pytest.mark.parametrize("options", [(), ("joint.kind=rigid",)])
def test_a_resolved_scenario_loads_as_a_file(write, tmp_path, options):
    loaded = load_scenario(write(("[guide]", JOINTED + "[guide]")), options)
    again = tmp_path / "resolved.toml"
    again.write_text(loaded.resolved_toml(), encoding="utf-8")
    assert load_scenario(again).scenario == loaded.scenario
    assert load_scenario(again).resting == loaded.resting


def test_a_radius_of_a_dish_on_flat_plates_is_refused(write, faults):
    ball = "[[sizing.joint_part.ball]]\nx_mm = 20\ny_mm = 0\ndiameter_mm = 5\ndish_radius_mm = 10\n"
    assert "dish_radius_mm does nothing on flat plates" in faults(write(added=ball))[0]
