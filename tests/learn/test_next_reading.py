"""What a reading would leave of the answer's spread, against closed forms of normal laws."""

import math

import numpy as np
import pytest

from bedsim.learn.next_reading import _left_out, narrowing

COUNT = 60


def luck(seed, ways):
    return np.random.default_rng(seed).normal(size=(COUNT, ways))


@pytest.mark.parametrize("signal", [0.5, 2.0, 6.0])
def test_a_reading_in_line_with_the_answer_leaves_what_bayes_says(signal):
    """Normal answer x, reading signal x + noise of 1: sd 1/sqrt(1 + signal^2) is left; mean of ten
    samples of sixty."""
    left = []
    for seed in range(10, 20):
        x = luck(seed, 1)
        left.append(narrowing(signal * x, x[:, 0]))
    assert np.mean(left) == pytest.approx(1 / math.sqrt(1 + signal**2), rel=0.1, abs=0.03)


def test_a_reading_of_which_the_sign_is_not_known_tells_all_the_same():
    """Answer log sqrt(1 + x^2), reading 20 x, much better than it need be: the linear slope at x = 0 and the
    correlation over all machines say that nothing is told."""
    x = luck(3, 1)
    answer = 0.5 * np.log(1 + x[:, 0] ** 2)
    assert abs(np.corrcoef(x[:, 0], answer)[0, 1]) < 0.2
    assert narrowing(20 * x, answer) < 0.25


def test_readings_that_have_nothing_to_do_with_the_answer_narrow_nothing():
    """Of forty, none by chance below nine tenths, in the mean 1 to a hundredth; below noise exactly 1."""
    left = [narrowing(10 * luck(k, 1 + k % 4), luck(100 + k, 1)[:, 0]) for k in range(40)]
    assert min(left) > 0.9 and np.mean(left) > 0.985
    assert narrowing(0.1 * luck(1, 3), luck(1, 1)[:, 0]) == 1.0


def test_each_machine_is_left_out_of_its_own_prediction():
    """Written out: without the machine, mean by generalised least squares, then the others' pull."""
    places, values = luck(5, 2)[:9], luck(6, 1)[:9, 0]
    apart = ((places[:, None] - places) ** 2).sum(axis=-1) / places.var(axis=0).sum()
    expected = []
    for reach in (0.5, 1.0, 2.0, 4.0):
        for strength in (1.0, 10.0, 100.0):
            K = strength * reach**2 * np.exp(-apart / (2 * reach**2)) + np.eye(9)
            missed = []
            for own in range(9):
                rest = np.arange(9) != own
                inverse = np.linalg.inv(K[np.ix_(rest, rest)])
                mean = inverse.sum(axis=0) @ values[rest] / inverse.sum()
                missed.append(values[own] - mean - K[own, rest] @ inverse @ (values[rest] - mean))
            expected.append(np.mean(np.square(missed)))
    assert _left_out(places, values) == pytest.approx(expected, rel=1e-9)
