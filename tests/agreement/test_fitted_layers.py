"""A long print fitted to some of its layers is the print with every layer in full, to what it says."""

import re
from dataclasses import replace

import numpy as np
import pytest
import scipy
from engine_machines import SCENARIOS, apart

from bedsim import background
from bedsim.engines import fit_basis, fitted, rest_of_layers
from bedsim.engines.propagator import PropagatorEngine
from bedsim.scenario.load import load_scenario
from bedsim.simulation import make_job

pytestmark = pytest.mark.kernel
LAYERS = fitted.FEWEST + 60


def job_of(name="bent-rolled-rolling-joints", *changes, layers=LAYERS):
    settings = [f"print.layers={layers}", "print.layer_mm=0.1", *changes]
    return make_job(load_scenario(SCENARIOS / f"{name}.toml", settings))


def in_full(job):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(fitted, "FEWEST", 10**6)
        return list(PropagatorEngine().run(job))


def joined(chunks, key="pose"):
    return np.concatenate([getattr(chunk, key) for chunk in chunks], axis=1)


def told(chunks):
    """Errors in height and sideways as the remark tells them, um."""
    (remark,) = (text for chunk in chunks for text in chunk.remarks)
    return [float(x) for x in re.findall(r"([\d.]+) µm", remark)]


def agrees(job):
    """Within what is told and the 3 nm by which steps that follow other layers differ in height."""
    some, every = list(PropagatorEngine().run(job)), in_full(job)
    height, lateral = told(some)
    assert max(height, lateral) <= fitted.WITHIN * 1e6
    assert apart(job, joined(some), joined(every)) < max(height, lateral) + 0.003
    for key in fitted.HELD:
        whole = joined(every, key)
        off = np.abs(joined(some, key) - whole) / max(float(np.abs(whole).max()), 1e-30)
        # what is told is the largest of the layers looked at: a slip that another layer has is beyond it
        assert np.quantile(off, 0.99) <= fitted.EXTREMES_WITHIN
        assert off.max() <= 2 * fitted.EXTREMES_WITHIN
    return some, every


def test_fitted_layers_are_those_in_full():
    job = job_of()
    job = replace(job, trace_layers=(200,))
    some, every = agrees(job)
    assert np.array_equal(np.concatenate([chunk.layers for chunk in some]), np.arange(1, LAYERS + 1))
    (one,), (other,) = ([h for c in chunks for h in c.histories] for chunks in (some, every))
    assert one.layer == other.layer == 200
    np.testing.assert_allclose(one.q[-1, :3], other.q[-1, :3], atol=5e-9)


@pytest.mark.long
@pytest.mark.parametrize(
    ("name", "changes"),
    [
        ("four-screws", ()),
        ("ground-stiff", ()),
        ("bent-rolled-rolling-joints", ("joint.damping_n_s_per_m=50",)),
    ],
)
def test_fitted_layers_of_other_machines(name, changes):
    """More screws, dampers."""
    agrees(job_of(name, *changes))


@pytest.mark.long
def test_a_print_that_is_fitted_too_badly_is_stepped_through():
    """Layers of 0.15 mm, in which rotors stand at many angles."""
    job = job_of("bent-rolled-rolling-joints", "print.layer_mm=0.15")
    some = list(PropagatorEngine().run(job))
    assert not any(chunk.remarks for chunk in some)
    assert apart(job, joined(some), joined(in_full(job))) < fitted.WITHIN * 1e6


@pytest.mark.long
def test_two_cores_find_what_one_finds(monkeypatch):
    job = job_of()
    one = list(PropagatorEngine().run(job))
    monkeypatch.setattr(background, "_can_branch", lambda: False)
    other = list(PropagatorEngine().run(job))
    assert joined(one).tobytes() == joined(other).tobytes()


def test_what_is_not_smooth_is_not_fitted():
    """Nuts with play, unequal layers, hops; nothing is stepped for them."""

    def never(*_):
        raise AssertionError("stepped")

    hopping = job_of("bent-rolled-rolling-joints", "motion.z_hop_mm=0.5")
    for job in (job_of("plain-lead-screws"), unequal(), hopping):
        assert fitted.run(job, 4, job.program.layers, None, never, never) is None


def unequal():
    job = job_of()
    stations = job.program.stations
    thickness = stations.thickness.copy()
    thickness[100] *= 1.5
    depth = np.append(stations.depth[0], stations.depth[0] + np.cumsum(thickness))
    return replace(
        job, program=replace(job.program, stations=replace(stations, thickness=thickness, depth=depth))
    )


def test_a_basis_finds_what_it_is_made_of():
    """A function within its span, from values at the nodes alone; harmonics that are one at all layers are
    counted once."""
    layers = np.arange(400.0)
    angle, place = 2 * np.pi * layers / 10, np.linspace(-1, 1, 400)
    found = fit_basis.basis(fit_basis.functions(place, angle, ((0, 3), (1, 2), (11, 2))), 1.3)
    assert found.values.shape == (400, 4 + 2 * 3)
    values = 2 + place**3 + np.cos(angle) * place**2 - np.sin(11 * angle)
    np.testing.assert_allclose(found.weights() @ values[found.nodes], values, atol=1e-10)


def test_independent_vectors_are_those_of_pivoted_qr():
    """Against scipy's QR with column pivoting: the same in the same order, none of sums of the others."""
    rng = np.random.default_rng(7)
    vectors = rng.normal(size=(40, 12)) * np.geomspace(1, 1e-3, 40)[rng.permutation(40), None]
    order = scipy.linalg.qr(vectors.T, mode="r", pivoting=True)[1]
    assert fit_basis.independent(vectors, 0.0).tolist() == order[:12].tolist()
    doubled = np.concatenate([vectors[:5], vectors[:5] @ vectors[:5].T @ vectors[:5], 1e-7 * vectors[6:7]])
    assert sorted(k % 5 for k in fit_basis.independent(doubled, 1e-6).tolist()) == [0, 1, 2, 3, 4]


def test_layers_at_rest_from_some_heights_are_those_of_all(shipped, monkeypatch):
    """Over the whole of a screw with a free end, against a solve of every layer."""
    job = make_job(
        shipped("bent-rolled-rigid", "screw.ends=fixed-free", "print.layers=300", "print.layer_mm=0.7")
    )
    layers = np.arange(2, 301)
    some = rest_of_layers.rest_of_layers(job, layers)
    monkeypatch.setattr(rest_of_layers, "HEIGHTS", layers.size)
    every = rest_of_layers.rest_of_layers(job, layers)
    assert np.abs(some.free - every.free).max() < 1e-12
    np.testing.assert_allclose(some.give, every.give, atol=1e-10 * np.abs(every.give).max())
    np.testing.assert_allclose(some.limit, every.limit, rtol=1e-10)
