"""Run-out fits against scipy's own optimiser, a Monte Carlo and closed forms."""

import math

import numpy as np
import pytest
from gauge_turns import ANGLES, make, turn
from scipy.optimize import least_squares

from bedsim.errors import InputError
from bedsim.metrology import centreline_fit, runout_fit
from bedsim.metrology.readings import Readings
from bedsim.metrology.setup import Setup

UM, MM = 1e-6, 1e-3


def setup(**more):
    return Setup(**{"length": 0.4, "support_uncertainty": 0.0, **more})


def fit_one(value, angle=ANGLES, **more):
    readings = make(np.full(len(angle), 0.1), angle, value)
    return runout_fit.fit_positions(readings, setup(**more))[0]


def test_run_out_is_twice_the_offset_and_the_direction_comes_back():
    fit = fit_one(5e-4 + turn(40e-6 * np.exp(0.7j)))
    assert fit.run_out == pytest.approx(80 * UM)
    assert fit.offset == pytest.approx(40e-6 * np.exp(0.7j))
    assert fit.lobes == pytest.approx((0, 0), abs=1e-12)


def test_gauge_direction_is_taken_out():
    """A gauge on +Y (90 degrees) sees the offset a quarter turn later."""
    fit = fit_one(turn(40e-6 * np.exp(0.7j), angle=ANGLES - np.pi / 2), gauge=np.pi / 2)
    assert fit.offset == pytest.approx(40e-6 * np.exp(0.7j))


def test_lobes_are_told_from_run_out_and_agree_with_scipy():
    """scipy.optimize.least_squares on the same model from another start gives the same circle and lobes."""
    rng = np.random.default_rng(3)
    value = turn(25e-6j, 6e-6 * np.exp(1j), 4e-6 * np.exp(-2j)) + rng.normal(0, 2e-6, ANGLES.size)
    fit = fit_one(value)

    def model(p):
        return p[0] + turn(complex(p[1], p[2]), complex(p[3], p[4]), complex(p[5], p[6])) / UM - value / UM

    p = least_squares(model, np.ones(7) * 1e-6, x_scale=1e-6).x
    # the model's parameters are in metres, its residuals in micrometres but for the constant
    assert fit.offset == pytest.approx(complex(p[1], p[2]), abs=1e-11)
    assert fit.lobes == pytest.approx((math.hypot(p[3], p[4]), math.hypot(p[5], p[6])), abs=1e-11)


def test_uncertainty_agrees_with_a_monte_carlo():
    """Spread of the fitted offset over 1500 noisy, rounded turns in any direction; 6 % is three standard
    errors."""
    rng = np.random.default_rng(4)
    errors = []
    for _ in range(1500):
        r = 30e-6 * np.exp(2j * np.pi * rng.random())
        value = turn(r) + rng.random() * 1e-4 + rng.normal(0, 3e-6, ANGLES.size)
        read = np.round(value / (10 * UM)) * 10 * UM
        errors.append(fit_one(read, resolution=10 * UM, repeatability=3 * UM).offset - r)
    stated = fit_one(turn(30e-6), resolution=10 * UM, repeatability=3 * UM).run_out_uncertainty / 2
    assert np.std(np.real(errors)) == pytest.approx(stated, rel=0.06)
    assert stated == pytest.approx(math.sqrt(2 / 12 * (100 / 12 + 9)) * UM)  # sqrt(2/n) u, derived


def test_ellipse_section_is_two_lobes():
    """A centred ellipse of semi-axes 6.00 and 5.98 mm turned under a flat gauge: two lobes of 10 um, no
    run-out."""
    support = np.sqrt((6.00 * np.cos(ANGLES)) ** 2 + (5.98 * np.sin(ANGLES)) ** 2) * MM
    fit = fit_one(support)
    assert fit.lobes[0] == pytest.approx(10 * UM, rel=2e-3)
    assert fit.run_out < 0.01 * UM


def test_an_outlier_is_flagged_and_can_be_dropped():
    value = turn(30e-6) + np.random.default_rng(5).normal(0, 2e-6, ANGLES.size)
    value[4] += 100 * UM
    readings = make(np.full(ANGLES.size, 0.1), ANGLES, value)
    assert runout_fit.fit_positions(readings, setup())[0].outliers == (4,)
    dropped = runout_fit.fit_positions(readings, setup(), drop_outliers=True)[0]
    assert dropped.run_out == pytest.approx(60 * UM, abs=4 * UM)
    assert dropped.outliers == (4,)


def test_clean_readings_are_rarely_called_outliers():
    rng = np.random.default_rng(6)
    called = sum(bool(fit_one(turn(30e-6) + rng.normal(0, 4e-6, 12)).outliers) for _ in range(500))
    assert called <= 14  # 1 % expected; binomial 99.9 % point of 500


@pytest.mark.parametrize(
    ("count", "says"), [(3, "out-of-roundness cannot"), (4, "out-of-roundness"), (6, "three lobes cannot")]
)
def test_few_angles_are_warned_of(count, says):
    angle = 2 * np.pi * np.arange(count) / count
    assert any(says in w for w in fit_one(turn(30e-6, angle=angle), angle=angle).warnings)


def test_four_angles_mistake_three_lobes_for_run_out():
    """Why the warning is given: at four equal angles a three-lobed form aliases into one cycle."""
    angle = np.radians([0, 90, 180, 270])
    assert fit_one(turn(0, lobes3=10e-6, angle=angle), angle=angle).run_out == pytest.approx(20 * UM)
    assert fit_one(turn(0, lobes3=10e-6)).run_out == pytest.approx(0, abs=1e-10)


def test_angles_on_one_side_are_warned_of():
    angle = np.radians([0, 20, 40, 60, 80, 100, 120, 140])
    assert any("unseen" in w for w in fit_one(turn(30e-6, angle=angle), angle=angle).warnings)


@pytest.mark.parametrize(
    ("included", "factors"),
    [  # |K| for 1 to 8 lobes: derived; 90 degrees, 3, 4, 7 lobes as in the classical table (from memory)
        (60, [0, 0, 3, 0, 0, 3, 0, 0]),
        (90, [0, 1, 2, 0.41, 2, 1, 0, 2.41]),
        (120, [0, 1.58, 1, 0.42, 2, 0.15, 2, 0.42]),
    ],
)
def test_v_block_factors(included, factors):
    got = [abs(runout_fit.v_block_factor(n, math.radians(included))) for n in range(1, 9)]
    assert got == pytest.approx(factors, abs=6e-3)


def test_v_block_reading_of_a_lobed_section_by_geometry():
    """Support function h(t) = R + e cos(nt) resting in a V: the centre sinks so that both flanks touch
    (first order)."""
    n, e, half = 3, 10e-6, math.radians(45)
    out = []
    for t in np.linspace(0, 2 * np.pi, 721):

        def h(direction, t=t):
            return e * math.cos(n * (direction - t))

        left, right = -math.pi / 2 - (math.pi / 2 - half), -math.pi / 2 + (math.pi / 2 - half)
        rows = [[math.cos(left), math.sin(left)], [math.cos(right), math.sin(right)]]
        _, y = np.linalg.solve(rows, [-h(left), -h(right)])
        out.append(y + h(math.pi / 2))
    assert np.ptp(out) / 2 / e == pytest.approx(abs(runout_fit.v_block_factor(n, 2 * half)), rel=1e-4)


def many(setup_, r_of_s, positions, noise=0.0, seed=7):
    rng = np.random.default_rng(seed)
    position = np.repeat(positions, ANGLES.size)
    angle = np.tile(ANGLES, len(positions))
    value = np.concatenate([turn(r_of_s(s)) for s in positions]) + rng.normal(0, noise, position.size)
    return centreline_fit.fit_centreline(
        runout_fit.fit_positions(make(position, angle, value), setup_), setup_
    )


@pytest.mark.parametrize("free_end", [False, True])
def test_eccentricity_tilt_and_bow_come_back(free_end):
    E, T, B = 10e-6 + 5e-6j, 2e-4j, 60e-6 * np.exp(1j)

    def r(s):
        return E + T * s + B * ((1 - np.cos(np.pi * s / 0.8)) if free_end else np.sin(np.pi * s / 0.4))

    fit = many(setup(free_end=free_end), r, [0.02, 0.1, 0.2, 0.3, 0.38])
    assert [fit.value(t) for t in fit.terms] == pytest.approx([E, T, B], rel=1e-6)
    assert fit.fits and fit.freedom == 4


def test_covariance_of_the_terms_agrees_with_a_monte_carlo():
    """200 screws with readings of 5 um scatter: the spread of each term matches its stated uncertainty."""
    s = setup(resolution=1 * UM, repeatability=5 * UM)
    bows, tilts, stated, within = [], [], [], 0
    for seed in range(200):
        fit = many(
            s, lambda p: 5e-6 + 50e-6 * np.sin(np.pi * p / 0.4), [0.02, 0.1, 0.2, 0.3, 0.38], 5e-6, seed
        )
        bows.append(fit.value("bow").real)
        tilts.append(fit.value("tilt").real)
        stated.append([math.sqrt(fit.block("bow")[0, 0]), math.sqrt(fit.block("tilt")[0, 0])])
        within += abs(fit.value("bow").real - 50e-6) <= 2 * stated[-1][0]
    assert np.std(bows) == pytest.approx(np.mean([u for u, _ in stated]), rel=0.2)
    assert np.std(tilts) == pytest.approx(np.mean([u for _, u in stated]), rel=0.2)
    assert within >= 182  # 95.4 % of 200, minus three standard deviations of the binomial law


def test_v_blocks_show_the_bow_and_nothing_rigid():
    """Eccentricity and tilt are the blocks' own; the bow against the line through them comes back whole."""
    B = 50e-6 * np.exp(2j)
    chord = np.sin(np.pi * np.array([0.04, 0.3]) / 0.4)

    def seen(s):
        line = chord[0] + (chord[1] - chord[0]) * (s - 0.04) / 0.26
        return B * (np.sin(np.pi * s / 0.4) - line)

    fit = many(setup(how="v-block", supports=(0.04, 0.3)), seen, [0.04, 0.1, 0.2, 0.3, 0.38])
    assert fit.terms == ("bow",)
    assert fit.value("bow") == pytest.approx(B, rel=1e-6)
    assert fit.position.size == 3  # the sections lying in the blocks say nothing
    assert any("V-blocks show the bow only" in w for w in fit.warnings)


def test_v_blocks_state_more_uncertainty_than_the_nut():
    wide = Setup(how="v-block", supports=(0.04, 0.36)).holding_uncertainty
    assert wide > Setup(how="centres").holding_uncertainty > Setup(how="nut").holding_uncertainty


def test_one_journal_tells_how_far_off_the_axis_is_and_not_how_it_tilts():
    """The only journal stands 8 um off: that is taken off everywhere, the slope stays unknown."""
    positions, places = [-0.02, 0.05, 0.2, 0.35], ["journal", *["thread"] * 3]
    value = [8e-6j, *(8e-6j + 30e-6 * np.sin(np.pi * s / 0.4) for s in positions[1:])]
    readings = make(
        np.repeat(positions, 12),
        np.tile(ANGLES, 4),
        np.concatenate([turn(v) for v in value]),
        np.repeat(places, 12),
    )
    s = setup(how="centres")
    fit = centreline_fit.fit_centreline(runout_fit.fit_positions(readings, s), s)
    assert fit.support == (pytest.approx(8e-6j, abs=1e-10), 0j)
    assert fit.value("bow") == pytest.approx(30e-6, abs=1e-10)


def test_support_eccentricity_is_taken_out_by_the_journals():
    """Between centres: journals 8 um off the centre holes and tilted; the thread against the journals comes
    back."""
    line = lambda s: 8e-6j + 3e-5 * s  # noqa: E731
    positions, places = [-0.02, 0.42, 0.02, 0.1, 0.2, 0.3, 0.38], ["journal"] * 2 + ["thread"] * 5
    value = [
        line(s) + (0 if p == "journal" else 6e-6 + 30e-6 * np.sin(np.pi * s / 0.4))
        for s, p in zip(positions, places, strict=True)
    ]
    readings = make(
        np.repeat(positions, 12),
        np.tile(ANGLES, 7),
        np.concatenate([turn(v) for v in value]),
        np.repeat(places, 12),
    )
    s = setup(how="centres")
    fit = centreline_fit.fit_centreline(runout_fit.fit_positions(readings, s), s)
    assert fit.value("eccentricity") == pytest.approx(6e-6, abs=1e-10)
    assert fit.value("bow") == pytest.approx(30e-6, abs=1e-10)
    assert fit.support[0] == pytest.approx(8e-6j, abs=1e-10)
    assert not any("centre holes" in w for w in fit.warnings)


def test_a_screw_of_another_shape_is_said_to_be_so():
    fit = many(
        setup(), lambda s: 80e-6 * np.sin(2 * np.pi * s / 0.4), [0.02, 0.08, 0.14, 0.2, 0.26, 0.32, 0.38]
    )
    assert not fit.fits
    assert any("measured table" in w for w in fit.warnings)
    rows = centreline_fit.table_csv(fit).splitlines()
    assert rows[0] == "position_mm,offset_x_um,offset_y_um"
    assert len(rows) == 8


@pytest.mark.parametrize(("count", "terms"), [(1, 1), (2, 2), (3, 3), (4, 3)])
def test_terms_by_number_of_positions(count, terms):
    fit = many(setup(), lambda s: 10e-6 + 0j, np.linspace(0.05, 0.35, count))
    assert len(fit.terms) == terms
    assert bool(fit.warnings) == (count <= 3)


def test_length_is_asked_for():
    readings = make(np.full(12, 0.1), ANGLES, turn(1e-5))
    s = Setup(length=None)
    with pytest.raises(InputError, match="length_mm"):
        centreline_fit.fit_centreline(runout_fit.fit_positions(readings, s), s)


def test_jog_readings_take_out_the_slope_of_the_nut_face():
    """Sixteen jogs of half a millimetre (1.6 turns of 5 mm lead) along a nut face 30 um per 100 mm out of
    true."""
    jog = np.arange(16) * 0.5e-3
    angle = -2 * np.pi * (0.2 + jog) / 0.005
    readings = Readings(
        position=np.full(16, 0.2),
        travelled=0.2 + jog,
        angle=angle,
        value=turn(35e-6 * np.exp(1j), angle=angle) + 3e-4 * jog,
        place=("thread",) * 16,
        lines=tuple(range(16)),
        by_jog=True,
    )
    fit = runout_fit.fit_positions(readings, setup(lead=0.005))[0]
    assert fit.offset == pytest.approx(35e-6 * np.exp(1j), rel=1e-6)


def test_what_holds_the_screw_adds_its_own_uncertainty_squared():
    """Eighths of a turn, one sigma each: 2 sigma^2/8 per component, and the holder's variance beside it."""
    sure = setup(resolution=1 * UM, repeatability=4 * UM)
    held = setup(resolution=1 * UM, repeatability=4 * UM, support_uncertainty=7 * UM)
    eighths = np.arange(8) * np.pi / 4
    fits = [
        runout_fit.fit_positions(make(np.full(8, 0.1), eighths, turn(40e-6 + 0j, angle=eighths)), s)[0]
        for s in (sure, held)
    ]
    own = 2 * sure.reading_uncertainty**2 / 8
    np.testing.assert_allclose(fits[0].covariance, own * np.eye(2), rtol=1e-9, atol=1e-18)
    added = held.holding_uncertainty**2
    assert added > 0
    np.testing.assert_allclose(
        fits[1].covariance - fits[0].covariance, added * np.eye(2), rtol=1e-9, atol=1e-18
    )


def test_readings_that_fit_too_well_do_not_shrink_the_uncertainty():
    """Without scatter the terms' covariance is that of weighted least squares, by its closed form."""
    s = setup(resolution=1 * UM, repeatability=5 * UM)
    at = np.array([0.02, 0.1, 0.2, 0.3, 0.38])
    fit = many(s, lambda p: 50e-6 * np.sin(np.pi * p / 0.4) + 0j, at)
    basis = np.stack([np.ones(5), at, np.sin(np.pi * at / 0.4)], axis=1)
    variance = 2 * s.reading_uncertainty**2 / ANGLES.size
    expected = np.linalg.inv(basis.T @ basis) * variance
    assert fit.block("bow")[0, 0] == pytest.approx(expected[2, 2], rel=1e-6)
    assert fit.block("tilt")[0, 0] == pytest.approx(expected[1, 1], rel=1e-6)
