"""The extent of long paths, looked for in a quarter of the directions, against the search through all."""

import numpy as np
import pytest

from bedsim.analysis import metrics


@pytest.mark.parametrize("kind", ["cloud", "ellipse", "line", "far points"])
def test_long_paths_are_as_wide_as_in_every_direction(kind):
    rng = np.random.default_rng(3)
    every = np.concatenate(metrics._directions(), axis=1)
    turn = np.linspace(0.0, 40.0, 500)
    for _ in range(60):
        about, share = rng.uniform(0, np.pi), rng.uniform(0.01, 1.0)
        path = {
            "cloud": rng.normal(size=(2, 500)) * np.array([[1.0], [share]]),
            "ellipse": np.array([np.cos(turn), share * np.sin(turn + about)]),
            "line": np.outer([np.cos(about), np.sin(about)], rng.normal(size=500)),
            "far points": rng.standard_cauchy((2, 500)),
        }[kind]
        path = np.array([[np.cos(about), -np.sin(about)], [np.sin(about), np.cos(about)]]) @ path
        found = metrics.lateral_peak_to_valley(path.T[:, None])
        assert found == pytest.approx(np.ptp(every.T @ path, axis=1).max(), rel=1e-12)


def test_a_span_between_the_directions_looked_at_first_is_found():
    """One of 1 along a direction that is looked at first, a longer one 2 degrees beside another of these."""
    spans = np.array([np.cos([0.0, np.radians(92)]), np.sin([0.0, np.radians(92)])]) * [1.0, 1.0003]
    path = np.concatenate([spans, -spans, np.zeros((2, 500))], axis=1) / 2
    found = metrics.lateral_peak_to_valley(path.T[:, None])
    assert found == pytest.approx(1.0003, rel=1e-12)
