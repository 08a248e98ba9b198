"""From simulated readings back to their causes.

The machine of these tests is worked out here from statics alone: a rigid bed on three equal lateral
springs, each pulled by its screw, and on three points in height.
"""

from pathlib import Path

import numpy as np
import pytest

from bedsim.diagnosis.least_squares import diagnose, excess, next_tests, phasor_of_turn, turned_response
from bedsim.diagnosis.outside_causes import near, outside_causes
from bedsim.diagnosis.screw_bounds import screw_bounds
from bedsim.errors import InputError
from bedsim.scenario.load import load_scenario

CORNERS = {"left": (-0.15, -0.1), "right": (0.16, -0.1), "back": (0.0, 0.17)}
PROBES = {"centre": (0.0, 0.0), "east": (0.1, 0.0), "north": (0.0, 0.1)}
SOURCES = [(cause, corner) for cause in ("run-out", "once-per-turn lead") for corner in CORNERS]
SIGMA = 0.3e-6


def machine(places=PROBES, axes="xyz", radial=0.1):
    """Response (m, s): planar equilibrium of three springs, softer radially; height by the plane through
    three points.
    """
    corner = np.array(list(CORNERS.values()))
    outward = corner / np.linalg.norm(corner, axis=1)[:, None]
    stiffness = [np.eye(2) - (1 - radial) * np.outer(r, r) for r in outward]
    moves = [np.array([[1, 0, -y], [0, 1, x]]) for x, y in corner]
    K = sum(B.T @ k @ B for B, k in zip(moves, stiffness, strict=True))
    rows = []
    for x, y in places.values():
        weights = np.linalg.solve(np.vstack([corner.T, np.ones(3)]), [x, y, 1.0])
        pulls = [np.linalg.solve(K, B.T @ k @ [1, -1j]) for B, k in zip(moves, stiffness, strict=True)]
        d = np.array([[1, 0, -y], [0, 1, x]]) @ np.array(pulls).T
        planar = {"x": d[0], "y": d[1], "z": np.zeros(3)}
        rows += [[*planar[axis], *(weights if axis == "z" else np.zeros(3))] for axis in axes]
    return np.array(rows, complex)


TRUE = 1e-6 * np.array([8 * np.exp(0.3j), 5 * np.exp(-2j), 2 * np.exp(1.5j), 3j, 1.5 + 0j, -2 + 1j])


def noisy(h, rng, true=TRUE):
    return h @ true + SIGMA * (rng.normal(size=len(h)) + 1j * rng.normal(size=len(h)))


def test_sources_are_found_within_their_uncertainty():
    """400 repeats: mean on the truth, scatter as stated, and the residual test alarms as rarely as it
    says.
    """
    rng = np.random.default_rng(4)
    h = machine()
    runs = [diagnose(h, noisy(h, rng), np.full(len(h), SIGMA), SOURCES) for _ in range(400)]
    found = np.array([[e.amplitude * np.exp(1j * e.direction) for e in r.estimates] for r in runs])
    stated = np.array([e.uncertainty for e in runs[0].estimates])
    scatter = np.sqrt((np.abs(found - TRUE) ** 2).mean(axis=0) / 2)
    assert scatter == pytest.approx(stated, rel=0.12)
    assert np.abs(found.mean(axis=0) - TRUE).max() < 5 * stated.max() / 20
    assert runs[0].can_tell
    assert np.mean([r.outside_model for r in runs]) < 0.03
    assert np.mean([r.chi_square for r in runs]) == pytest.approx(runs[0].degrees, rel=0.05)


def test_shares_sum_to_one_and_follow_the_sources():
    h = machine()
    result = diagnose(h, h @ TRUE, np.full(len(h), SIGMA), SOURCES)
    assert sum(e.share for e in result.estimates) == pytest.approx(1)
    only = diagnose(h, h[:, 1] * 3e-6, np.full(len(h), SIGMA), SOURCES)
    assert [round(e.share, 9) for e in only.estimates] == [0, 1, 0, 0, 0, 0]


def test_weights_let_the_better_reading_decide():
    """One source, two readings, uncertainties 1 and 3: weighted mean by hand (9 a + b)/10."""
    result = diagnose([[1.0], [1.0]], [1e-6, 2e-6], [1e-6, 3e-6], [("run-out", "left")])
    assert result.estimates[0].amplitude == pytest.approx(1.1e-6)
    assert result.estimates[0].uncertainty == pytest.approx(1e-6 * np.sqrt(9 / 10))


def test_readings_at_one_point_cannot_tell_screws_apart():
    """With equal springs, X and Y at the centroid answer to the sum of the run-outs only; heights are not
    read.
    """
    centroid = {"m": tuple(np.mean(list(CORNERS.values()), axis=0))}
    h = machine(centroid, "xy", radial=1.0)
    result = diagnose(h, h @ TRUE, np.full(2, SIGMA), SOURCES)
    assert not result.can_tell
    assert result.rank == 1
    left = result.estimates[0]
    assert not left.told
    assert np.isinf(left.uncertainty)
    assert set(left.mixed_with) >= {("run-out", "right"), ("run-out", "back")}


def test_turning_one_coupling_isolates_its_screw():
    """y2 - y1 = (j - 1) H x of that corner alone, so old and new readings together tell it."""
    centroid = {"m": tuple(np.mean(list(CORNERS.values()), axis=0))}
    h = machine(centroid, "xy", radial=1.0)[:, :3]
    turned = turned_response(h, SOURCES[:3], "right", np.pi / 2)
    both = np.vstack([h, turned])
    rng = np.random.default_rng(8)
    result = diagnose(both, noisy(both, rng, TRUE[:3]), np.full(4, SIGMA), SOURCES[:3])
    told = {e.source[1]: e for e in result.estimates}
    assert told["right"].told
    assert not told["left"].told
    assert told["left"].mixed_with == (("run-out", "back"),)
    assert told["right"].amplitude == pytest.approx(5e-6, abs=4 * told["right"].uncertainty)


def test_next_test_is_the_one_that_tells_most():
    """A screw that the readings hardly see alone is the one to turn; the forecast is what a fit then
    states.
    """
    h = np.array([[1.0, 1.0, 0.0], [0.0, 0.0, 1.0]], complex)
    sources = [("run-out", "a"), ("run-out", "b"), ("run-out", "c")]
    tests = next_tests(h, [SIGMA, SIGMA], sources, [1, 1, 1])
    assert {t.corner for t in tests[:2]} == {"a", "b"}
    assert tests[0].rank == 3
    assert tests[2].rank == 2
    both = np.vstack([h, turned_response(h, sources, tests[0].corner, tests[0].turn)])
    after = diagnose(both, both @ [1e-6, 2e-6, 3e-6], np.full(4, SIGMA), sources)
    assert max(e.uncertainty for e in after.estimates) == pytest.approx(tests[0].worst_uncertainty)


def test_left_hand_screw_turns_the_other_way():
    """Direction in the screw's own frame: a left-hand thread shows the conjugate phasor."""
    h = machine()
    right = diagnose(h, h @ TRUE, np.full(len(h), SIGMA), SOURCES)
    left = diagnose(h, h @ TRUE, np.full(len(h), SIGMA), SOURCES, hand={"left": -1})
    assert left.estimates[0].direction == pytest.approx(-right.estimates[0].direction)
    assert left.estimates[1].direction == pytest.approx(right.estimates[1].direction)
    assert turned_response(h, SOURCES, "left", 0.3, {"left": -1})[0, 0] == pytest.approx(
        h[0, 0] * np.exp(-0.3j)
    )


@pytest.mark.parametrize("size", [3e-6, 6e-6])
def test_a_cause_outside_the_model_is_flagged(size):
    """A sway of the frame along X only, once per turn: no turning screw can make it in all three places."""
    rng = np.random.default_rng(9)
    h = machine()
    sway = np.tile([size, 0, 0], 3).astype(complex)
    sway[6] = -size
    result = diagnose(h, noisy(h, rng) + sway, np.full(len(h), SIGMA), SOURCES)
    assert result.outside_model
    assert result.chance < 1e-3


def test_no_readings_left_over_is_no_check():
    h = machine()[:6]
    result = diagnose(h, h @ TRUE, np.full(6, SIGMA), SOURCES)
    assert result.degrees == 2 * (6 - result.rank)
    exact = diagnose(np.eye(2), [1e-6, 1e-6], [SIGMA, SIGMA], SOURCES[:2])
    assert np.isnan(exact.chance)
    assert not exact.outside_model


def test_phasor_of_eighths():
    """Reading a + Re(y e^{j psi}) plus a second harmonic: y comes back, the harmonic is left over."""
    psi = np.arange(8) * np.pi / 4
    value, rest = phasor_of_turn(psi, 4.0 + (2 * np.exp(1j * (psi + 0.7))).real + 0.5 * np.cos(2 * psi))
    assert value == pytest.approx(2 * np.exp(0.7j))
    assert rest == pytest.approx(0.5 * np.cos(2 * psi))
    with pytest.raises(InputError, match="4 or more different angles"):
        phasor_of_turn([0, 1, 2, 2 * np.pi], [0, 1, 2, 3])


def test_mismatched_or_worthless_input_is_refused():
    with pytest.raises(InputError, match="must agree"):
        diagnose(np.eye(3), [1, 2], [1, 1], SOURCES[:3])
    with pytest.raises(InputError, match="above 0"):
        diagnose(np.eye(2), [1, 2], [1, 0], SOURCES[:2])
    with pytest.raises(InputError, match="not a number"):
        diagnose(np.eye(2), [1, np.nan], [1, 1], SOURCES[:2])


def test_causes_outside_the_model_by_their_period():
    """Worked by hand: 60 s cycles at 20 s and 0.2 mm per layer are 0.6 mm; 150 mm3 a turn at 30 mm3 a layer
    1 mm.
    """
    causes = outside_causes(
        layer_height=0.2e-3,
        seconds_per_layer=20,
        lead=5e-3,
        steps_per_turn=200,
        gear_ratio=2,
        heater_seconds=60,
        extruder_volume_per_turn=150e-9,
        volume_per_layer=30e-9,
    )
    lengths = [c.wavelength for c in causes]
    assert lengths[:3] == pytest.approx([0.6e-3, 1e-3, 2.5e-3])
    assert lengths[3] == float("inf")  # 0.05 mm of four full steps under 0.2 mm layers: every layer alike
    assert lengths[4] is None
    assert near(causes[2], 2.6e-3)
    assert not near(causes[2], 5e-3)


def test_three_run_outs_under_equal_springs_are_told_from_no_place_on_the_bed():
    """Two balances, of force and of yaw, hold three unknowns: rank 2 wherever the gauges stand."""
    h = machine(axes="xy", radial=1.0)[:, :3]
    result = diagnose(h, h @ TRUE[:3], np.full(len(h), SIGMA), SOURCES[:3])
    assert result.rank == 2
    assert not any(e.told for e in result.estimates)
    assert result.next_tests[0].rank == 3


BOUND = np.full(len(SOURCES), 100e-6)


def test_a_machine_that_hardly_passes_its_screws_on_does_not_explain_their_motion():
    """Readings of one machine under one that passes a hundredth on: fitted well by screws that none has."""
    rng = np.random.default_rng(10)
    h = machine()
    y, sigma = noisy(h, rng), np.full(len(h), SIGMA)
    assert diagnose(h, y, sigma, SOURCES, bound=BOUND).excess is None
    hardly = diagnose(h / 100, y, sigma, SOURCES, bound=BOUND)
    assert not hardly.outside_model
    assert hardly.excess.source == ("run-out", "left")
    assert hardly.excess.needed == pytest.approx(100 * 8e-6, rel=0.2)
    assert hardly.excess.bound == 100e-6
    assert diagnose(h / 100, y, sigma, SOURCES).excess is None


def test_noise_alone_is_no_excess_even_where_the_fit_makes_much_of_it():
    """The fit of a machine that passes nothing on turns noise into millimetres; the readings need none."""
    rng = np.random.default_rng(11)
    h, sigma = machine() / 1e4, np.full(9, SIGMA)
    runs = [diagnose(h, noisy(h, rng, 0 * TRUE), sigma, SOURCES, bound=BOUND) for _ in range(300)]
    assert min(max(e.amplitude for e in r.estimates) for r in runs) > 1e-3
    assert np.mean([r.excess is not None for r in runs]) < 0.03


def test_excess_is_decided_by_the_least_of_misfit_and_size():
    """y^H D^-1 y against numpy's least squares of readings and bounds stacked, on both sides of the limit."""
    from scipy import stats

    rng = np.random.default_rng(12)
    h, sigma = machine() / 30, np.full(9, SIGMA)
    y = noisy(h, rng, 100 * TRUE)
    limit = stats.chi2.isf(0.01, 18)
    told = []
    for factor in (0.5, 1, 2, 4, 8, 16):
        stacked = np.vstack([h / SIGMA, np.diag(1 / (factor * BOUND))])
        wanted = np.concatenate([y / SIGMA, np.zeros(6)])
        x = np.linalg.lstsq(stacked, wanted, rcond=None)[0]
        least = np.sum(np.abs(stacked @ x - wanted) ** 2)
        free = np.linalg.lstsq(h, y, rcond=None)[0]
        found = excess(h, y, sigma, free, factor * BOUND, SOURCES)
        told.append(found is not None)
        assert told[-1] == (least > limit and np.abs(free).max() > factor * 100e-6)
    assert told[0]
    assert not told[-1]


def test_a_fit_that_is_too_good_is_no_check():
    h = machine()
    exact = diagnose(h, h @ TRUE, np.full(len(h), SIGMA), SOURCES)
    assert exact.fits_too_well
    rng = np.random.default_rng(13)
    runs = [diagnose(h, noisy(h, rng), np.full(len(h), SIGMA), SOURCES) for _ in range(300)]
    assert np.mean([r.fits_too_well for r in runs]) < 0.03


def in_real_parts(h, mirror):
    """Real and imaginary parts of H x + M conj(x), each as a row over the parts of x."""
    real = np.concatenate([(h + mirror).real, -(h - mirror).imag], axis=1)
    return np.vstack([real, np.concatenate([(h + mirror).imag, (h - mirror).real], axis=1)])


def test_condition_number_is_that_of_the_readings():
    """numpy's, of the matrix written out in real parts; the second largest value is far from the largest."""
    h = np.diag([9.0, 3.0, 1.0]).astype(complex)
    h[0, 1] = 2j
    mirror = np.diag([4.0, 1.0, 0.3]).astype(complex)  # friction answers unlike along and across
    for mirrored in (0 * h, mirror):
        result = diagnose(h, h @ TRUE[:3], np.full(3, SIGMA), SOURCES[:3], mirrored=mirrored)
        assert result.condition == pytest.approx(np.linalg.cond(in_real_parts(h, mirrored)), rel=1e-12)


@pytest.mark.parametrize(("weak", "rank"), [(0.016, 3), (0.014, 2)])
def test_a_source_seen_a_hundred_times_weaker_than_the_strongest_is_not_told(weak, rank):
    """The strongest answer is 1 + 0.5 where friction helps it and 1 - 0.5 across: 1.5 counts."""
    h, mirror = np.diag([1.0, 0.1, weak]).astype(complex), np.diag([0.5, 0.0, 0.0]).astype(complex)
    result = diagnose(h, h @ TRUE[:3], np.full(3, SIGMA), SOURCES[:3], mirrored=mirror)
    assert result.rank == rank


def test_the_forecast_of_a_test_holds_where_friction_turns_answers_backwards():
    """Turning a coupling by a quarter multiplies what follows a screw by j and what runs against it by -j:
    the forecast is the worst uncertainty of a fit to old and new readings, by the normal equations."""
    rng = np.random.default_rng(3)
    h = rng.normal(size=(4, 2)) + 1j * rng.normal(size=(4, 2))
    mirror = 0.4 * (rng.normal(size=(4, 2)) + 1j * rng.normal(size=(4, 2)))
    sources = [("run-out", "a"), ("run-out", "b")]
    sigma = np.full(4, SIGMA)
    for test in next_tests(h, sigma, sources, [1.0, 1.0], mirrored=mirror):
        turned = np.array([1j if corner == test.corner else 1.0 for _, corner in sources])
        both = np.vstack([in_real_parts(h, mirror), in_real_parts(h * turned, mirror * turned.conj())])
        covariance = np.linalg.inv(both.T @ both) * SIGMA**2
        stated = np.sqrt(np.diag(covariance).reshape(2, 2).mean(axis=0)).max()
        assert test.worst_uncertainty == pytest.approx(stated, rel=1e-9)


def test_what_no_screw_has_is_five_times_the_worst():
    """Of 100 um off the axis and 123 um of travel, or of what the scenario gives where that is more: a bow
    of 600 um TIR in the machine is 300 um off at its crest."""
    file = Path(__file__).parents[2] / "scenarios" / "ground-stiff.toml"
    two = (("run-out", "back"), ("once-per-turn travel", "back"))
    assert screw_bounds(load_scenario(file), two) == pytest.approx([500e-6, 615e-6])
    bent = load_scenario(
        file,
        [
            "corner.back.screw.run_out.bow_tir_um=600",
            'corner.back.screw.run_out.bow_measured="mounted"',
            "corner.back.screw.travel.once_per_turn_pv_um=300",
        ],
    )
    assert screw_bounds(bent, two) == pytest.approx([1500e-6, 750e-6], rel=2e-3)
