"""Ranges of differences: one guess moves both machines where they share it."""

import math

import pytest
from in_phase import NUT, E, in_phase

from bedsim.comparison.compared import compare
from bedsim.comparison.difference import (
    Difference,
    FigureDraws,
    FigureSwings,
    differences,
    find_swings,
    shared_keys,
)
from bedsim.comparison.text import change_text, remarks, verdicts
from bedsim.ranges.alone import RANGED

GUIDE, FRAME = "guide.tangential_n_per_um", "frame.tangential_n_per_um"
A, B, C = ("a", 1.0, 2.0, 3.0), ("b", 1.0, 2.0, 3.0), ("a", 1.0, 2.0, 4.0)


def values(lateral):
    return dict.fromkeys(RANGED, 1e-6) | {"lateral_pv": lateral}


def swings(**changes):
    """Swings from the change of the lateral error at the low and at the high end of keys A, B and C."""
    keys = {"A": A, "B": B, "C": C}
    flat = dict.fromkeys(RANGED, 0.0)
    ends = {keys[k]: tuple(flat | {"lateral_pv": v} for v in pair) for k, pair in changes.items()}
    return FigureSwings(changes=ends, left_out=())


def lateral(first, other, *both):
    return {d.name: d for d in differences(values(first), values(other), both)}["lateral_pv"]


def test_a_shared_guess_counts_with_what_it_changes_between_them():
    """60 with +12 and -12, 6 with +1 and -2: the difference of -54 moves by -11 and +10."""
    found = lateral(60e-6, 6e-6, swings(A=(12e-6, -12e-6)), swings(A=(1e-6, -2e-6)))
    assert (found.change, found.low, found.high) == pytest.approx((-54e-6, -65e-6, -44e-6))
    assert found.ratio_low == pytest.approx(0.1 * (4 / 6) / (48 / 60))
    assert found.ratio_high == pytest.approx(0.1)  # 7/72 is below 0.1, so nothing raises it


def test_guesses_of_one_machine_alone_move_only_that_one():
    found = lateral(60e-6, 6e-6, swings(A=(12e-6, -12e-6)), swings(B=(3e-6, -4e-6)))
    assert found.low == pytest.approx(-54e-6 - math.hypot(12e-6, 4e-6))
    assert found.high == pytest.approx(-54e-6 + math.hypot(12e-6, 3e-6))


def test_a_key_known_differently_in_both_is_two_guesses():
    """Same name, other bounds."""
    found = lateral(60e-6, 60e-6, swings(A=(12e-6, -12e-6)), swings(C=(12e-6, -12e-6)))
    assert found.high == pytest.approx(math.hypot(12e-6, 12e-6))
    assert shared_keys(swings(A=(1, 1), B=(1, 1)), swings(C=(1, 1), B=(1, 1))) == (1, 2)


def test_extremes_of_the_motion_get_no_range_from_the_machine_at_rest():
    both = swings(A=(12e-6, -12e-6)), swings(A=(1e-6, -2e-6))
    found = {d.name: d for d in differences(values(60e-6), values(6e-6), both)}
    assert math.isnan(found["load_angle"].low) and math.isnan(found["mount_force"].high)
    assert not math.isnan(found["height_pv"].low)


def test_machines_in_pairs_give_ends_by_their_ranks():
    """Of 19 pairs the first and the last hold 90 %: 0.1 to 1.9 times as far apart as the likely ones."""
    one, other = (
        FigureDraws(machines=(values(likely), *(values(likely + k * step) for k in range(-9, 10))), told="f")
        for likely, step in ((60e-6, 0.0), (10e-6, 1e-6))
    )
    found = lateral(60e-6, 10e-6, one, other)
    assert (found.change, found.low, found.high) == pytest.approx((-50e-6, -59e-6, -41e-6))
    assert (found.ratio_low, found.ratio_high) == pytest.approx((1 / 60, 19 / 60))


def test_a_likeliest_pair_in_which_causes_cancel_is_within_its_range():
    """All drawn machines stray further with the change than the likeliest one."""
    one = FigureDraws(machines=(values(60e-6),) * 4, told="f")
    other = FigureDraws(machines=tuple(values(k * 1e-6) for k in (1, 5, 6, 7)), told="f")
    found = lateral(60e-6, 1e-6, one, other)
    assert (found.low, found.high) == pytest.approx((-59e-6, -53e-6))
    assert (found.ratio_low, found.ratio_high) == pytest.approx((1 / 60, 7 / 60))


def test_a_machine_that_cannot_be_built_leaves_its_pair_out():
    one = FigureDraws(machines=(values(60e-6), None, values(50e-6), values(70e-6)), told="f")
    other = FigureDraws(machines=(values(6e-6), values(1e-6), values(6e-6), values(6e-6)), told="")
    found = lateral(60e-6, 6e-6, one, other)
    assert (found.low, found.high) == pytest.approx((-64e-6, -44e-6))


def test_without_swings_there_is_no_range():
    found = {d.name: d for d in differences(values(60e-6), values(6e-6), None)}["lateral_pv"]
    assert math.isnan(found.low) and math.isnan(found.ratio_high)
    assert not found.is_open


def test_a_machine_with_twice_the_run_out_strays_twice_as_far_whatever_the_guesses(one, few_keys):
    """The machine is linear: the difference is as uncertain as the error, the ratio not at all."""
    items = [one("once"), one("twice", screw__run_out__eccentricity_tir_um=200.0)]
    found = [find_swings(few_keys(i.loaded, GUIDE, FRAME)) for i in items]
    assert all(s.left_out == () and len(s.changes) == 2 for s in found)
    change = {d.name: d for d in compare(items, found).differences[0]}["lateral_pv"]
    assert change.ratio == pytest.approx(2.0, rel=1e-6)
    assert (change.ratio_low, change.ratio_high) == pytest.approx((2.0, 2.0), rel=1e-6)
    assert change.low < 0.8 * change.change < 1.2 * change.change < change.high


def test_a_frame_moves_the_bed_as_springs_in_series_say(few_keys):
    """Bolted joints, grooves free along the radius: 2 e k_s/(k_s + k_g) across it."""
    loaded = few_keys(in_phase(joint__kind="rigid"), FRAME)
    swing = next(iter(find_swings(loaded).changes.values()))

    def lateral_pv(frame):
        guide = 1 / (1 / 4e6 + 1 / (frame * 1e6))
        return 2 * E * NUT / (NUT + guide)

    expected = [lateral_pv(frame) - lateral_pv(2.0) for frame in (1.0, 4.0)]
    assert [s["lateral_pv"] for s in swing] == pytest.approx(expected, rel=1e-3)


def test_keys_of_friction_are_varied_with_friction(few_keys):
    """Without it they would change nothing."""
    friction = {"low": 0.1, "likely": 0.2, "high": 0.5, "basis": "estimated"}
    loaded = in_phase(
        joint__friction_coefficient=friction, joint__breakaway_um=1.0, nut__radial_n_per_um=100.0
    )
    swing = next(iter(find_swings(few_keys(loaded, "joint.friction_coefficient")).changes.values()))
    assert swing[0]["lateral_pv"] < -1e-6
    assert swing[1]["lateral_pv"] > 3e-6


# ---- words


def change(value, low=math.nan, high=math.nan):
    return Difference(
        name="lateral_pv",
        change=value,
        low=low,
        high=high,
        ratio=0.5,
        ratio_low=math.nan,
        ratio_high=math.nan,
    )


@pytest.mark.parametrize(
    ("difference", "text"),
    [
        (change(-65e-6), "-65 µm"),
        (change(-65e-6, -110e-6, -35e-6), "-65 µm (-110 to -35 µm)"),
        (change(0.8e-6, -1e-6, 2e-6), "+0.80 µm (-1.0 to +2.0 µm)"),
        (change(-900e-6, -1100e-6, -500e-6), "-900 µm (-1.1 mm to -500 µm)"),
        (change(1e-9), "none"),
        (change(1e-9, -1e-9, 3e-6), "0 µm (0 to +3.0 µm)"),
        (change(math.nan), "unknown"),
    ],
)
def test_a_change_is_written_with_sign_unit_and_range(difference, text):
    assert change_text(difference, "m") == text


def test_a_change_that_may_go_either_way_is_called_open(one, few_keys):
    first, other = one("a"), one("b", screw__run_out__eccentricity_tir_um=101.0)
    flat = dict.fromkeys(RANGED, 0.0)
    either = FigureSwings(
        changes={A: (flat | {"lateral_pv": -2e-6}, flat | {"lateral_pv": 3e-6})}, left_out=()
    )
    found = compare([first, other], [either, FigureSwings(changes={}, left_out=())])
    assert "sideways, undecided" in verdicts(found)[0]
    assert any("0 keys common to both, 1 of one alone" in line for line in remarks(found))
