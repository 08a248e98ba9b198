"""Verdicts: the workshop's statement, undecided within the gauge's uncertainty, chances against a Monte
Carlo."""

import numpy as np
import pytest
from gauge_turns import ANGLES, make, turn

from bedsim.errors import InputError
from bedsim.metrology import verdict
from bedsim.metrology.centreline_fit import fit_centreline
from bedsim.metrology.readings import Extremes
from bedsim.metrology.runout_fit import fit_positions
from bedsim.metrology.setup import Setup
from bedsim.screws.grades import limit

UM, MM = 1e-6, 1e-3


def test_over_ten_times_the_limit():
    """Run-out 0.15 mm where C7 allows 0.014 mm: over ten times the limit (common practice, no source)."""
    said = verdict.against_class(0.150 * MM, "C7", 12 * MM)
    assert said.startswith(
        "run-out 0.150 mm on a screw whose class (C7) allows 0.014 mm: over ten times the limit"
    )
    assert "(10.7)" in said


@pytest.mark.parametrize(
    ("tir", "says"), [(7, "within the limit (0.50"), (20, "over the limit (1.43"), (50, "over three times")]
)
def test_other_readings(tir, says):
    assert says in verdict.against_class(tir * UM, "C7", 12 * MM)


@pytest.mark.parametrize(
    ("run_out", "u", "outcome"),
    [
        (10, 1.9, "meets"),
        (10, 2.1, "undecided"),
        (14, 0.1, "undecided"),
        (18, 1.9, "exceeds"),
        (18, 2.1, "undecided"),
    ],
)
def test_near_the_limit_is_undecided(run_out, u, outcome):
    """C7, 12 mm: 14 um; a verdict only beyond two standard uncertainties."""
    assert (
        verdict.judge(run_out * UM, u * UM, limit("C7", "thread_run_out", diameter=12 * MM)).outcome
        == outcome
    )


def test_probability_agrees_with_a_monte_carlo():
    v = verdict.judge(13 * UM, 2 * UM, limit("C7", "thread_run_out", diameter=12 * MM))
    truth = np.random.default_rng(8).normal(13, 2, 200000)
    assert v.probability == pytest.approx(np.mean(truth <= 14), abs=0.004)


def test_best_class_with_margin():
    """12 mm diameter: C3 8, C5 11, C7 14 um; 9 +- 0.4 um meets C5 with 2 um to spare, and surely not C3."""
    g = verdict.run_out_verdict(9 * UM, 0.4 * UM, 12 * MM, "thread")
    assert g.best.limit.grade.name == "C5"
    assert g.best.margin == pytest.approx(2 * UM)
    assert g.undecided == ()
    said = verdict.sentence(g)
    assert "meets JIS B 1192 class C5 (11 µm), margin 2.0 µm" in said


def test_undecided_classes_are_told_in_one_clause():
    """7 +- 6 um at 12 mm diameter: nothing is sure but that it is told once."""
    said = verdict.sentence(verdict.run_out_verdict(7 * UM, 6 * UM, 12 * MM, "thread"))
    assert said.count("undecided") == 1
    assert "JIS B 1192 classes C0, C1, C2, C3, C5, C7 (" in said or "classes C0, C1, C3, C5, C7 (" in said


def test_a_class_in_doubt_is_not_called_over_its_limit():
    said = verdict.against_class(23 * UM, "C7", 12 * MM, "undecided")
    assert "over" not in said
    assert said.endswith("1.64 times the limit, which the gauge's uncertainty leaves open")


def test_no_class_at_all():
    said = verdict.sentence(verdict.run_out_verdict(150 * UM, 3 * UM, 12 * MM, "thread"))
    assert "meets no class surely; 10.7 times what JIS B 1192 class C7 allows (14 µm)" in said


def measured(E, B, **more):
    setup = Setup(
        **{
            "length": 0.4,
            "diameter": 0.012,
            "resolution": 1e-6,
            "repeatability": 1e-6,
            "support_uncertainty": 0.0,
        }
        | more
    )
    positions = np.array([0.02, 0.1, 0.2, 0.3, 0.38])
    value = np.concatenate([turn(E + B * np.sin(np.pi * s / 0.4)) for s in positions])
    readings = make(np.repeat(positions, 12), np.tile(ANGLES, 5), value)
    return fit_centreline(fit_positions(readings, setup), setup), setup


def test_a_straight_screw_off_centre_fails_the_run_out_and_meets_the_straightness():
    """E 20 um (40 um TIR against 14), bow 10 um offset: 20 um TIR, growth over 80 mm 11.8 um (grade 1 allows
    20)."""
    fit, setup = measured(20e-6, 10e-6)
    ends, bent = verdict.centreline_verdicts(fit, setup)
    assert ends.best is None and ends.verdicts[-1].ratio == pytest.approx(40 / 14, rel=1e-6)
    assert bent.best.limit.grade.name == "1"
    assert bent.best.run_out == pytest.approx(20e-6 * np.sin(np.pi * 0.2), rel=1e-4)


def test_bow_over_the_coarsest_straightness():
    """Bow of 150 um TIR over 400 mm, 12 mm: grows by 88 um over l5 = 80 mm, more than any grade allows (10:
    80)."""
    fit, setup = measured(0j, 75e-6)
    bent = verdict.centreline_verdicts(fit, setup)[-1]
    assert bent.best is None
    assert bent.verdicts[-1].outcome == "exceeds"


def test_a_wide_gauge_uncertainty_leaves_classes_undecided():
    fit, setup = measured(6.5e-6, 10e-6, support_uncertainty=4e-6)
    ends = verdict.centreline_verdicts(fit, setup)[0]
    assert ends.best is None
    assert {v.limit.grade.name for v in ends.undecided} >= {"C5", "C7"}
    assert "undecided" in verdict.sentence(ends)


def test_extremes_give_a_run_out_only():
    extremes = Extremes(
        position=np.array([0.02, 0.2]), largest=np.array([150e-6, 200e-6]), smallest=np.array([0.0, 0.0])
    )
    g = verdict.extremes_verdict(extremes, Setup(diameter=0.012, repeatability=1e-6, resolution=1e-6))
    assert g.best is None
    assert g.verdicts[-1].ratio == pytest.approx(150 / 14)


def test_less_than_a_division_is_not_read():
    """A screw that moves a 10 um needle by 0.2 um was more likely written in mm; one division is read."""
    assert "0.2 µm" in verdict.unread(0.2 * UM, Setup()) and "mm" in verdict.unread(0.0, Setup())
    assert verdict.unread(20 * UM - 10 * UM, Setup()) is None  # 9.9999999 in floating point


def test_diameter_is_asked_for():
    fit, _ = measured(1e-6, 1e-6)
    with pytest.raises(InputError, match="diameter_mm"):
        verdict.centreline_verdicts(fit, Setup(length=0.4))
