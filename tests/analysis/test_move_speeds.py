"""`bedsim size --speeds`: resonances by hand, one truth in `size`, `run` and the scan, and what a user meets.

A rotor of inertia J on a spring N T swings at sqrt(N T/J) and meets an error of k cycles in four full steps
at v = f lead/(50 k): closed form, a single degree of freedom.
"""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from bedsim.analysis.move_speeds import (
    KEEPS,
    Ride,
    _resonances,
    avoided,
    bench_of,
    cause_at,
    good_speed,
    is_smeared,
    per_metre,
    rides,
    shaken_warnings,
    speed_scenario,
    taken_off,
    why_shaken,
)
from bedsim.analysis.sizing_report import size_scenario
from bedsim.cli.main import main
from bedsim.scenario.load import load_scenario
from bedsim.simulation import make_job, simulate

SCENARIOS = Path(__file__).parents[2] / "scenarios"
PLAIN = str(SCENARIOS / "plain-lead-screws.toml")
FAST = ("motion.speed_mm_s=3", "print.layers=4")
LIFTS = (*FAST, "motor.place_error_3_deg=0.06")


def plain(*settings):
    return load_scenario(SCENARIOS / "plain-lead-screws.toml", settings)


def test_the_speed_of_a_resonance_is_f_lead_over_50_k():
    """Lead 2 mm: order 1 meets f at f x 2/50 mm/s, order 3 at a third of that."""
    bench = bench_of(make_job(plain(*FAST)))
    assert per_metre(bench) == pytest.approx(50 * 2 * math.pi / 2e-3, rel=1e-9)
    cause = cause_at(bench, 3e-3, 0.1)
    assert cause.order == 3
    assert cause.speed == pytest.approx(cause.frequency * 2e-3 / 150, rel=1e-9)
    assert cause.words.startswith("the motors' place error of order 3 (3 cycles in four full steps) excites")


def test_rotors_swing_as_inertia_on_a_spring():
    """Nuts and couplings out of the way by heavy rotors: J = 5e-3 kg m2 on 50 x 0.315 N m/rad, 8.9 Hz; their
    frequency is met within the screw's own inertia (below 0.1 %) and the thread's drag (0.9 %)."""
    bench = bench_of(make_job(plain(*FAST, "motor.rotor_inertia_g_cm2=50000")))
    by_hand = math.sqrt(50 * 0.45 * 0.7 / 5e-3) / (2 * math.pi)
    assert bench.frequency[:3] / (2 * math.pi) == pytest.approx(3 * [by_hand], rel=0.02)


def test_the_cause_is_what_helps_when_it_is_left_out():
    """Without the order named the mounts keep as much as said, and the mode named shakes at its frequency."""
    loaded = plain(*LIFTS)
    bench = bench_of(make_job(loaded))
    cause = cause_at(bench, 3e-3, 0.1)
    (quiet,) = rides(
        bench_of(make_job(plain(*FAST, f"motor.place_error_{cause.order}_deg=0"))), [(3e-3, 0.1)]
    )
    assert quiet.share == pytest.approx(cause.without, rel=1e-6)
    (as_set,) = rides(bench, [(3e-3, 0.1)])
    assert as_set.share < KEEPS < quiet.share + 0.2


def ride(speed, share):
    one = np.ones(1)
    return Ride(speed=speed, acceleration=0.1, least=share * one, resting=one, vibration=0.0, swing=0.0)


def test_a_good_speed_is_the_nearest_with_sound_neighbours():
    scan = [ride(v, s) for v, s in ((1, 0.9), (1.5, 0.9), (2, 0.3), (2.5, 0.8), (3, 0.2))]
    assert good_speed(ride(2.4, 0.4), scan).speed == 1


def test_nearest_means_by_ratio():
    """From 4 mm/s, 2 is a factor two away and 9 more than that, though all are sound."""
    scan = [ride(v, 0.9) for v in (1, 2, 9, 20)]
    assert good_speed(ride(4, 0.4), scan).speed == 2


def test_resonances_are_those_that_shake_the_seats_most():
    """By brute force: every mode's frequency put to the machine's full matrices, a motor's unit push in,
    the seats' motion out; the two strongest modes apart by a tenth are the ones told."""
    loaded = plain(*FAST)
    bench = bench_of(make_job(loaded))
    system = bench.system
    shaken = []
    for frequency in bench.frequency:
        dynamic = system.K[0] - frequency**2 * system.M[0] + 1j * frequency * system.C[0]
        mode = system.modes[0] if system.modes[0].shape[0] == dynamic.shape[0] else None
        answer = np.linalg.solve(dynamic, np.linalg.solve(mode.T, bench.motor_maps.T))
        shaken.append(np.abs(bench.seat_maps @ np.linalg.solve(mode, answer)).sum())
    strongest = []
    for k in np.argsort(shaken)[::-1]:
        if all(abs(bench.frequency[k] / other - 1) > 0.1 for other in strongest):
            strongest.append(bench.frequency[k])
    told = {cause.frequency for cause in _resonances(bench, np.geomspace(1e-5, 1.0, 50))}
    for frequency in np.array(strongest[:2]) / (2 * math.pi):
        assert any(other == pytest.approx(frequency, rel=0.1) for other in told)


def test_a_rotor_that_swings_by_half_a_radian_of_the_fourth_order_is_smeared():
    """4 x 0.13 rad is more than the half radian up to which the commanded angle serves, 4 x 0.12 is not."""
    assert is_smeared(replace(ride(1, 0.9), swing=0.13))
    assert not is_smeared(replace(ride(1, 0.9), swing=0.12))


def test_a_run_is_warned_where_one_layer_of_one_mount_keeps_less_than_half():
    loaded = plain(*LIFTS)
    layers = simulate(loaded).layers
    assert shaken_warnings(loaded, layers)
    (as_set,) = rides(bench_of(make_job(loaded)), [(3e-3, 0.1)])
    rest = as_set.resting
    one = np.broadcast_to(rest, layers.mount_force.shape).copy()
    still = replace(layers, mount_force=one, residual_height=0 * layers.residual_height)
    assert not shaken_warnings(loaded, still)
    one[1, 2] = 0.0
    assert shaken_warnings(loaded, replace(still, mount_force=one))


def test_spans_to_avoid_end_halfway_to_the_speeds_beside_them():
    scan = [ride(v, s) for v, s in ((1, 0.9), (2, 0.3), (4, 0.9), (8, 0.2), (16, -0.1))]
    assert avoided(scan) == (
        pytest.approx((math.sqrt(2), math.sqrt(8))),
        pytest.approx((math.sqrt(32), 16.0)),
    )


def test_size_run_and_scan_say_the_same():
    """Place errors of order 3 at the high end lift the bed at 3 mm/s: no row of `size` passes it."""
    loaded = plain(*LIFTS)
    taken, words = taken_off(loaded)
    (as_set,) = rides(bench_of(make_job(loaded)), [(3e-3, 0.1)])
    assert taken == pytest.approx(as_set.resting - as_set.least)
    assert as_set.share < 0
    rows = {c.name: c for c in size_scenario(loaded).checks if c.subject == "Mounts"}
    assert rows["deceleration against lift-off of the mount"].margin == 0
    assert rows["load that a layer change takes off the mount"].margin < 1
    assert words in rows["load that a layer change takes off the mount"].note
    assert words in why_shaken(loaded)
    assert "commanded angle" in why_shaken(loaded)


def test_a_calm_machine_has_nothing_to_say():
    assert why_shaken(plain("motion.speed_mm_s=1", "print.layers=4")) == ""


def test_bolted_mounts_are_judged_by_their_screws():
    bench = bench_of(make_job(plain(*FAST, 'mount.kind="bolted"')))
    (found,) = rides(bench, [(3e-3, 0.1)])
    # bed, carriage and nut hang on the screw
    assert np.all(found.resting > 9.0) and np.all(np.isfinite(found.least))
    assert taken_off(plain(*FAST, 'mount.kind="bolted"'))[0] == [None, None, None]


def test_the_command_prints_one_sentence_and_draws_one_picture(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("bedsim.analysis.move_speeds.SPEEDS", 7)
    picture = tmp_path / "speeds.png"
    settings = [part for key in FAST for part in ("--set", key)]
    assert main(["size", PLAIN, *settings, "--speeds", "--output", str(picture)]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "At 3 mm/s, as set, the mount at back keeps" in out
    assert "place error of order 3" in out and "Avoid" in out
    assert picture.stat().st_size > 10_000


def test_a_scan_ends_where_the_move_reaches_no_more(monkeypatch):
    """0.25 mm at 100 mm/s2: sqrt(a d) = 5 mm/s."""
    monkeypatch.setattr("bedsim.analysis.move_speeds.SPEEDS", 4)
    report = speed_scenario(plain(*FAST))
    assert report.here[-1].speed == pytest.approx(5e-3)
    assert {r[0].acceleration for r in report.others} == {0.05, 0.2}
    assert report.as_set.speed == 3e-3
