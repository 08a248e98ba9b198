"""What the assembled machine says beside the formulas of `bedsim size`: on every shipped scenario, against
runs, against springs and beams by hand, and each reason true: it goes when its cause is taken away."""

import math
from pathlib import Path

import numpy as np
import pytest
from hand_beams import beam
from machines import PLAIN, loaded

from bedsim.analysis import machine_says as says
from bedsim.analysis.sizing_gather import gather
from bedsim.analysis.sizing_report import size_scenario
from bedsim.cli.size import report_lines
from bedsim.scenario.load import load_scenario
from bedsim.simulation import simulate
from bedsim.sizing.machine import size_machine
from bedsim.sizing.table import AGREES
from bedsim.units import DEG, GRAVITY, MM, N_PER_UM

SHIPPED = sorted(Path("scenarios").glob("*.toml"))
SHEETS = sorted((Path(__file__).parent / "sheets").glob("*.toml"))
RIGID = load_scenario(Path("scenarios/bent-rolled-rigid.toml"))
ROLLING = load_scenario(Path("scenarios/bent-rolled-rolling-joints.toml"))
FOUR = load_scenario(Path("scenarios/four-screws.toml"))
BELT = load_scenario(Path(__file__).parent / "sheets" / "belt.toml")

#: What only a bolted nut tells, and what only a groove does.
BOLTED, GROOVED = {"side_push", "bolted_run_out"}, {"mount_load"}


@pytest.mark.parametrize("file", [*SHIPPED, *SHEETS], ids=lambda f: f.stem)
def test_formula_and_machine_agree_or_the_row_says_why(file):
    """Every number that both know, at every corner; the reasons' factors lead from one to the other."""
    machine = load_scenario(file)
    corners = {c.name: c for c in machine.scenario.corner}
    found = {name: set() for name in corners}
    for row in size_scenario(machine).all_checks:
        if row.machine is None:
            assert not row.why
            continue
        found[row.corner].add(row.key)
        apart = abs(row.machine - row.value) > AGREES * abs(row.value)
        assert bool(row.why) is apart, (row.corner, row.name, row.value, row.machine)
        if apart:
            told = [float(part.split("(x ")[1].rstrip(")")) for part in row.why.split(", ") if "(x " in part]
            # the steps that are not told, and two digits of those that are, leave a little
            assert math.prod(told) == pytest.approx(row.machine / row.value, rel=0.08), row.why
    for name, corner in corners.items():
        wanted = set(says.ANSWERS) - (BOLTED if corner.joint.kind != "rigid" else set())
        assert found[name] == wanted - (GROOVED if corner.mount.kind != "groove" else set())


def test_the_report_prints_it():
    lines = "\n".join(report_lines(size_scenario(RIGID)))
    assert "the machine says 20.2: bearings and nut yield (x 0.73)" in lines


def test_a_machine_that_a_run_refuses_keeps_its_formulas(tmp_path):
    slender = PLAIN.replace("diameter_mm = 8", "diameter_mm = 4").replace("lead_mm = 8", "lead_mm = 1")
    heavy = slender.replace("starts = 4", "starts = 1").replace("mass_kg = 3.0", "mass_kg = 60")
    report = size_scenario(loaded(tmp_path, heavy))
    assert all(row.machine is None for row in report.all_checks)


def answers(machine, key, corner=0):
    """Formula, and the steps from it to the machine's number, SI."""
    numbers, name = gather(machine), machine.scenario.corner[corner].name
    row = next(r for r in size_machine(numbers) if r.key == key and r.corner == name)
    return row.value * row.measured.si, says.ANSWERS[key](says.assembled(machine, numbers), corner)


def factor(machine, key, words, corner=0):
    """By how much one step changes the number."""
    value, steps = answers(machine, key, corner)
    for told, after in steps:
        if told == words:
            return after / value
        value = after
    raise AssertionError(f"{key} has no step {words}")


STIFF = 1e4
BEARINGS = {
    "screw.bearing_radial_n_per_um": STIFF,
    "screw.upper_bearing_radial_n_per_um": STIFF,
    "screw.bearing_tilt_nm_per_rad": 1e3 * STIFF,
}
NUT = {"nut.radial_n_per_um": STIFF, "nut.tilt_nm_per_rad": 1e3 * STIFF}
NO_BOW = {f"corner.{c.name}.screw.run_out.bow_tir_um": 0.0 for c in RIGID.scenario.corner}
NO_SLOPE = NO_BOW | {"screw.run_out.eccentricity_tir_um": 100.0}
SOFT_NUT = {"nut.radial_n_per_um": 0.1}
ALIKE = {"frame.radial_n_per_um": 0.9, "frame.tangential_n_per_um": 0.9}
ALONE = {
    "mount.radial_n_per_um": 1e-4,
    "mount.tangential_n_per_um": 1e-4,
    "guide.tilt_nm_per_rad": 1e3 * STIFF,
    "frame.rotation_nm_per_rad": 1e3 * STIFF,
}
LIGHT = {
    "motor.rotor_inertia_g_cm2": 1e-3,
    "screw.density_kg_m3": 1e-2,
    "mount.vertical_n_per_um": STIFF,
    "guide.friction_n": 0.0,
    "nut.drag_torque_n_mm": 0.0,
}
RIGID_TRAIN = {
    "screw.bearing_axial_n_per_um": STIFF,
    "screw.coupling_nm_per_rad": STIFF,
    "screw.youngs_modulus_gpa": 206 * STIFF,
    "screw.shear_modulus_gpa": 79.4 * STIFF,
    "nut.axial_n_per_um": STIFF,
    "frame.vertical_n_per_um": STIFF,
    "joint.axial_n_per_um": STIFF,
    "mount.vertical_n_per_um": STIFF,
    "guide.friction_n": 0.0,
    "nut.drag_torque_n_mm": 0.0,
}
#: In the middle of the three mounts, the part with it: every corner carries a third.
MIDDLE = -20 / 3
CENTRED = {"bed.centre_y_mm": MIDDLE, "print.part_y_mm": MIDDLE}
SQUARE = {"guide.yaw_nm_per_rad": 1e3 * STIFF, "frame.rotation_nm_per_rad": 1e3 * STIFF}
UNEQUAL = {"corner.back left.frame.vertical_n_per_um": 1.0, "bed.thickness_mm": 30.0}
FREE, STEEP = {"screw.ends": "fixed-free"}, {"screw.lead_mm": 20.0}

TRUE = [
    ("lateral_stiffness", says.BEARINGS, RIGID, {}, BEARINGS),
    ("critical_speed", says.BEARINGS, RIGID, {}, BEARINGS),
    ("lateral_stiffness", says.NUT, RIGID, SOFT_NUT, NUT),
    ("side_push", says.YIELDING, RIGID, {}, BEARINGS | NUT),
    ("bolted_run_out", says.YIELDING, RIGID, {}, BEARINGS | NUT),
    ("side_push", says.CREST, RIGID, {"print.first_layer_nut_mm": 380.0}, NO_SLOPE),
    ("side_push", says.DIRECTION, RIGID, {}, ALIKE),
    ("side_push", says.SQUARE, RIGID, FREE, {"nut.tilt_nm_per_rad": 1e-2}),
    ("side_push", says.HELD, RIGID, FREE, FREE | ALONE),
    ("axial_stiffness", says.TURNS, ROLLING, {}, {"joint.rotation_nm_per_rad": STIFF}),
    ("axial_stiffness", says.TOGETHER, FOUR, {}, {"bed.shear_modulus_gpa": 1e-4}),
    ("axial_stiffness", says.MOUNT, RIGID, {}, {"mount.vertical_n_per_um": STIFF}),
    ("sinking", says.STIFFNESS, RIGID, {}, {"mount.vertical_n_per_um": STIFF}),
    ("sinking", says.TOGETHER, FOUR, UNEQUAL, {"bed.shear_modulus_gpa": 1e-4}),
    ("corner_frequency", says.SWINGING, RIGID, {"motor.rotor_inertia_g_cm2": 500.0}, LIGHT),
    ("corner_frequency", says.BODY, RIGID, {"bed.centre_y_mm": 60.0}, CENTRED | SQUARE),
    ("rotor_resonance", says.TRAIN, RIGID, STEEP, STEEP | RIGID_TRAIN),
    ("rotor_resonance", says.BODY, RIGID, STEEP, {"screw.lead_mm": 1.0}),
    ("hanging_weight", says.COUNTERWEIGHT, RIGID, {"sizing.counterweight_n": 5.0}, {}),
    ("resting_load_angle", says.COUNTERWEIGHT, RIGID, {"sizing.counterweight_n": 5.0}, {}),
    ("hanging_weight", says.SHARED, FOUR, UNEQUAL, {}),
    ("resting_load_angle", says.SHARED, FOUR, UNEQUAL, {}),
    ("mount_load", says.SHARED, FOUR, UNEQUAL, {}),
    ("resting_load_angle", says.ONE_MOTOR, BELT, {}, None),
    ("resting_load_angle", says.STRAIGHT, RIGID, {"motor.holding_torque_n_m": 0.02}, {}),
]


@pytest.mark.parametrize(("key", "words", "machine", "cause", "cure"), TRUE)
def test_a_reason_goes_when_its_cause_is_taken_away(key, words, machine, cause, cure):
    """With the cause the step matters; without it what is left of it is below half a hundredth."""
    assert abs(factor(machine.with_values(cause), key, words) - 1.0) > 0.01
    if cure is not None:
        assert factor(machine.with_values(cure), key, words) == pytest.approx(1.0, abs=5e-3)


def shaken_alone(file):
    return load_scenario(Path(f"scenarios/{file}.toml")).with_values(
        {
            "guide.friction_n": 0.0,
            "nut.drag_torque_n_mm": 0.0,
            "mount.friction_coefficient": 0.0,
            **{f"motor.place_error_{k}_deg": 0.0 for k in (1, 2, 3, 4)},
            "motor.microsteps": 256,
            "bed.temperature_rise_k": 0.0,
        }
    )


@pytest.mark.parametrize("file", ["bent-rolled-rigid", "thick-layers"])
def test_the_numbers_are_those_of_a_run(file):
    """Side force, load angle, mount force and weight of a run at rest, without friction and motor errors,
    one screw bent at a time: a run looks at every layer, so it meets a crest within half a layer's turn."""
    base = shaken_alone(file)
    rows = size_scenario(base).all_checks
    names = [c.name for c in base.scenario.corner]
    bent = {n: f"corner.{n}.screw.run_out.bow_tir_um" for n in names}
    turn = 2 * math.pi * base.scenario.print.layer_mm / base.scenario.corner[0].screw.lead_mm
    for k, name in enumerate(names):
        told = {r.key: r.machine for r in rows if r.corner == name}
        alone = base.with_values({bent[other]: 0.0 for other in names if other != name})
        layers = simulate(alone, engine="equilibrium").layers
        push = layers.side_force[:, k].max()
        assert told["side_push"] * math.cos(turn / 2) * 0.995 <= push <= told["side_push"] * 1.005
        assert layers.load_angle[:, k].max() / DEG == pytest.approx(told["resting_load_angle"], rel=2e-3)
        assert layers.mount_force[:, k].min() == pytest.approx(told["mount_load"], rel=2e-3)
        assert layers.axial_force[:, k].max() == pytest.approx(told["hanging_weight"], rel=2e-3)


def test_a_push_is_a_deflection_of_guide_and_frame():
    """Alike in both directions: k in series times what reaches the carriage, at every corner."""
    machine = RIGID.with_values(ALIKE)
    corner = machine.scenario.corner[0]
    k = 1 / (1 / corner.guide.radial_n_per_um + 1 / corner.frame.radial_n_per_um)
    told = {(r.key, r.corner): r.machine for r in size_scenario(machine).all_checks}
    for name in (c.name for c in machine.scenario.corner):
        assert told["side_push", name] == pytest.approx(k * told["bolted_run_out", name], rel=1e-2)


def test_axial_stiffness_is_springs_in_series():
    """Between bed and ground: what the formula has, the nut's turning in its joint and the mount."""
    corner = ROLLING.scenario.corner[0]
    rows = {r.key: r for r in size_scenario(ROLLING).all_checks if r.corner == corner.name}
    lead, j = corner.screw.lead_mm * MM / (2 * math.pi), corner.joint
    turning = j.rotation_nm_per_rad + j.lateral_n_per_mm * 1e3 * (j.element_radius_mm * MM) ** 2
    yaw = 1 / corner.guide.yaw_nm_per_rad + 1 / corner.frame.rotation_nm_per_rad
    whole = 1 / (rows["axial_stiffness"].value * N_PER_UM) + lead**2 * (1 / turning + yaw)
    whole += 1 / (corner.mount.vertical_n_per_um * N_PER_UM)
    assert rows["axial_stiffness"].machine * N_PER_UM == pytest.approx(1 / whole, rel=3e-3)


@pytest.mark.parametrize("ends", ["fixed-supported", "fixed-free", "supported-supported", "fixed-fixed"])
def test_lateral_stiffness_is_that_of_a_beam_on_its_bearings(ends):
    """Finite elements [Przemieniecki] on springs, pressed by the load below the nut, the nut in series."""
    machine = RIGID.with_values({"screw.ends": ends})
    rows = [r for r in size_scenario(machine).all_checks if r.corner == machine.scenario.corner[0].name]
    told = {r.key: r.machine for r in rows}
    s, nut = machine.scenario.corner[0].screw, machine.scenario.corner[0].nut
    EI, low = s.youngs_modulus_gpa * 1e3 * math.pi * s.root_diameter_mm**4 / 64, 230.0 - 59 * 0.25

    def at(z):
        above = [] if ends == "fixed-free" else [(s.length_mm - z) / 8] * 8
        K, S = beam([z / 8] * 8 + above, EI, [1.0] * 8 + [0.0] * len(above))
        K = K - told["hanging_weight"] * S
        K[0, 0] += 1e3 * s.bearing_radial_n_per_um
        K[1, 1] += 1e3 * s.bearing_tilt_nm_per_rad if ends.startswith("fixed") else 0.0
        if above:
            K[-2, -2] += 1e3 * s.upper_bearing_radial_n_per_um
            K[-1, -1] += 1e3 * s.bearing_tilt_nm_per_rad if ends == "fixed-fixed" else 0.0
        give = np.linalg.inv(K)[16, 16] + 1e-3 / nut.radial_n_per_um
        return 1e-3 / give

    # layers stand half a layer beside their heights: a stiffness of the third power of some 200 mm
    assert told["lateral_stiffness"] == pytest.approx(max(at(low), at(230.0)), rel=3e-3)


def test_the_sinking_mode_is_a_mass_on_springs():
    """One corner's share of a bed that every corner carries alike: bed, carriage and screw in a row."""
    free = {"guide.friction_n": 0.0, "nut.drag_torque_n_mm": 0.0, "print.layers": 2}
    machine = RIGID.with_values(CENTRED | SQUARE | free)
    corner = machine.scenario.corner[0]
    rows = {r.key: r for r in size_scenario(machine).all_checks if r.corner == corner.name}
    lead = corner.screw.lead_mm * MM / (2 * math.pi)
    motor = corner.motor
    field = motor.steps_per_turn / 4 * motor.holding_torque_n_m * motor.current_percent / 100
    train = 1 / (1 / (rows["axial_stiffness"].value * N_PER_UM) - lead**2 / field)
    light = corner.carriage.mass_kg + corner.nut.mass_kg
    bed = rows["hanging_weight"].value / GRAVITY - light
    turning = rows["inertia"].value * 1e-7 - (bed + light) * lead**2
    seat = corner.mount.vertical_n_per_um * N_PER_UM
    K = [[seat, -seat, 0], [-seat, seat + train, train * lead], [0, train * lead, train * lead**2 + field]]
    square = np.linalg.eigvals(np.linalg.solve(np.diag([bed, light, turning]), K))
    assert rows["corner_frequency"].machine == pytest.approx(
        math.sqrt(sorted(square)[1]) / (2 * math.pi), rel=1e-3
    )
    assert rows["rotor_resonance"].machine == pytest.approx(math.sqrt(min(square)) / (2 * math.pi), rel=0.02)


def test_inertia_is_that_of_the_whole_machine_by_energy():
    """The motors' kinetic energies at one speed are the machine's: rotors, screws, and all that rises."""
    for machine in (RIGID, FOUR):
        rows = [r.machine * 1e-7 for r in size_scenario(machine).all_checks if r.key == "inertia"]
        scenario, c = machine.scenario, machine.scenario.corner[0]
        lead = c.screw.lead_mm * MM / (2 * math.pi)
        rising = scenario.bed.mass_kg + scenario.print.part_mass_kg
        rising += len(rows) * (c.carriage.mass_kg + c.nut.mass_kg)
        turning = says.make_corners(scenario, says.make_bed(scenario.bed))[0].screw.inertia
        turning += c.motor.rotor_inertia_g_cm2 * 1e-7
        assert sum(rows) == pytest.approx(len(rows) * turning + rising * lead**2, rel=1e-3)


def test_every_reason_is_tried():
    words = {value for name, value in vars(says).items() if name.isupper() and isinstance(value, str)}
    assert words - {w for _, w, *_ in TRUE} <= {says.INERTIA}
