"""Quadratic forms in unit vectors against brute force, scipy, quadrature and closed forms."""

import numpy as np
import pytest
from scipy import optimize

from bedsim.clocking import unit_circles as uc
from bedsim.clocking.common_turn import _wrapped


def random_form(m: int, seed: int, rows: int = 40) -> uc.Form:
    """Mean square of `rows` sums of turning vectors and a fixed part."""
    rng = np.random.default_rng(seed)
    columns, fixed = rng.normal(size=(rows, 2 * m)), 0.5 * rng.normal(size=rows)
    return uc.Form(
        S=(columns.T @ columns / rows)[None],
        b=(columns.T @ fixed / rows)[None],
        constant=np.array([fixed @ fixed / rows]),
    )


def on_grid(form: uc.Form, count: int) -> float:
    angle = np.arange(count) * 2 * np.pi / count
    grid = np.stack(np.meshgrid(*[angle] * form.angles, indexing="ij"), axis=-1).reshape(1, -1, form.angles)
    return float(uc.values(form, grid).min())


@pytest.mark.parametrize(("m", "count"), [(2, 360), (3, 72), (4, 24)])
@pytest.mark.parametrize("seed", range(4))
def test_minimum_is_that_of_brute_force(m, count, seed):
    """No point of a grid over all angles is lower, and the nearest one is as low as its spacing allows."""
    form = random_form(m, seed)
    value = uc.minimise(form)[1][0]
    brute = on_grid(form, count)
    step = np.pi / count
    assert value <= brute + 1e-12
    assert brute - value < 4 * m * np.abs(form.S).sum() * step**2


@pytest.mark.parametrize("m", [3, 4])
def test_minimum_is_that_of_differential_evolution(m):
    """An independent global optimiser: scipy.optimize.differential_evolution."""
    form = random_form(m, 11)
    found = optimize.differential_evolution(
        lambda a: uc.values(form, a[None, None])[0, 0], [(0, 2 * np.pi)] * m, seed=3, tol=1e-12
    )
    angle, value = uc.minimise(form)
    assert value[0] == pytest.approx(found.fun, rel=1e-8)
    assert np.exp(1j * angle[0]) == pytest.approx(np.exp(1j * found.x), abs=1e-4)


def test_many_forms_at_once_give_what_each_gives_alone():
    forms = [random_form(3, seed) for seed in range(5)]
    together = uc.Form(
        S=np.concatenate([f.S for f in forms]),
        b=np.concatenate([f.b for f in forms]),
        constant=np.concatenate([f.constant for f in forms]),
    )
    assert uc.minimise(together)[1] == pytest.approx([uc.minimise(f)[1][0] for f in forms], rel=1e-10)


def test_one_angle_is_minimised_exactly():
    """Against all roots of the derivative, a quartic in e^{ja}, by numpy's companion matrix."""
    rng = np.random.default_rng(5)
    p, q, r, s = rng.normal(size=(4, 200))
    angle = uc.best_single(p, q, r, s)
    for k in range(200):
        quartic = [p[k] - 1j * q[k], (r[k] - 1j * s[k]) / 2, 0, -(r[k] + 1j * s[k]) / 2, -(p[k] + 1j * q[k])]
        candidates = np.append(np.angle(np.roots(quartic)), angle[k])
        value = (
            p[k] * np.cos(2 * candidates)
            + q[k] * np.sin(2 * candidates)
            + r[k] * np.cos(candidates)
            + s[k] * np.sin(candidates)
        )
        assert value[-1] == pytest.approx(value.min(), abs=1e-9)


def test_derivatives_are_those_of_differences():
    form = random_form(3, 2)
    at = np.array([0.3, 1.7, -2.0])
    gradient, second = uc._derivatives(form, at[None, None])
    steps = 1e-5 * np.eye(3)
    value = lambda a: uc.values(form, a[None, None])[0, 0]  # noqa: E731
    assert gradient[0, 0] == pytest.approx([(value(at + h) - value(at - h)) / 2e-5 for h in steps], abs=1e-8)
    slope = lambda a: uc._derivatives(form, a[None, None])[0][0, 0]  # noqa: E731
    assert second[0, 0] == pytest.approx(
        np.array([(slope(at + h) - slope(at - h)) / 2e-5 for h in steps]), abs=1e-6
    )


def test_what_is_called_proven_is_never_beaten():
    """Every proven minimum stands against a grid; a local minimum that is not the lowest is not proven."""
    proven = 0
    for seed in range(12):
        form = random_form(3, seed, rows=8)
        angle, value = uc.minimise(form)
        if uc.is_proven(form, angle[0]):
            proven += 1
            assert value[0] <= on_grid(form, 60) + 1e-12
        others, values = uc.minimise(form, uc.starts(3, 5)[:, 7:8])
        if values[0] > value[0] * (1 + 1e-6):
            assert not uc.is_proven(form, others[0])
    assert proven >= 6


def test_average_over_a_box_of_angles_is_that_of_quadrature():
    """Gauss-Legendre quadrature of numpy over the box, and over the full circles for the plain average."""
    form = random_form(3, 7)
    at, spread = np.array([0.2, 2.0, 4.0]), np.array([0.6, 1.2, 0.3])
    node, weight = np.polynomial.legendre.leggauss(24)
    grid = np.stack(np.meshgrid(node, node, node, indexing="ij"), axis=-1).reshape(-1, 3)
    share = (
        np.stack(np.meshgrid(weight, weight, weight, indexing="ij"), axis=-1).reshape(-1, 3).prod(axis=1) / 8
    )
    mean = share @ uc.values(form, (at + spread * grid)[None])[0]
    assert uc.values(uc.averaged(form, spread), at[None, None])[0, 0] == pytest.approx(mean, rel=1e-12)
    full = share @ uc.values(form, np.pi * grid[None])[0]
    assert uc.average(form)[0] == pytest.approx(full, rel=1e-6)


def test_worst_case_within_a_box_is_that_of_brute_force():
    """scipy.optimize.brute over the box with its own polishing (fmin) is not higher by more than 1 %."""
    form = random_form(3, 9)
    at, spread = uc.minimise(form)[0][0], np.array([0.6, 0.4, 0.8])
    worst = uc.worst_within(form, at[None], spread)[0][0]
    brute = optimize.brute(
        lambda a: -uc.values(form, a[None, None])[0, 0],
        [(a - w, a + w) for a, w in zip(at, spread, strict=True)],
        Ns=21,
        finish=None,
        full_output=True,
    )
    assert worst == pytest.approx(-brute[1], rel=0.01)
    least = uc.minimise_worst(form, at[None], spread)
    assert least[1] <= worst
    assert uc.worst_within(form, least[0][None], spread)[0][0] == pytest.approx(least[1])


def test_two_opposite_vectors_and_the_cost_of_turning_them():
    """Closed form: |1 - 1| = 0 exactly opposite; turned by d against each other both ways |2 sin d|."""
    columns = np.array([[1.0, 0, 1, 0], [0, 1, 0, 1]])
    form = uc.Form(S=(columns.T @ columns)[None], b=np.zeros((1, 4)), constant=np.zeros(1))
    angle, value = uc.minimise(form)
    assert value[0] == pytest.approx(0, abs=1e-12)
    assert np.cos(angle[0, 1] - angle[0, 0]) == pytest.approx(-1)
    for off in np.deg2rad([5.0, 15.0]):
        worst, _ = uc.worst_within(form, angle, np.full(2, off))
        assert np.sqrt(worst[0]) == pytest.approx(2 * np.sin(off), rel=1e-9)


def test_angles_within_half_a_turn():
    """The same direction, by the unit circle, and never more than half a turn."""
    angle = np.linspace(-20, 20, 401)
    found = _wrapped(angle)
    assert np.exp(1j * found) == pytest.approx(np.exp(1j * angle), abs=1e-12)
    assert found.min() >= -np.pi and found.max() <= np.pi
