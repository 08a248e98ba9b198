"""`bedsim size --power-loss`, `--tilt` and `--shake` as a user meets them, and the reports behind them."""

import dataclasses
import math
import re

import numpy as np
import pytest
from event_machine import scenario

from bedsim.analysis.sizing_gather import gather
from bedsim.analysis.sizing_report import size_scenario
from bedsim.cli.main import main
from bedsim.errors import InputError
from bedsim.model.build import build_machine
from bedsim.power_loss.fall import fall
from bedsim.power_loss.report import cases, falling, power_loss_scenario, room_below
from bedsim.shake.report import shake_scenario
from bedsim.sizing.machine import size_machine
from bedsim.tilt.report import tilt_scenario
from bedsim.units import DEG, GRAVITY, MM, N_MM

STEEP = {"screw.lead_mm": 10, "print.part_mass_kg": 1.0}


@pytest.fixture(scope="module")
def dropped(tmp_path_factory):
    """The report of a machine whose bed falls."""
    return power_loss_scenario(scenario(tmp_path_factory.mktemp("drop"), **STEEP))


def parts(folder, **changes):
    loaded = scenario(folder, **changes)
    return loaded, gather(loaded), build_machine(loaded.scenario, loaded.tables)


def test_weights_and_masses_of_a_fall_are_those_of_the_sizing(tmp_path):
    """Two ways to the same numbers: the assembled machine, and statics of a stiff plate."""
    loaded, numbers, machine = parts(tmp_path, **STEEP)
    system = falling(loaded, numbers, machine, cases(numbers)[0], 50)
    assert system.weight == pytest.approx([c.hanging[1] for c in numbers.corners], rel=1e-9)
    assert system.mass.sum() == pytest.approx(3.0 + 1.0 + 3 * 0.5)
    assert system.mass.sum() * GRAVITY == pytest.approx(system.weight.sum())


def test_a_fall_begins_as_the_sizing_says(tmp_path):
    """All corners alike, shaken, detent out: the acceleration of the closed formula at a corner."""
    loaded, numbers, machine = parts(tmp_path, **STEEP | {"motor.detent_torque_n_m": 0})
    shaken = cases(numbers)[3]
    course = fall(falling(loaded, numbers, machine, shaken, 50), room_below(loaded, machine, 50))
    row = next(r for r in size_machine(numbers) if r.key == "fall_acceleration")
    # one corner alone does not feel the others through the plate; the mean of all does not either
    a = -course.speed[-1].mean() / course.time[-1]
    assert a == pytest.approx(row.value, rel=0.03)


def test_the_course_of_a_drop_is_reported(dropped):
    by_case = {(row.case, row.layer): row for row in dropped.rows}
    assert len(by_case) == 8
    worst = by_case["unfavourable, at rest", 50]
    assert worst.outcome == "falls"
    assert worst.lost == pytest.approx(240 * MM - 49 * 0.2 * MM - worst_root(), rel=0.02)
    assert max(row.energy_error for row in dropped.rows) < 1e-5
    assert by_case["unfavourable, shaken", 50].top_speed > worst.top_speed


def worst_root() -> float:
    return 9.5 * MM  # root of a 12 mm rolled screw, within the two per cent above


def test_the_brake_said_to_be_missing_holds_the_shaken_bed(tmp_path, dropped):
    line = next(x for x in dropped.missing if "when shaken, to stop a rotor" in x)
    brake = float(re.search(r"a brake of ([\d.]+) N mm", line)[1]) * N_MM
    for share, holds in ((0.85, False), (1.0, True)):
        loaded, numbers, machine = parts(
            tmp_path, **STEEP | {"motor.detent_torque_n_m": 0, "sizing.brake_torque_n_m": share * brake}
        )
        system = falling(loaded, numbers, machine, cases(numbers)[3], 50)
        assert (fall(system, room_below(loaded, machine, 50), longest=2.0).end == "held") is holds


def test_every_corner_has_its_unequal_cases(dropped):
    assert len(dropped.unequal) == 9
    for row in dropped.unequal:
        assert row.end
        assert row.side_force > 0
    left = next(r for r in dropped.unequal if r.case.startswith("one driver") and r.corner == "left")
    assert left.time == pytest.approx(left.difference / 3e-3)


def test_one_corner_that_stays_tips_the_bed_as_its_distance_says(dropped):
    """A stiff plate: the sine of the tilt is the difference over the distance to the line of the others."""
    rear = next(r for r in dropped.unequal if r.case.startswith("one corner") and r.corner == "rear")
    assert math.sin(rear.tilt) == pytest.approx(rear.difference / 0.3, rel=1e-6)


def test_the_sizing_gives_the_same_heights_and_tilts_of_unequal_corners(tmp_path):
    """Screws of 200 mm: nothing but the ends of the screws limits the plate, in the table and in the course.

    By hand: nut at 160 mm at first, 49 layers of 0.2 mm, ends a root diameter from those of the screw.
    """
    changes = {"screw.length_mm": 200, "print.first_layer_nut_mm": 160, "motor.detent_torque_n_m": 0}
    loaded = scenario(tmp_path, **STEEP | changes)
    root = loaded.scenario.corner[2].screw.root_diameter_mm
    table = {c.name: c for c in size_scenario(loaded).all_checks if c.corner == "rear"}
    course = {r.case: r for r in power_loss_scenario(loaded).unequal if r.corner == "rear"}
    for name, case, hand in (
        ("one coupling slips and its corner drops alone", "one coupling slips", 160 - root),
        ("one driver stops while the others lift",) * 2 + (200 - root - (160 - 49 * 0.2),),
    ):
        assert table[name].value == pytest.approx(hand)
        assert course[case].difference / MM == pytest.approx(hand, rel=1e-3)
        words = f"{math.degrees(math.asin(hand / 300)):.3g}°"
        assert words in table[name].note
        assert course[case].tilt / DEG == pytest.approx(math.degrees(math.asin(hand / 300)), rel=1e-3)


def test_on_a_belt_only_a_slipping_screw_is_apart(tmp_path):
    found = power_loss_scenario(scenario(tmp_path, **STEEP | {"drive.topology": '"belt"'}))
    assert {row.case for row in found.unequal} == {"one coupling slips"}
    course = found.rows[2].course
    assert np.ptp(course.height[-1]) == pytest.approx(0, abs=1e-12)


def test_a_tilt_too_steep_is_refused_with_the_limit_and_the_largest(tmp_path):
    steep = {"tilt.about_x_deg": 12, "sizing.mount_travel_mm": 2}
    with pytest.raises(
        InputError, match=r"tilt\.about_x_deg = 12: .*mount travel at rear.*Largest tilt"
    ) as told:
        tilt_scenario(scenario(tmp_path, **steep))
    largest = float(re.search(r"direction: ([\d.]+)°", str(told.value))[1])
    found = tilt_scenario(scenario(tmp_path, **steep | {"tilt.about_x_deg": largest}))
    assert found.order[0].kind == "mount travel"
    assert found.course is not None
    assert abs(found.course.give[-1]).max() == pytest.approx(2 * MM, rel=5e-3)
    assert found.order[0].angle / DEG == pytest.approx(largest, abs=0.011)
    angles = [passed.angle for passed in found.order]
    assert angles == sorted(angles)


def test_a_belt_cannot_tilt(tmp_path):
    with pytest.raises(InputError, match="one motor turns all screws alike"):
        tilt_scenario(scenario(tmp_path, **{"drive.topology": '"belt"', "tilt.about_x_deg": 1}))


def test_run_out_shows_along_a_tilt(tmp_path):
    """A tilt turns the screws: a bent one moves the held point once per turn, a straight one does not."""
    turn = math.degrees(math.asin(4.0 / 200.0))
    straight = tilt_scenario(scenario(tmp_path, **{"tilt.about_x_deg": turn, "joint.kind": '"rigid"'}))
    bent = tilt_scenario(
        scenario(
            tmp_path,
            **{
                "tilt.about_x_deg": turn,
                "joint.kind": '"rigid"',
                "corner.rear.screw.run_out.eccentricity_tir_um": 100,
            },
        )
    )
    assert bent.course is not None
    assert straight.course is not None
    more = np.abs(bent.course.error - straight.course.error)[:, :2].max()
    assert 1e-6 < more < 50e-6


def test_a_measured_history_shakes_and_a_bad_one_is_told(tmp_path):
    time = np.arange(0, 0.2, 1e-3)
    rows = "\n".join(f"{t:.4f},{500 * math.sin(200 * t):.3f}" for t in time)
    (tmp_path / "tap.csv").write_text("time_s,acceleration_mm_s2\n" + rows, encoding="utf-8")
    found = shake_scenario(scenario(tmp_path, **{"disturbance.history": '"tap.csv"'}))
    assert found.push_end == pytest.approx(0.199)
    assert found.frame_peak == pytest.approx(0.5, rel=1e-3)
    (tmp_path / "tap.csv").write_text("time_s,force_n\n0,1\n0,2\n1,x\n", encoding="utf-8")
    with pytest.raises(InputError) as told:
        shake_scenario(scenario(tmp_path, **{"disturbance.history": '"tap.csv"'}))
    assert "tap.csv line 3: time_s = 0 does not grow" in str(told.value)
    assert "tap.csv line 4" in str(told.value)
    with pytest.raises(InputError, match=r'Did you mean "tap\.csv"'):
        shake_scenario(scenario(tmp_path, **{"disturbance.history": '"tab.csv"'}))


def test_a_stronger_push_moves_in_proportion_and_needs_a_longer_pause(tmp_path):
    one = shake_scenario(scenario(tmp_path, **{"disturbance.gantry_mass_kg": 1}))
    ten = shake_scenario(scenario(tmp_path, **{"disturbance.gantry_mass_kg": 10}))
    assert ten.rows[0].peak_lateral == pytest.approx(10 * one.rows[0].peak_lateral)
    assert ten.suggested > one.suggested
    assert ten.rows[0].dwell_shaken[1] >= ten.rows[0].dwell_shaken[0]


def test_the_pause_leaves_no_more_than_the_target(tmp_path):
    found = shake_scenario(scenario(tmp_path, **{"disturbance.gantry_mass_kg": 10}))
    row = found.rows[0]
    later = row.time > found.push_end + row.dwell_shaken[0] + 1e-9
    size = np.hypot(np.linalg.norm(row.lateral, axis=1), row.height)
    assert size[later].max() <= found.target
    assert size[~later].max() > found.target


@pytest.mark.parametrize("event", ["tilt", "shake"])
def test_commands_print_caution_and_draw(tmp_path, monkeypatch, capsys, event):
    monkeypatch.chdir(tmp_path)
    scenario(tmp_path)
    chosen = ["--set", "tilt.about_y_deg=1"]
    assert main(["size", "machine.toml", f"--{event}", *chosen]) == 0
    out = capsys.readouterr().out
    assert max(map(len, out.splitlines())) <= 100
    assert "Caution:" in out
    assert "safe" not in out.lower()
    assert (tmp_path / "results" / f"machine_{event}.png").stat().st_size > 20000


def test_power_loss_prints_cautions_and_draws(tmp_path, dropped):
    from bedsim.cli.size_events import power_loss_lines
    from bedsim.views.event_plots import draw_power_loss

    lines = list(power_loss_lines(dropped))
    out = " ".join(" ".join(lines).split())
    assert max(map(len, lines)) <= 100
    for words in ("the bed comes down when the power goes", "pinch", "burn", "must decide", "a brake of"):
        assert words in out
    assert "safe" not in out.lower()
    assert draw_power_loss(dropped, tmp_path / "a.png").stat().st_size > 20000
    calm = dataclasses.replace(dropped, rows=tuple(r for r in dropped.rows if r.outcome == "holds"))
    if calm.rows:
        assert draw_power_loss(calm, tmp_path / "b.png").exists()


def test_one_picture_name_for_two_events_is_refused(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    scenario(tmp_path)
    assert main(["size", "machine.toml", "--tilt", "--shake", "--output", "a.png"]) == 2
    assert "--output names one picture" in capsys.readouterr().err


def test_corners_that_end_too_far_apart_for_any_plane_are_followed_to_45_degrees(tmp_path, capsys):
    """The machine that `bedsim new` suggests: no limit of its own is known, and one corner holds."""
    file = str(tmp_path / "suggested.toml")
    assert main(["new", file, "--defaults"]) == 0
    assert main(["size", file, "--power-loss", "--output", str(tmp_path / "fall.png")]) in (0, 1)
    out = capsys.readouterr().out
    assert "ended by: 45 degrees, followed no further" in out
