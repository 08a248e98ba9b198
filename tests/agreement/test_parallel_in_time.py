"""A long print computed in parts side by side is the print computed layer by layer."""

import numpy as np
import pytest
from engine_machines import SCENARIOS, apart

from bedsim import background
from bedsim.engines import base, parallel, state
from bedsim.engines.propagator import PropagatorEngine
from bedsim.engines.sensitivity import sensitivity
from bedsim.engines.state import State
from bedsim.scenario.load import load_scenario
from bedsim.simulation import make_job

pytestmark = pytest.mark.kernel

LAYERS = 38


@pytest.fixture(scope="module")
def job():
    changes = [f"print.layers={LAYERS}", "print.layer_mm=0.1", "output.trace_layers=[30]"]
    return make_job(load_scenario(SCENARIOS / "bent-rolled-rolling-joints.toml", changes))


@pytest.fixture(scope="module")
def one_by_one(job):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(parallel, "worth", lambda job, layers: False)
        return list(PropagatorEngine().run(job))


def joined(chunks, key="pose"):
    return np.concatenate([getattr(chunk, key) for chunk in chunks], axis=1)


def test_parallel_segments_are_the_layers_one_by_one(job, one_by_one):
    """To the engine's own error: steps follow the segment that needs most.

    How far the nut is turned hangs on friction in its joint that few layers rub off: 0.14 um of 290 are left
    of what was wrong with its guess."""
    assert parallel.worth(job, LAYERS)
    in_parallel = list(PropagatorEngine().run(job))
    assert len(in_parallel) == 1
    layers = np.concatenate([chunk.layers for chunk in in_parallel])
    np.testing.assert_array_equal(layers, np.arange(1, LAYERS + 1))
    assert apart(job, joined(in_parallel), joined(one_by_one)) < 0.01
    for key, limit in {"joint_excursion": 2e-7, "side_force": 1e-2, "load_angle": 1e-3}.items():
        np.testing.assert_allclose(joined(in_parallel, key), joined(one_by_one, key), atol=limit)
    (one,), (other,) = ([h for c in chunks for h in c.histories] for chunks in (in_parallel, one_by_one))
    assert one.layer == other.layer == 30
    np.testing.assert_allclose(one.q[-1, :3], other.q[-1, :3], atol=5e-9)  # the bed


@pytest.mark.long
def test_segments_that_do_not_agree_are_not_believed(job, monkeypatch):
    """Then layers are done one by one, as where no segments are tried."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(parallel, "run", lambda *_: None)
        plain = list(PropagatorEngine().run(job))
    monkeypatch.setattr(parallel, "PASSES", 1)
    monkeypatch.setattr(parallel, "SEAM", 0.0)
    again = list(PropagatorEngine().run(job))
    assert [chunk.layers.size for chunk in again] == [1] * LAYERS
    np.testing.assert_array_equal(joined(again), joined(plain))


@pytest.mark.long
def test_a_print_too_long_to_keep_goes_on_from_part_to_part(job, one_by_one, monkeypatch):
    """Two parts, each in segments of its own; the second begins where the first has ended."""
    monkeypatch.setattr(parallel, "TOGETHER", 19)
    parts = list(PropagatorEngine().run(job))
    assert [chunk.layers.size for chunk in parts] == [19, 19]
    assert apart(job, joined(parts), joined(one_by_one)) < 0.01


def test_the_later_part_of_a_long_print_goes_in_a_process_of_its_own(job, one_by_one, monkeypatch):
    """From a guess, put right when the first part is at its end; the same where there is one core alone."""
    monkeypatch.setattr(parallel, "ALONE", 30)
    begun = []
    usual = background.BackgroundTask.__init__

    def noted(self, work):
        begun.append(work)
        usual(self, work)

    monkeypatch.setattr(background.BackgroundTask, "__init__", noted)
    parts = list(PropagatorEngine().run(job))
    assert len(begun) == 1
    assert apart(job, joined(parts), joined(one_by_one)) < 0.01
    monkeypatch.setattr(background, "_can_branch", lambda: False)
    alone = list(PropagatorEngine().run(job))
    assert joined(alone).tobytes() == joined(parts).tobytes()


@pytest.mark.parametrize(
    ("name", "changes"),
    [
        ("plain-lead-screws", []),
        pytest.param(
            "bent-rolled-rolling-joints",
            ["motion.speed_mm_s=4", "motor.place_error_4_deg=0.08"],
            marks=pytest.mark.long,
        ),
    ],
    ids=["plain nuts", "motors past their linear range"],
)
def test_segments_of_other_machines(name, changes):
    """Flanks that are as stiff as each segment's height makes them, and rotors that ring."""
    path = SCENARIOS / f"{name}.toml"
    job = make_job(load_scenario(path, ["print.layers=15", *changes]))
    in_parallel = list(PropagatorEngine().run(job))
    assert len(in_parallel) == 1
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(parallel, "worth", lambda job, layers: False)
        alone = list(PropagatorEngine().run(job))
    assert apart(job, joined(in_parallel), joined(alone)) < 0.01


def test_a_small_error_of_slow_bristles_is_carried_as_predicted(job):
    """The mounts' grooves hardly move within a layer: two per cent of their friction at its start is mostly
    there at its end, and moves the bed in print."""
    slow = [8, 17, 26]
    system = job.machine.system(np.array([1, 2]))
    observer = base.make_observer(job.machine, system, job.probes)
    begin, _ = PropagatorEngine().layer(job, system, observer, 0, 1, state.start(job))
    off = np.zeros_like(begin.f)
    off[0, slow] = 0.02 * system.friction_limit[1, slow] * np.array([1, -1, 1])
    other = State(q=begin.q - shifted(job, system, off), v=begin.v, f=begin.f + off)
    one, two = (PropagatorEngine().solved(job, np.array([2]), x) for x in (begin, other))
    carry, give = sensitivity(one)
    left = (carry[0] @ off[0])[slow]
    np.testing.assert_allclose((two.after.f - one.after.f)[0, slow], left, rtol=0.02)
    bed = observer.bed @ one.modes.modes[0]
    found, predicted = bed @ (two.mean - one.mean)[0], bed @ (give[0] @ carry[0] @ off[0])
    assert np.abs(found - predicted)[:3].max() < 0.1 * np.abs(predicted)[:3].max()


def shifted(job, system, force):
    """How far the bristles' additional `force` moves the machine at rest."""
    return np.linalg.solve(system.K[1], (force @ job.machine.contact_rows)[0])[None]
