"""The standard's evaluation against closed forms and an independent sliding filter."""

import numpy as np
import pytest
from scipy.ndimage import maximum_filter1d, minimum_filter1d
from travel_record import evaluate_travel

from bedsim.errors import InputError
from bedsim.screws.standard_evaluation import evaluate_centreline, widest_in_window

UM = 1e-6
S = np.arange(0, 4001) * 1e-4  # 400 mm in steps of 0.1 mm


def test_a_straight_error_is_all_mean_travel():
    got = evaluate_travel(S, 50e-6 * S / 0.3, lead=0.005)
    assert got.mean_error == pytest.approx(50e-6 * 0.4 / 0.3, rel=1e-12)
    assert got.change_300 == pytest.approx(50e-6, rel=1e-9)
    assert [got.vu, got.v300, got.v2pi] == pytest.approx([0, 0, 0], abs=1e-15)


def test_change_over_300_mm_is_taken_over_whole_turns():
    """Lead 8 mm does not divide 300 mm; over 38 turns a once-per-turn error is back where it was."""
    got = evaluate_travel(S, 40e-6 * np.sin(2 * np.pi * S / 0.008), lead=0.008)
    assert got.change_300 == pytest.approx(0, abs=1e-7)


def test_once_per_turn_error_is_its_peak_to_valley():
    """80 turns of 8 um peak-to-valley: every band is 8 um wide (the line's share of a sine of 80 turns is
    < 1 %)."""
    got = evaluate_travel(S, 4e-6 * np.sin(2 * np.pi * S / 0.005), lead=0.005)
    assert [got.vu, got.v300, got.v2pi] == pytest.approx([8e-6] * 3, rel=0.01)


def test_slow_wave_within_one_turn():
    """A wave of length 200 mm changes by at most 2 A sin(pi 5/200) in one turn of 5 mm."""
    got = evaluate_travel(S, 10e-6 * np.cos(2 * np.pi * S / 0.2), lead=0.005)
    assert got.vu == pytest.approx(20e-6, rel=1e-6)
    assert got.v2pi == pytest.approx(20e-6 * np.sin(np.pi * 5 / 200), rel=1e-3)


def test_window_agrees_with_a_sliding_filter():
    """scipy.ndimage's moving maximum and minimum over 51 samples give the widest 5 mm."""
    rng = np.random.default_rng(1)
    values = np.cumsum(rng.normal(size=(3, 500)), axis=-1)
    position = np.arange(500) * 1e-4
    top = maximum_filter1d(values, 51, axis=-1)[:, 25:-25]
    bottom = minimum_filter1d(values, 51, axis=-1)[:, 25:-25]
    assert widest_in_window(position, values, 0.005) == pytest.approx((top - bottom).max(axis=-1))


def test_many_screws_at_once_equal_one_by_one():
    rng = np.random.default_rng(2)
    d = np.cumsum(rng.normal(size=(4, S.size)), axis=-1) * 1e-7
    many = evaluate_travel(S, d, 0.005)
    one = [evaluate_travel(S, row, 0.005) for row in d]
    assert many.v300 == pytest.approx([float(e.v300) for e in one])
    assert many.slope == pytest.approx([np.polyfit(S, row, 1)[0] for row in d])


def test_pure_bow_reads_twice_its_offset():
    """80 um of run-out is 40 um of axis offset (derived)."""
    got = evaluate_centreline(S, 40e-6 * np.sin(np.pi * S / 0.4) * np.exp(0.3j), 0.08)
    assert got.straightness == pytest.approx(80e-6, rel=1e-9)
    assert got.total == pytest.approx(80e-6, rel=1e-9)
    assert got.local == pytest.approx(80e-6 * np.sin(np.pi * 0.2), rel=1e-9)


def test_rigid_offset_and_tilt_do_not_bend_a_screw():
    got = evaluate_centreline(S, 7e-6 + 1e-4j * S, 0.08)
    assert [got.straightness, got.local] == pytest.approx([0, 0], abs=1e-15)
    assert got.lower_end == pytest.approx(14e-6)
    assert got.upper_end == pytest.approx(2 * abs(7e-6 + 4e-5j))


def test_a_kink_of_four_lengths_meets_both_straightness_limits_at_once():
    """Grade 7, 12 mm, 320 mm long: a kink of 80 um run-out (t5max) grows by 40 um (t5p) over each 80 mm
    (l5)."""
    s = np.linspace(0, 0.32, 3201)
    got = evaluate_centreline(s, 40e-6 * (1 - np.abs(s / 0.16 - 1)), 0.08)
    assert got.straightness == pytest.approx(80e-6)
    assert got.local == pytest.approx(40e-6)


def test_free_end_swings_almost_five_times_the_bench_reading():
    """1 - cos(pi s/2L) against the line through its ends: largest at sin(pi s/2L) = 2/pi, there 0.2105."""
    got = evaluate_centreline(S, 10e-6 * (1 - np.cos(np.pi * S / 0.8)), 0.08)
    x = np.arcsin(2 / np.pi) * 2 / np.pi
    sag = x - (1 - np.sqrt(1 - (2 / np.pi) ** 2))
    assert got.straightness == pytest.approx(20e-6 * sag, rel=1e-5)
    assert got.total / got.straightness == pytest.approx(4.75, abs=0.005)


def test_short_or_disordered_records_are_refused():
    with pytest.raises(InputError, match="three increasing"):
        evaluate_travel([0.0, 0.1], [0.0, 1e-6], 0.005)
    with pytest.raises(InputError, match="three increasing"):
        evaluate_travel([0.0, 0.2, 0.1], [0.0, 1e-6, 0.0], 0.005)
