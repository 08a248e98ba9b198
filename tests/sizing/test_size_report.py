"""The whole sizing of a small machine: rows against hand calculation, and what must hold between rows."""

import dataclasses
import math

import numpy as np
import pytest
from machines import PLAIN, loaded

from bedsim.analysis.sizing_gather import gather
from bedsim.analysis.sizing_report import size_scenario
from bedsim.components.row import resting_path
from bedsim.errors import InputError, ModelError
from bedsim.simulation import make_job
from bedsim.sizing import holding
from bedsim.sizing.machine import size_machine
from bedsim.sizing.rows import Row, RowValue, Subject
from bedsim.sizing.rows_holding import missing_words
from bedsim.sizing.table import worst_of_each
from bedsim.sizing.unit import NEWTON, ONE
from bedsim.units import GRAVITY, MM, N_MM

BALL = PLAIN.replace('kind = "plain"', 'kind = "rolled_ball"').replace("starts = 4\n", "")
BALL = BALL.replace("diameter_mm = 8", "diameter_mm = 16").replace("lead_mm = 8", "lead_mm = 5")
BALL = BALL.replace("{low = 0.08, likely = 0.12, high = 0.2}", "{low = 0.002, likely = 0.004, high = 0.01}")
MAGNETS = {
    "magnet": [
        {"x_mm": x, "y_mm": y, "diameter_mm": 8, "thickness_mm": 3, "gap_mm": 3}
        for x, y in ((20, 0), (-10, 17.3), (-10, -17.3))
    ],
    "ball": [
        {"x_mm": -x, "y_mm": y, "diameter_mm": 5, "plate_yield_mpa": 900}
        for x, y in ((20, 0), (-10, 17.3), (-10, -17.3))
    ],
}


def rows(report, corner=None):
    found = report.all_checks if corner else report.checks
    return {c.name: c for c in found if corner in (None, c.corner)}


def test_loads_add_up_to_all_that_hangs(tmp_path):
    """Bed 3 kg, part 0.5 kg, three carriages and nuts: the corners carry the sum."""
    machine = gather(loaded(tmp_path))
    own = sum(c.carriage_mass + c.nut_mass for c in machine.corners) * GRAVITY
    assert sum(c.hanging[0] for c in machine.corners) == pytest.approx(3.0 * GRAVITY + own)
    assert sum(c.hanging[1] for c in machine.corners) == pytest.approx(3.5 * GRAVITY + own)


def test_torque_to_raise_by_hand(tmp_path):
    """F d2/2 tan(lambda + rho) with d2 = 7 mm, friction 0.12 on 15 degree flanks, drag added."""
    machine = gather(loaded(tmp_path))
    corner = machine.corners[0]
    force = max(corner.hanging) * (1 + 0.2 / GRAVITY) + corner.guide_friction
    angle = math.atan(8 / (math.pi * 7)) + math.atan(0.12 / math.cos(math.radians(15)))
    hand = force * 3.5 * MM * math.tan(angle) + corner.screw.nut.drag_torque
    found = rows(size_scenario(loaded(tmp_path)), "left")["to raise"]
    assert found.value * 1e-3 == pytest.approx(hand)


@pytest.mark.parametrize(
    ("text", "lead", "arm", "f"), [(PLAIN, 8, 3.5, 0.12 / math.cos(math.pi / 12)), (BALL, 5, 8, 0.004)]
)
def test_torque_to_lower_by_hand(tmp_path, text, lead, arm, f):
    """Shigley eq. 8-2, F d2/2 tan(rho - lambda) + drag; Newton: what sinks at a presses with m (g - a), and
    the guide's friction carries a part of that; stopping, with m (g + a) less the same friction."""
    text = text.replace('kind = "profile_rail"', 'kind = "profile_rail"\nfriction_n = 3').replace(
        "[nut]", "[nut]\ndrag_torque_n_mm = 4"
    )
    corner = gather(loaded(tmp_path, text)).corners[0]
    # weight on the left mount: part and bed in the middle of the table, the mounts' line 100 mm off it
    mass = 3.5 * 200 / 300 / 2 + corner.carriage_mass + corner.nut_mass
    angle = math.atan(f) - math.atan(lead / (2 * math.pi * arm))
    found = rows(size_scenario(loaded(tmp_path, text)), "left")["to lower"]
    starting, stopping = ((mass * (GRAVITY - a) - 3) * arm * math.tan(angle) + 4 for a in (0.2, -0.2))
    assert found.value == pytest.approx(starting, rel=1e-9)
    assert f"setting off; {stopping:.3g} while stopping" in found.note


def test_a_carriage_that_does_not_sink_is_pulled_down(tmp_path):
    """More guide friction than weight: the screw works against it, as in raising."""
    text = PLAIN.replace('kind = "profile_rail"', 'kind = "profile_rail"\nfriction_n = 90')
    corner = gather(loaded(tmp_path, text)).corners[0]
    pull = 90 - max(corner.hanging) * (1 - 0.2 / GRAVITY)
    angle = math.atan(8 / (math.pi * 7)) + math.atan(0.12 / math.cos(math.radians(15)))
    found = rows(size_scenario(loaded(tmp_path, text)), "left")["to lower"]
    assert found.value * 1e-3 == pytest.approx(
        pull * 3.5 * MM * math.tan(angle) + corner.screw.nut.drag_torque
    )


def test_the_buckling_load_is_where_a_run_refuses(tmp_path):
    """The row's load, hung on the screws by a heavier bed, is refused by a run; a little less is not."""
    text = PLAIN.replace("length_mm = 300", 'length_mm = 700\nends = "supported-supported"')
    text = text.replace("holding_torque_n_m = 0.4", "holding_torque_n_m = 40")
    critical = rows(size_scenario(loaded(tmp_path, text)), "rear")["buckling load"].value
    own = gather(loaded(tmp_path, text)).corners[2]
    bed = 3 * (critical / GRAVITY - own.carriage_mass - own.nut_mass)  # a third on the rear mount

    def first_layer(share):
        heavier = text.replace("mass_kg = 3.0", f"mass_kg = {share * bed}")
        return make_job(loaded(tmp_path, heavier)).machine.system([1]).corner_load[0, 2]

    assert first_layer(0.998) == pytest.approx(critical, rel=0.005)
    with pytest.raises(ModelError, match="buckling load"):
        first_layer(1.004)


def test_holding_row_by_hand(tmp_path):
    """Shigley section 8-2: T = F l/(2 pi) tan(lambda - rho)/tan(lambda) keeps a load from sinking."""
    corner = gather(loaded(tmp_path)).corners[0]
    lead_angle, friction = math.atan(8 / (math.pi * 7)), math.atan(0.08 / math.cos(math.radians(15)))
    hand = max(corner.hanging) * 8 / (2 * math.pi) * math.tan(lead_angle - friction) / math.tan(lead_angle)
    found = rows(size_scenario(loaded(tmp_path)), "left")["torque to hold at the lowest friction"]
    assert found.value == pytest.approx(hand)


def test_the_brake_that_is_missing_is_enough(tmp_path):
    """Adding the brake torque or the counterweight that the row asks for brings its margin to one or more."""
    before = rows(size_scenario(loaded(tmp_path)))["torque to hold when shaken"]
    assert before.within is False
    words = before.missing.split()
    brake, lift = float(words[3]) * 1e-3, float(words[words.index("or") + 1])
    after = rows(size_scenario(loaded(tmp_path, sizing={"brake_torque_n_m": brake})))[
        "torque to hold when shaken"
    ]
    assert 1.0 <= after.margin < 1.05 and not after.missing
    for share, within in ((1.0, True), (0.9, False)):
        sizing = {"counterweight_n": share * lift}
        after = rows(size_scenario(loaded(tmp_path, sizing=sizing)))["torque to hold when shaken"]
        assert after.within is within


@pytest.mark.parametrize("detent", [0.0, 0.02, 1.0])
def test_detent_is_not_counted_on_when_shaken(tmp_path, detent):
    """Detent is a potential: what a turning rotor gives up on a hill it gets back behind it."""
    text = BALL.replace("[motor]\n", f"[motor]\ndetent_torque_n_m = {detent}\n")
    found = rows(size_scenario(loaded(tmp_path, text)))
    assert found["torque to hold when shaken"].limit == 0.0
    assert found["torque to hold at the lowest friction"].limit == pytest.approx(detent * 1e3)
    assert found["acceleration at which a shaken bed begins to sink"].value > 0.1


def test_a_drop_and_its_tilt_are_those_of_a_plate_that_carries_its_supports(tmp_path):
    """The rear support is 300 mm from the line of the others and stays so far from it in the plate."""
    found = rows(size_scenario(loaded(tmp_path)), "rear")
    row = found["one coupling slips and its corner drops alone"]
    tilt = float(row.note.split("tilt ")[1].split("°")[0])
    assert 300 * math.sin(math.radians(tilt)) == pytest.approx(row.value, rel=2e-3)


def test_a_fine_lead_holds_by_itself_and_a_coarse_one_does_not(tmp_path):
    fine = PLAIN.replace("lead_mm = 8", "lead_mm = 1.5").replace("starts = 4", "starts = 1")
    name = "torque to hold at the lowest friction"
    assert rows(size_scenario(loaded(tmp_path, fine)))[name].value == 0.0
    assert rows(size_scenario(loaded(tmp_path)))[name].value > 0.0


def test_every_row_names_formula_source_and_corner(tmp_path):
    report = size_scenario(loaded(tmp_path, sizing={"plain_nut_length_mm": 15, "joint_part": MAGNETS}))
    assert len(report.checks) > 30
    for check in report.all_checks:
        assert check.formula and check.source and check.corner, check.name


def test_what_is_not_given_is_called_missing_instead_of_guessed(tmp_path):
    missing = " ".join(size_scenario(loaded(tmp_path)).missing)
    for key in ("sizing.pull_out", "sizing.plain_nut_length_mm", "sizing.mount_travel_mm"):
        assert key in missing
    assert "sizing.dynamic_load_rating_n" in " ".join(size_scenario(loaded(tmp_path, BALL)).missing)


def test_pull_out_falls_with_speed(tmp_path):
    """10 mm/s on lead 8 mm: 75 rpm, a quarter of the way from 0.40 to 0.20 N m."""
    curve = [{"speed_rpm": 0, "torque_n_m": 0.4}, {"speed_rpm": 300, "torque_n_m": 0.2}]
    found = rows(size_scenario(loaded(tmp_path, sizing={"pull_out": curve})))
    assert found["torque at travel speed against pull-out"].limit == pytest.approx(350)


def test_the_load_angle_says_what_it_counts(tmp_path):
    """Raising at the upper friction, whatever the detent: asin of the torque over the holding torque."""
    text = PLAIN.replace("[motor]\n", "[motor]\ndetent_torque_n_m = {}\n")
    for detent in (0.0, 0.1):
        found = rows(size_scenario(loaded(tmp_path, text.replace("{}", str(detent), 1))), "left")
        row, asked = found["load angle, electrical"], found["torque at travel speed against pull-out"]
        assert row.value == pytest.approx(math.degrees(math.asin(asked.value / asked.limit)))
        assert "friction at its upper end" in row.note
        assert "bedsim run" in row.note and "place errors" in row.note


ASIDE = """
[[corner]]
name = "rear"
x_mm = 0
y_mm = 200
[corner.screw.alignment]
offset_x_um = 400
[corner.screw.run_out]
eccentricity_tir_um = 160
"""


def test_a_side_force_on_a_bent_screw_counts_where_the_motor_turns_and_where_it_holds(tmp_path):
    """The same torque as a run of the machine has: added at the motor, and to what must be held."""
    aside = BALL.split('[[corner]]\nname = "rear"')[0].replace('kind = "rolling"', 'kind = "rigid"') + ASIDE
    scenario = loaded(tmp_path, aside)
    machine = make_job(scenario).machine
    height = -np.linspace(0, 199 * 0.2e-3, 1000)[:, None] * np.ones(3)
    most = np.abs(machine.imposed(resting_path(np.zeros(1000), height))[:, machine.pushed]).max() / N_MM
    assert most > 1
    centred = loaded(tmp_path, aside.replace("offset_x_um = 400", "offset_x_um = 0"))
    found, before = (rows(size_scenario(x), "rear") for x in (scenario, centred))
    assert found["torque of the standing side force on the bent screw"].value == pytest.approx(most, rel=2e-3)
    assert before["torque of the standing side force on the bent screw"].value == 0
    for name in (
        "torque at travel speed against pull-out",
        "torque to hold at the lowest friction",
        "torque to hold when shaken",
    ):
        assert found[name].value - before[name].value == pytest.approx(most, rel=2e-3)
    asked, row = found["torque at travel speed against pull-out"], found["load angle, electrical"]
    assert row.value == pytest.approx(math.degrees(math.asin(asked.value / asked.limit)))


def test_a_side_force_can_turn_a_screw_that_locks_under_its_load(tmp_path):
    """Its reserve, as the torque that lowers it, is what the side force must beat; no counterweight helps."""
    assert holding.torque_to_hold(10.0, 8 * MM, -0.5, 0.005) == 0.0
    assert holding.torque_to_hold(10.0, 8 * MM, -0.5, 0.008) == pytest.approx(0.008 - 0.02 / math.pi)
    fine = PLAIN.replace("lead_mm = 8", "lead_mm = 1.5").replace("starts = 4", "starts = 1")
    corner = dataclasses.replace(gather(loaded(tmp_path, fine)).corners[0], side_torque=1.0)
    assert missing_words(corner, 0.2, 0.0).startswith("a brake of ")
    assert "counterweight" not in missing_words(corner, 0.2, 0.0)


def test_a_machine_that_cannot_be_assembled_says_that_side_forces_are_not_counted(tmp_path):
    """A column past its buckling load is refused by a run; the rows stand without."""
    slender = PLAIN.replace("diameter_mm = 8", "diameter_mm = 4").replace("lead_mm = 8", "lead_mm = 1")
    heavy = slender.replace("starts = 4", "starts = 1").replace("mass_kg = 3.0", "mass_kg = 60")
    heavy += "[corner.screw.run_out]\neccentricity_tir_um = 50\n"
    told = " ".join(size_scenario(loaded(tmp_path, heavy)).assumptions)
    assert "side forces on the screws is not counted" in told and "buckling" in told


def test_shares_of_the_axial_train_sum_to_one(tmp_path):
    for ends in ("fixed-free", "fixed-fixed"):
        text = PLAIN.replace("length_mm = 300", f'length_mm = 300\nends = "{ends}"')
        shares = size_scenario(loaded(tmp_path, text)).axial_shares
        assert set(shares) == {"left", "right", "rear"}
        for parts in shares.values():
            assert sum(parts.values()) == pytest.approx(1.0)


def test_joint_from_parts_sums_the_parts(tmp_path):
    report = size_scenario(loaded(tmp_path, sizing={"joint_part": MAGNETS, "joint_warming_k": 0}))
    found = rows(report, "left")
    assert len(report.joint_parts) == 6
    total = sum(p.stiffness for p in report.joint_parts)
    assert found["recentring stiffness"].value == pytest.approx(total / 1e3, rel=1e-3)
    pull = sum(p.pull for p in report.joint_parts)
    assert found["pull of magnets and springs when warm"].value == pytest.approx(pull)
    dead = found["dead zone: does not come back from within"].value
    assert dead == pytest.approx(1e6 * sum(p.friction for p in report.joint_parts) / total, rel=1e-3)


def test_parts_without_balls_keep_the_stated_friction(tmp_path):
    """Magnets alone carry no load: the joint's own coefficient, times load and pull, makes the dead zone."""
    one = loaded(tmp_path, sizing={"joint_part": {"magnet": MAGNETS["magnet"]}, "joint_warming_k": 0})
    found, corner = rows(size_scenario(one), "left"), gather(one).corners[0]
    load = max(corner.bed_load) + corner.carriage_mass * GRAVITY
    friction = corner.joint.friction_coefficient * (load + corner.joint.pull)
    dead = found["dead zone: does not come back from within"].value
    assert dead == pytest.approx(1e6 * friction / corner.joint.lateral)


def test_warm_magnets_pull_less_and_lift_off_comes_earlier(tmp_path):
    limits = [
        rows(size_scenario(loaded(tmp_path, sizing={"joint_part": MAGNETS, "joint_warming_k": k})))[
            "deceleration against lift-off of the joint"
        ].limit
        for k in (0, 60)
    ]
    assert limits[1] < limits[0]


def test_joint_travel_counts_run_out_clocking_heat_misalignment_and_bore(tmp_path):
    """100 um reading is 50 um off the axis; a bolted mount sends the bed's growth into the joint."""
    text = PLAIN.replace('[mount]\nkind = "groove"', '[mount]\nkind = "bolted"')
    text = text.replace("[joint]", "[screw.run_out]\neccentricity_tir_um = 100\n[joint]")
    text = text.replace("[joint]", "[screw.alignment]\noffset_x_um = 30\noffset_y_um = 40\n[joint]")
    found = rows(size_scenario(loaded(tmp_path, text)), "rear")["travel needed against travel"]
    assert "run-out 50," in found.note and "misalignment 50," in found.note
    growth = 23.6e-6 * 60 * 200 * 1e3  # um, rear corner 200 mm from the centroid of the mounts
    assert f"heat growth {growth:.3g}" in found.note
    assert found.value > 50 + 50 + growth


def test_belt_shares_the_motor(tmp_path):
    """One motor of three times the torque, detent and inertia is as good as three motors."""
    belt = PLAIN + '\n[drive]\ntopology = "belt"\npulley_inertia_g_cm2 = 0\n'
    one = gather(loaded(tmp_path, belt)).corners[0].motor
    own = gather(loaded(tmp_path)).corners[0].motor
    assert 3 * one.holding_torque == pytest.approx(own.holding_torque)
    assert 3 * one.detent_low == pytest.approx(own.detent_low)
    assert 3 * one.rotor_inertia == pytest.approx(own.rotor_inertia)


def test_unequal_corners_reach_the_end_of_a_groove(tmp_path):
    """Left groove: 1 - cos(tilt) = 3 mm/(1.5 x 206 mm); the rear corner is 300 mm from the others' line."""
    found = rows(size_scenario(loaded(tmp_path, sizing={"mount_travel_mm": 3})), "rear")
    tilt = math.acos(1 - 3 / (1.5 * math.hypot(180, 100)))
    row = found["one coupling slips and its corner drops alone"]
    assert row.limit == pytest.approx(300 * math.sin(tilt))
    assert row.value == pytest.approx(
        240 - gather(loaded(tmp_path)).corners[2].screw.shaft.root_diameter / MM
    )


def test_decision_table_has_rows_and_no_verdict(tmp_path):
    prices = {"ball_screw": 40, "plain_screw": 12, "brake": 25}
    sizing = {"plain_nut_length_mm": 15, "dynamic_load_rating_n": 6000}
    report = size_scenario(loaded(tmp_path, sizing=sizing, prices=prices))
    found = {row.name: row for row in report.decision}
    cost = found["cost of 3 screws"]
    assert cost.ball == 3 * (40 + 25)  # a rolling screw of 8 mm lead is driven back beyond the detent
    assert found["torque to raise"].ball < found["torque to raise"].plain
    assert found["life at the print's duty"].plain < found["life at the print's duty"].ball
    assert not any("cost" in row.name for row in size_scenario(loaded(tmp_path)).decision)


def test_ball_screw_rows_with_ratings(tmp_path):
    sizing = {"dynamic_load_rating_n": 6276, "static_load_rating_n": 13141}
    found = rows(size_scenario(loaded(tmp_path, BALL, sizing=sizing)))
    assert found["nominal life (90 % survive)"].margin > 1
    assert found["static safety"].value == pytest.approx(
        13141 / found["push against half the buckling load"].value
    )
    assert found["speed x diameter"].value == pytest.approx(16 * 120)


def test_overturning_lifts_the_lightest_mount_first(tmp_path):
    limits = [
        rows(size_scenario(loaded(tmp_path, sizing={"frame_acceleration_mm_s2": a})))[
            "deceleration against lift-off of the mount"
        ].limit
        for a in (0, 3000)
    ]
    assert limits[0] == pytest.approx(GRAVITY * 1e3)
    assert limits[1] < limits[0]


def test_worst_corner_is_kept():
    words = {"formula": "f", "source": "s"}
    rows = (
        Row(key="x", name="x", unit=NEWTON, tell=lambda at: at["x"], stays="below", **words),
        Row(key="y", name="y", unit=ONE, tell=lambda at: at["y"], stays="above", **words),
        Row(key="z", name="z", unit=ONE, tell=lambda at: at["z"], low_is_worse=True, **words),
    )
    one = {"x": RowValue(1.0, 4.0), "y": RowValue(3.0, 1.0), "z": RowValue(5.0)}
    two = {"x": RowValue(2.0, 4.0), "y": RowValue(6.0, 1.0), "z": RowValue(4.0)}
    table = Subject(title="a", rows=rows)
    made = [*table.checks(one, "one"), *table.checks(two, "two")]
    assert [c.corner for c in worst_of_each(made)] == ["two", "one", "two"]
    assert [c.margin for c in made] == [4.0, 3.0, None, 2.0, 6.0, None]


def test_more_load_never_raises_a_margin_of_the_screw(tmp_path):
    """Doubling the bed's weight in the numbers raises no margin of screw, motor, life and holding.

    But for the unloading of the nut, which weight prevents.
    """
    machine = gather(loaded(tmp_path))
    heavy = dataclasses.replace(
        machine,
        corners=tuple(
            dataclasses.replace(c, bed_load=(2 * c.bed_load[0], 2 * c.bed_load[1])) for c in machine.corners
        ),
    )
    subjects = ("Screw", "Motor", "Motors off", "Life")
    pairs = zip(size_machine(machine), size_machine(heavy), strict=True)
    compared = [
        (a.margin, b.margin)
        for a, b in pairs
        if a.subject in subjects and a.margin is not None and "unloading" not in a.name
    ]
    assert len(compared) > 15
    assert all(b <= a for a, b in compared)
    assert sum(b < a for a, b in compared) > 10


def test_a_counterweight_heavier_than_its_load_and_a_stop_above_the_nut_are_refused(tmp_path):
    """Then nothing hangs and nothing can sink: the rows would mean the opposite."""
    load = min(max(c.hanging) for c in gather(loaded(tmp_path)).corners)
    gather(loaded(tmp_path, sizing={"counterweight_n": 1.09 * load}))
    with pytest.raises(InputError, match=r"sizing\.counterweight_n = .*the bed would rise"):
        gather(loaded(tmp_path, sizing={"counterweight_n": 1.11 * load}))
    with pytest.raises(
        InputError, match=r"power_loss\.lower_stop_mm = 241: must be below the nut of corner left"
    ):
        gather(loaded(tmp_path, PLAIN + "[power_loss]\nlower_stop_mm = 241\n"))


BENT = {
    "screw.ends": "fixed-supported",
    "screw.run_out.bow_tir_um": 200.0,
    "screw.bearing_radial_n_per_um": 20.0,
    "screw.upper_bearing_radial_n_per_um": 10.0,
    "screw.bearing_tilt_nm_per_rad": 2000.0,
}


def test_bearing_loads_of_a_bow_by_hand(tmp_path):
    """One clamped end: M = phi/(L/(3 EI) + (1/k0 + 1/kL)/L^2 + 1/k_phi), phi = pi 100 um/L; M/L on bearings.

    Source: Roark beams, simply supported beam under an end moment; bearings in series with it.
    """
    machine = loaded(tmp_path).with_values(BENT)
    screw = machine.scenario.corner[0].screw
    EI, L = 206e9 * math.pi / 64 * (screw.root_diameter_mm * MM) ** 4, 0.3
    yielding = L / (3 * EI) + (1 / 20e6 + 1 / 10e6) / L**2 + 1 / 2000
    hand = math.pi * 100e-6 / L / yielding
    found = rows(size_scenario(machine), "left")
    moment = found["moment on a clamped bearing from the bow"]
    force = found["radial force on a bearing from the bow"]
    assert (moment.value, moment.unit) == (pytest.approx(hand, rel=1e-6), "N m")
    assert (force.value, force.unit) == (pytest.approx(hand / L, rel=1e-6), "N")


@pytest.mark.parametrize("key", ["screw.ends=fixed-free", "screw.run_out.bow_tir_um=0"])
def test_no_bearing_loads_where_nothing_is_straightened(tmp_path, key):
    name, value = key.split("=")
    plain = {**BENT, name: value if name == "screw.ends" else float(value)}
    assert not any("from the bow" in row for row in rows(size_scenario(loaded(tmp_path).with_values(plain))))


def test_a_bow_read_in_the_machine_is_the_run_out_read(tmp_path):
    """Half of 200 um, its crest within reach; read free it is drawn straighter, by less than stiff bearings
    would."""
    mounted = {**BENT, "screw.run_out.bow_measured": "mounted"}
    one, other = (gather(loaded(tmp_path).with_values(k)).corners[0].screw for k in (mounted, BENT))
    assert one.run_out == pytest.approx(100e-6, rel=1e-5)
    assert 100e-6 * (1 - 3 * math.pi / 16) < other.run_out < 100e-6
    assert one.mounting_moment / other.mounting_moment == pytest.approx(one.run_out / other.run_out, rel=1e-5)


@pytest.mark.parametrize(
    ("length", "margin", "asked"), [(300, 50 / 37.5, False), (340, 50 / 42.5, True), (440, 50 / 55, True)]
)
def test_slender_screws_are_asked_about_and_then_want_a_support(tmp_path, length, margin, asked):
    """8 mm: asked from 320 mm on, a support from 400 mm on."""
    text = PLAIN.replace("length_mm = 300", f"length_mm = {length}")
    row = rows(size_scenario(loaded(tmp_path, text)))["free length over diameter"]
    assert row.margin == pytest.approx(margin)
    assert ("how straight" in row.note) is asked
    assert row.within is (margin >= 1)


def test_a_motor_that_holds_its_screw_carries_bed_and_screw(tmp_path):
    """Push and screw against what a data sheet allows; nothing to tell where the screw has a bearing."""
    text = PLAIN.replace("length_mm = 300", 'length_mm = 300\nends = "motor-supported"')
    report = size_scenario(loaded(tmp_path, text))
    row = rows(report, "rear")["push on the motor's bearings"]
    corner = gather(loaded(tmp_path, text)).corners[2]
    screw = corner.screw.shaft.mass * GRAVITY
    assert row.value == pytest.approx(
        rows(report, "rear")["push against half the buckling load"].value + screw
    )
    assert row.limit == 10.0 and row.missing
    assert any("motors' own bearings" in words for words in report.cautions)
    plain = size_scenario(loaded(tmp_path))
    assert "push on the motor's bearings" not in rows(plain)
    assert not any("motors' own bearings" in words for words in plain.cautions)
