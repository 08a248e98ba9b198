"""Wear over months: closed forms, worked numbers, and one truth with `bedsim size`."""

import math

import numpy as np
import pytest
from upkeep_machine import SHIPPED, ball, plain

from bedsim.analysis.sizing_gather import gather
from bedsim.analysis.sizing_report import size_scenario
from bedsim.scenario.load import load_scenario
from bedsim.simulation import simulate
from bedsim.sizing import wear
from bedsim.sizing.rows_screw import axial_play
from bedsim.units import DEG, MM, UM
from bedsim.upkeep import grease
from bedsim.upkeep import wear as upkeep_wear
from bedsim.upkeep.use import use_of


@pytest.mark.parametrize(("k", "km", "digits"), [(1e-15, 263, 0.5), (2.4e-15, 110, 5), (1e-14, 26, 0.5)])
def test_worked_travel_to_fifty_micrometres(k, km, digits):
    """Tr8x8(P2), nut of 15 mm, 10 N: 60.6 kPa; square flanks.  The example slides on the nominal circle,
    8 pi a turn, ours on the pitch circle along the helix."""
    pressure = wear.thread_pressure(10.0, pitch_diameter=7 * MM, nut_length=15 * MM)
    assert pressure == pytest.approx(60.6e3, abs=50)
    way = wear.travel_to_clearance(
        50 * UM, wear_coefficient=k, pressure=60.6e3, pitch_diameter=7 * MM, lead=8 * MM
    )
    assert way / 1e3 * math.hypot(7 * math.pi, 8) / (8 * math.pi) == pytest.approx(km, abs=digits)


def test_archard_s_dimension():
    """k of m2/N times pressure and way is a length: twice any of the three wears twice as deep, and a change
    of units leaves the depth."""
    depth = wear.wear_depth(1e-15, 6e4, 1e5)
    for k, p, s in ((2e-15, 6e4, 1e5), (1e-15, 12e4, 1e5), (1e-15, 6e4, 2e5)):
        assert wear.wear_depth(k, p, s) == pytest.approx(2 * depth)
    in_mm = wear.wear_depth(1e-15 * 1e6, 6e4 * 1e-6, 1e5 * 1e3)  # mm2/N, N/mm2, mm
    assert in_mm == pytest.approx(depth * 1e3)


def test_hops_not_height_wear_a_nut():
    """1200 layers of 0.25 mm with 20 hops of 0.5 mm each: 24 m of hops, 0.6 m without them."""
    keys = {"print.layer_mm": 0.25, "upkeep.print_height_mm": 300}
    without = plain(**keys)
    with_hops = plain(**keys, **{"upkeep.hops_per_layer": 20, "upkeep.hop_mm": 0.5})
    ways = [use_of(x, gather(x).duty).travel for x in (without, with_hops)]
    assert ways[0] == pytest.approx(0.6)
    assert ways[1] - ways[0] == pytest.approx(24.0)
    assert use_of(with_hops, gather(with_hops).duty).strokes == pytest.approx(1200 * 21)


@pytest.mark.parametrize("keys", [{}, {"upkeep.hops_per_layer": 20, "upkeep.dirt": "dusty"}])
def test_the_same_wear_as_size_tells(keys):
    """Months of the calendar are the hours of `bedsim size` at the use's hours a month."""
    loaded = plain(**keys)
    machine = gather(loaded)
    use = use_of(loaded, machine.duty)
    found = upkeep_wear.plain_wear(machine, use)
    row = next(c for c in size_scenario(loaded).checks if c.name.startswith("hours until"))
    assert found.change[0] * use.hours_a_month == pytest.approx(row.value)
    assert found.corner == row.corner


def test_play_grows_as_archard_s_volume_over_the_flanks():
    """A year's prints by bookkeeping of turns, load and flank area."""
    loaded = plain(**{"upkeep.hops_per_layer": 20, "upkeep.prints_a_month": 30})
    machine = gather(loaded)
    found = upkeep_wear.plain_wear(machine, use_of(loaded, machine.duty))
    year = next(row for row in found.rows if row.months == 12)
    corner = next(c for c in machine.corners if c.name == found.corner)
    load = np.cbrt(np.mean([(f + corner.guide_friction) ** 3 for f in corner.hanging]))
    turns = 12 * 30 * 60 * 2 * (0.25 + 20 * 0.5) / 2.0
    d2, flank = 9 * MM, 15 * DEG
    slid = turns * math.hypot(math.pi * d2, 2 * MM)
    area = math.pi * d2 * (1 * MM) * (15 / 2) / math.cos(flank)
    depth = 1e-14 * (load / math.cos(flank)) * slid / area
    assert year.play[1] == pytest.approx(depth / math.cos(flank), rel=1e-9)
    assert year.play[1] / year.play[0] == pytest.approx(100)  # the decades of bronze
    others = [np.cbrt(np.mean([(f + c.guide_friction) ** 3 for f in c.hanging])) for c in machine.corners]
    assert year.uneven == pytest.approx(year.play[1] * (1 - min(others) / max(others)), rel=1e-9)


def test_factors_of_dirt_and_dry_running():
    bronze = wear.PAIRS["bronze"]
    dry = wear.as_it_runs(bronze, "dry", "dusty")
    assert dry.wear_low / bronze.wear_low == pytest.approx(9)
    assert dry.wear_high / bronze.wear_high == pytest.approx(300)
    assert dry.status.count("assumed") == 3
    acetal = wear.PAIRS["pom"]  # its rates are dry ones
    assert wear.as_it_runs(acetal, "dry").wear_high == acetal.wear_high
    assert wear.as_it_runs(bronze) == bronze


def test_worn_play_opens_the_thread_sideways():
    """What an axial play opens sideways comes back as that play along the screw."""
    loaded = plain()
    machine = gather(loaded)
    more = upkeep_wear.worn_clearance(machine, 100 * UM)
    worn = gather(loaded.with_values({"nut.clearance_um": 90 + more / UM}))
    added = axial_play(worn.corners[0].screw) - axial_play(machine.corners[0].screw)
    assert added == pytest.approx(100 * UM)
    assert wear.radial_from_axial(1e-4, 0.0) == 0.0


def test_a_reversal_costs_what_thread_friction_twists(monkeypatch):
    """The machine with hops and without against the closed formula; weight keeps play shut, worn or not.

    At rest without ring-down, which rubs friction off.  Coupling and shaft stiff: the machine counts their
    twist under the load alone.  Corners that lose unlike amounts tilt the bed: what is told is its worst
    place, a corner of the plate.  Guide and frame yield to the torque too, by a hundredth of the rotor.
    """
    monkeypatch.setattr(upkeep_wear, "simulate", lambda loaded: simulate(loaded, engine="equilibrium"))
    keys = {f"motor.place_error_{k}_deg": 0 for k in (1, 2, 3, 4)}
    keys |= {"guide.friction_n": 0, "nut.drag_torque_n_mm": 0, "print.layers": 4}
    keys |= {"screw.coupling_nm_per_rad": 1e5, "screw.shear_modulus_gpa": 1e5}
    loaded = plain(**keys)
    machine = gather(loaded)
    new, worn = (
        upkeep_wear.reversal(loaded, 1 * MM, upkeep_wear.worn_clearance(machine, p)) for p in (0.0, 100 * UM)
    )
    lost = [grease.lost_at_reversal(c, 0.12) for c in machine.corners]
    plane = np.linalg.solve([[1.0, c.x_mm, c.y_mm] for c in loaded.scenario.corner], lost)
    bed = loaded.scenario.bed
    expected = max(
        plane @ [1.0, x, y]
        for x in (-bed.size_x_mm / 2, bed.size_x_mm / 2)
        for y in (-bed.size_y_mm / 2, bed.size_y_mm / 2)
    )
    assert new.height == pytest.approx(expected, rel=0.03)
    assert worn.same_as(new)
    assert worn.jump - new.jump == pytest.approx(100 * UM)


def test_ball_screws_have_no_play_and_one_life():
    rated = ball(**{"sizing.dynamic_load_rating_n": 9000, "print.layers": 2})
    machine = gather(rated)
    use = use_of(rated, machine.duty)
    row = next(c for c in size_scenario(rated).checks if c.name.startswith("nominal life"))
    corner, months = upkeep_wear.ball_months(machine, use)
    assert months * use.hours_a_month == pytest.approx(row.value)
    assert corner == row.corner
    assert upkeep_wear.plain_wear(machine, use) is None


def test_nominal_life_of_a_carriage():
    """(C/P)^3 50 km: at a tenth of its rating 50,000 km."""
    use = use_of(ball(), gather(ball()).duty)
    months = upkeep_wear.guide_months(1000.0, 100.0, use)
    assert months * use.travel_a_month == pytest.approx(50e6)


def test_dents_begin_where_the_pressure_says(tmp_path):
    """Balls of the joint: the force at which a hard disc is dented gives 4,200 MPa by Hertz's own formulas,
    written out."""
    text = (SHIPPED / "bent-rolled-rolling-joints.toml").read_text(encoding="utf-8")
    lines = [x for x in text.splitlines() if not x.startswith(("lateral_n_per_mm", "magnet_force_n"))]
    part = "[{x_mm = 20.0, y_mm = 0.0, diameter_mm = 8, plate_yield_mpa = 250}]"
    lines += ["[sizing.joint_part]", f"ball = {part}"]
    (tmp_path / "balls.toml").write_text("\n".join(lines), encoding="utf-8")
    machine = gather(load_scenario(tmp_path / "balls.toml", ["joint.rotation_nm_per_rad=5"]))
    (contact,) = upkeep_wear.ball_contacts(machine)
    modulus, radius = 206e9 / (2 * (1 - 0.09)), 4 * MM

    def pressure(force):
        return (6 * force * modulus**2 / (math.pi**3 * radius**2)) ** (1 / 3)

    assert pressure(contact.hard_dents) == pytest.approx(4.2e9)
    assert pressure(contact.plate_yields) == pytest.approx(1.6 * 250e6)
    assert pressure(contact.force) == pytest.approx(contact.pressure)
