"""The interval of a sweep for luck, lot and machine together, on made-up sweeps whose truth is known."""

import numpy as np
import pytest
from draws import assert_at_most, assert_share
from scipy.stats import norm

from bedsim.ranges.draws import Draw
from bedsim.results.sweep import CellResult, KeyPart
from bedsim.scenario.ranges import Range
from bedsim.scenario.sweep_plan import LotDoubtTable, MachineDoubtTable
from bedsim.sweep.answers import wilson
from bedsim.sweep.doubt import KeyEffects, doubt_of, machine_interval, whole_interval
from bedsim.sweep.tasks import Order

SETS, PRINTERS = 300, 256
MACHINES, EACH = MachineDoubtTable().machines, MachineDoubtTable().printers
OUTSIDE = 2 / (MACHINES + 1)  # of what 32 machines can hold


def swept(rng, of_machine, of_lot):
    """A sweep of a cell that 84 % of printers meet in the likely machine with the likely lot: estimates, and
    the share in a machine and with a lot like those drawn.  A printer's figure is its luck plus what machine
    and lot add."""
    luck = rng.normal(size=PRINTERS)
    machines = np.append(0.0, of_machine * rng.normal(size=MACHINES))[:, None]
    lots = of_lot * rng.normal(size=LotDoubtTable().draws)
    lots = np.append(0.0, lots[np.arange(MACHINES) % lots.size])[:, None]
    shares = (luck[:EACH] + machines < 1).mean(axis=1)
    both = (luck[:EACH] + machines + lots < 1).mean(axis=1)
    met = (luck < 1).sum()
    return met, shares, both, norm.cdf(1 - of_machine * rng.normal() - of_lot * rng.normal())


@pytest.mark.parametrize(("of_machine", "of_lot"), [(0.5, 0.3), (1.0, 0.1), (0.1, 0.5), (0.02, 0.02)])
def test_the_whole_interval_holds_the_truth_as_often_as_said(of_machine, of_lot):
    """32 machines hold 31/33 of all; with 16 lots beside them a lot beyond all of these may come: 1/17."""
    rng, missed = np.random.default_rng(11), []
    for _ in range(SETS):
        met, _, both, truth = swept(rng, of_machine, of_lot)
        luck = tuple(float(x) for x in wilson(met, PRINTERS, 0.95))
        low, high = whole_interval(met / PRINTERS, luck, machine_interval(met / PRINTERS, both, 0.95))
        missed.append(not low <= truth <= high)
    assert_at_most(missed, OUTSIDE + (1 / 17 if of_lot > of_machine else 0.0))


def test_the_interval_of_the_machine_alone_misses_what_it_should():
    """Machines like those drawn, no other lot, and no luck in the estimate: outside in 2/33."""
    rng, held = np.random.default_rng(12), []
    for _ in range(SETS):
        luck = np.linspace(0.5 / EACH, 1 - 0.5 / EACH, EACH)
        machines = np.append(0.0, 0.5 * rng.normal(size=MACHINES))[:, None]
        low, high = machine_interval(norm.cdf(1), (norm.ppf(luck) + machines < 1).mean(axis=1), 0.95)
        held.append(low <= norm.cdf(1 - 0.5 * rng.normal()) <= high)
    assert_share(held, 1 - OUTSIDE)


def test_without_the_machine_s_doubt_the_truth_is_missed():
    """What the interval for the number drawn alone would have said."""
    rng, held = np.random.default_rng(13), []
    for _ in range(SETS):
        met, *_, truth = swept(rng, 0.5, 0.3)
        low, high = wilson(met, PRINTERS, 0.95)
        held.append(low <= truth <= high)
    assert np.mean(held) < 0.3


def test_machines_that_cannot_be_built_are_left_out():
    shares = np.array([0.8, 0.7, np.nan, 0.9])
    assert machine_interval(0.8, shares, 0.95) == (pytest.approx(0.7), pytest.approx(0.9))
    assert whole_interval(0.8, (0.75, 0.84), (np.nan, np.nan)) == (0.75, 0.84)
    assert whole_interval(0.8, (0.77, 0.83), (0.76, 0.84)) == (pytest.approx(0.75), pytest.approx(0.85))


# ---- keys ---------------------------------------------------------------------------------------------


def key(name, low, likely, high):
    return Range(key=name, low=low, likely=likely, high=high, basis="estimated", source="", unit="")


def sized(slopes, likely=0.0):
    """Effects of keys from 1 over 10 to 100, triangular in the logarithm from -1 over 0 to 1: the logarithm
    of the lateral error follows each with its slope."""
    change = np.zeros((len(slopes), 2, 2, 64))
    for k, slope in enumerate(slopes):
        change[k, 0, 0], change[k, 1, 0] = -slope, slope
    keys = [key(f"key {k}", 1.0, 10.0, 100.0) for k in range(len(slopes))]
    extent = np.exp(likely) * np.ones((2, 64))
    return KeyEffects.joined(keys, [KeyPart(cell=0, first=0, change=change, extent=extent)])


def told(effects, machines):
    order = Order(engine="equilibrium", seed=5, lateral_target=1.0, height_target=None, other_members=16)
    names = {name: np.zeros(0) for name in CellResult.__dataclass_fields__}
    cell = CellResult(**{**names, "index": 0, "probability": 0.5, "machines": machines})
    return doubt_of(cell, effects, order, 0.9, np.random.default_rng(3))


def test_keys_share_the_variance_as_their_squares_and_decide_as_the_closed_form():
    """Slopes 2 and 1: variances 4 to 1, as the triangular law is the same.  A machine is good where the sum
    of both, 2 s + t, is below zero.  Who knows s is right with chance F(2 |s|) where F is the law of t, that
    is in the mean over s of 1 - (1 - 2 s)^2/2 for s below 1/2 and else 1; in numbers 0.888, derived by
    quadrature here.  Keys that do nothing bring nothing: by chance alone at most 0.02."""
    found = told(sized([2.0, 1.0, 0.0]), np.full((1, 4), 0.5))
    assert found.keys[:2] == ("key 0", "key 1")
    assert found.part == pytest.approx([0.8, 0.2, 0.0], abs=0.03)
    s = (np.arange(20_000) + 0.5) / 20_000
    right = np.where(s < 0.5, 1 - (1 - np.minimum(2 * s, 1)) ** 2 / 2, 1.0)
    assert found.surer[0] == pytest.approx(np.sum(right * 2 * (1 - s)) / s.size, abs=0.02)
    assert found.now == pytest.approx(0.5, abs=0.02) and found.surer[2] == pytest.approx(found.now, abs=0.02)


def test_what_keys_foretell_is_held_against_the_machines_drawn():
    """Machines whose shares are those of the keys are foretold without error; 1 % more is told as 1 %."""
    effects = sized([2.0, 1.0])
    luck = np.array([[Draw(seed=5, number=n).luck(k.key) for k in effects.keys] for n in range(8)])
    shares = (effects.extents(luck)[0] <= 1.0).mean(axis=-1)
    likely = (effects.extent[0] <= 1.0).mean()
    machines = np.zeros((9, 4))
    machines[:, 0] = np.append(likely, shares)
    assert told(effects, machines).foretold == pytest.approx(0.0, abs=1e-12)
    machines[1:, 0] += 0.01
    assert told(effects, machines).foretold == pytest.approx(0.01)


def test_luck_of_a_key_is_where_its_drawn_value_lies():
    """Triangular from 2 over 4 to 32 in the logarithm: -1 at the low end, 0 as likely, 1 at the high end."""
    uneven = key("k", 2.0, 4.0, 32.0)
    change = np.array([[[[-1.0], [0.0]], [[1.0], [0.0]]]])
    effects = KeyEffects.joined([uneven], [KeyPart(cell=0, first=0, change=change, extent=np.ones((2, 1)))])
    for number in range(20):
        draw = Draw(seed=1, number=number)
        value = np.log(draw.value(uneven) / 4.0)
        side = value / np.log(2.0) if value < 0 else value / np.log(8.0)
        found = effects.extents(np.array([[draw.luck("k")]]))
        assert np.log(found[0, 0, 0]) == pytest.approx(side, abs=1e-12)
