"""Where a joint pays, against closed forms of one corner: a screw's circle against springs and friction.

A nut on a circle of radius e, behind a spring k_s, pushes a carriage held by k_g: it moves by
e k_s/(k_s + k_g).  With a joint's spring k_r between, k_s and k_r stand in series.  A joint with friction F_c
passes at most min((k_b + k_r) e/(k_b + k_r + k_g), (F_c + k_r e)/(k_g + k_r)), k_b = F_c/breakaway: the first
while the contact sticks, the second by the balance of forces once it slides.  Derived by hand.
"""

import math

import numpy as np
import pytest
from in_phase import GUIDE, LOAD, NUT, SPRING, E, in_phase
from scipy.optimize import brentq

from bedsim.analysis.metrics import lateral_peak_to_valley
from bedsim.comparison.break_even import (
    BreakEven,
    Crossing,
    Curve,
    break_even,
    break_even_lines,
    friction_crossing,
    friction_force,
    lateral_pv,
    series_stiffness,
    stiffer,
    stiffness_crossing,
    visible_worth,
    with_rigid_joints,
)
from bedsim.errors import InputError
from bedsim.scenario.load import scenario_from_text
from bedsim.simulation import simulate

LAYERS = 9  # one turn
FIRM = {"nut__radial_n_per_um": 1e5}  # the screw itself does not give way


def series(*springs):
    return 1 / sum(1 / k for k in springs)


def passed(spring, guide=GUIDE):
    """Peak to valley of the carriage."""
    return 2 * E * spring / (spring + guide)


def test_bolted_and_sprung_corners_move_as_springs_in_series():
    loaded = in_phase()
    assert lateral_pv(with_rigid_joints(loaded), LAYERS) == pytest.approx(passed(NUT), rel=1e-4)
    assert lateral_pv(loaded, LAYERS) == pytest.approx(passed(series(NUT, SPRING)), rel=1e-3)


def test_stiffness_and_friction_are_told_as_a_corner_has_them():
    loaded = in_phase(joint__friction_coefficient=0.01, joint__magnet_force_n=12)
    assert series_stiffness(loaded) == pytest.approx(GUIDE)
    assert series_stiffness(stiffer(loaded, 3.0)) == pytest.approx(3 * GUIDE)
    assert friction_force(loaded) == pytest.approx(0.01 * (LOAD + 12), rel=1e-6)


def test_a_sticking_joint_passes_what_its_bristle_and_spring_pass():
    """Breakaway far beyond the motion: (k_b + k_r) e/(k_b + k_r + k_g)."""
    bristle = 0.5 * LOAD / 1.0  # N/m, with a breakaway of 1 m
    loaded = in_phase(
        **FIRM, joint__friction_coefficient=0.5, joint__breakaway_um=1e6, joint__lateral_n_per_mm=0.1
    )
    expected = 2 * E * (bristle + 100) / (bristle + 100 + GUIDE)
    assert lateral_pv(loaded, LAYERS) == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize("coefficient", [0.5, 2.0])
def test_a_sliding_joint_without_spring_passes_its_friction(coefficient):
    """F_c/k_g in whatever direction it slides; breakaway far below the motion."""
    loaded = in_phase(
        **FIRM, joint__friction_coefficient=coefficient, joint__breakaway_um=0.05, joint__lateral_n_per_mm=0
    )
    assert coefficient * LOAD < 0.8 * GUIDE * E
    assert lateral_pv(loaded, LAYERS) == pytest.approx(2 * coefficient * LOAD / GUIDE, rel=1e-3)


def rotating(friction, breakaway):
    """Half the peak to valley once the motion repeats, all vectors turning with the screw.

    The bristle's law f' = k_b (v - |v| f/F_c) with v = i w j and |v| = w J gives
    f = k_b j/(1 - i J/breakaway); then e = j + c with k_g c = k_r j + f.  Derived by hand.
    """

    def carriage(excursion):
        spring = SPRING + friction / breakaway / (1 - 1j * excursion / breakaway)
        return spring / (spring + GUIDE) * E

    excursion = brentq(lambda j: abs(E - carriage(j)) - j, 1e-9, E)
    return abs(carriage(excursion))


@pytest.mark.parametrize(("coefficient", "breakaway"), [(0.02, 2e-6), (1.0, 20e-6), (5.0, 2e-6)])
def test_a_joint_with_spring_and_friction_turns_as_the_law_says_and_stays_within_the_bound(
    coefficient, breakaway
):
    """Last turn of many: what the run-in leaves in a sticky joint has died out.

    Steps of 5 degrees turn the friction's direction by up to 2.5, which changes the sum of spring and
    friction at right angles by at most sin(2.5 deg)/2 = 2 %, measured 0.4 %: 1 % allowed.
    """
    loaded = in_phase(
        **FIRM,
        joint__friction_coefficient=coefficient,
        joint__breakaway_um=breakaway * 1e6,
        print__layers=49 if coefficient > 2 else 17,
    )
    lateral = simulate(loaded, engine="equilibrium").layers.lateral_raw[-8:, :1]
    found = lateral_peak_to_valley(lateral)[0] / 2
    friction = coefficient * LOAD
    assert found == pytest.approx(rotating(friction, breakaway), rel=0.01)
    stuck = friction / breakaway + SPRING
    assert found < min(stuck * E / (stuck + GUIDE), (friction + SPRING * E) / (GUIDE + SPRING))


def test_break_even_stiffness_solves_the_closed_form():
    """2 e (k_s/(k_s + k_g) - k'/(k' + k_g)) = worth, k' = k_s and k_r in series: a quadratic in k_g."""
    worth = 20e-6
    found = stiffness_crossing(in_phase(), worth, LAYERS)
    soft = series(NUT, SPRING)
    # multiplied out: worth (k_s + k)(k' + k) = 2 e k (k_s - k')
    roots = np.roots([worth, worth * (NUT + soft) - 2 * E * (NUT - soft), worth * NUT * soft])
    assert found.at == pytest.approx([max(roots.real)], rel=2e-3)
    assert found.pays_at_low and not found.pays_at_high
    assert found.given == pytest.approx(GUIDE)


def test_break_even_friction_solves_the_closed_form():
    """Bolted less worth = 2 F_c/k_g, firm screw, joint without spring."""
    worth = 30e-6
    loaded = in_phase(**FIRM, joint__breakaway_um=0.05, joint__lateral_n_per_mm=0)
    found = friction_crossing(loaded, worth, LAYERS)
    assert found.at == pytest.approx([(2 * E - worth) / 2 * GUIDE], rel=3e-3)
    assert found.given == 0.0


def test_nothing_to_weigh_without_a_joint():
    with pytest.raises(
        InputError, match=r'joint\.kind = "rigid": there is no joint to weigh.*joint\.kind=rolling'
    ):
        break_even(with_rigid_joints(in_phase()))


def test_what_a_joint_is_worth_is_a_band_that_an_eye_sees():
    """Several micrometres of amplitude at 5 mm from 0.3 m under 60 degrees."""
    assert 5e-6 < visible_worth(in_phase()) < 30e-6


# ---- words


def crossing(at, low, high):
    curve = Curve(place=np.array([1e4, 1e8]), rigid=np.ones(2), joint=np.ones(2))
    return Crossing(curve=curve, given=1e6, at=at, pays_at_low=low, pays_at_high=high)


def lines(stiffness, friction, worth=10e-6, **more):
    crossings = {"stiffness": stiffness, "friction": friction}
    found = BreakEven(kind="rolling", worth=worth, rigid=60e-6, joint=2e-6, layers=9, **crossings, **more)
    return break_even_lines(found)


def test_what_the_joint_leaves_elsewhere_on_the_travel_is_told():
    always = crossing((), True, True)
    told = lines(always, always, left=(0.0085, 0.51))
    assert "Over the whole travel, without friction, it leaves 0.85 % to 51 % of the band" in told[2]
    assert len(told) == len(lines(always, always)) + 1, "unknown: no sentence"


def test_the_answer_is_told_in_plain_sentences():
    told = lines(crossing((5.3e6,), True, False), crossing((4.51,), True, False))
    assert told[0].startswith("A rolling joint pays where it takes at least 10 µm off")
    assert "58 µm off: 2.0 µm instead of 60 µm" in told[1] and told[1].endswith("it pays.")
    assert told[2] == "The joint pays only if guide and frame are softer than 5.3 N/µm (given: 1.0 N/µm)."
    assert told[3].startswith("Its friction must stay under 4.5 N per corner")


@pytest.mark.parametrize(
    ("case", "text"),
    [
        (
            crossing((), True, True),
            "the joint always pays between 0.010 N/µm and 100 N/µm",
        ),
        (crossing((), False, False), "the joint never pays between 0.010 N/µm and 100 N/µm"),
        (crossing((2e6,), False, True), "only if guide and frame are stiffer than 2.0 N/µm"),
        (crossing((2e6, 5e6), False, False), "only with guide and frame between 2.0 N/µm and 5.0 N/µm"),
        (crossing((2e6, 5e6), True, True), "under 2.0 N/µm or over 5.0 N/µm"),
    ],
)
def test_other_outcomes_are_told_as_they_are(case, text):
    assert text in lines(case, crossing((), True, True))[2]


def test_no_worth_at_all_is_any_saving():
    assert "takes anything off" in lines(crossing((), True, True), crossing((), True, True), worth=0.0)[0]


def test_a_scenario_from_text_is_all_that_is_needed():
    """The machine of this file is complete without a file."""
    assert math.isfinite(
        scenario_from_text(in_phase().resolved_toml(), name="x", tables={}).scenario.bed.mass_kg
    )
