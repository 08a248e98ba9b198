"""A batch as deviations from a few machines in full against the same batch stepped in full."""

import re
from dataclasses import replace

import numpy as np
import pytest
from engine_machines import UM, shipped

from bedsim.engines import contact_space, deviation_steps, fitted_nominals, state
from bedsim.engines.deviation_report import UnitsAhead
from bedsim.engines.deviation_steps import Deviation, driven_paths, march
from bedsim.engines.deviations import LITTLE, DeviationsEngine, grouped
from bedsim.engines.fitted import EXTREMES_WITHIN
from bedsim.engines.layer_integrator import Trail
from bedsim.engines.modes import layer_modes
from bedsim.engines.propagator import PropagatorEngine
from bedsim.errors import EngineRefusalError
from bedsim.simulation import make_job, relative_errors

DRAWN = ("run-out", "travel deviation", "once-per-turn travel")


def scattered(name, layers, members, scatter=1.2):
    """A shipped machine with every drawn imperfection of its screws scaled at random."""
    job = make_job(shipped(name, layers))
    rng = np.random.default_rng(3)
    amounts = np.repeat(job.amounts, members, axis=0)
    for k, source in enumerate(job.machine.sources):
        if source.cause in DRAWN:
            amounts[:, k] *= rng.uniform(-scatter, scatter, members)
    return replace(job, amounts=amounts, trace_layers=())


def joined(chunks, key):
    return np.concatenate([getattr(c, key) for c in chunks], axis=1)


def apart(job, one, other):
    """Largest differences of height and lateral errors, m."""
    layers = np.arange(1, job.program.layers + 1)
    a, b = (relative_errors(job, layers, joined(x, "pose")) for x in (one, other))
    return [float(np.abs(a[key] - b[key]).max()) for key in ("height_error", "lateral_error")]


@pytest.fixture(scope="module")
def both():
    """Rolling joints with friction: the batch in full and as deviations."""
    job = scattered("bent-rolled-rolling-joints", 3, 20)
    return job, list(PropagatorEngine().run(job)), list(DeviationsEngine().run(job))


def test_errors_of_every_member_agree(both):
    job, full, found = both
    height, lateral = apart(job, full, found)
    assert height < 0.01 * UM
    assert lateral < 0.002 * UM


def test_scatter_is_far_larger_than_the_difference(both):
    job, full, _ = both
    errors = relative_errors(job, np.arange(1, 4), joined(full, "pose"))
    assert np.ptp(errors["lateral_error"], axis=0).max() > 0.2 * UM


def test_forces_and_excursions_agree(both):
    _, full, found = both
    for key, share in (
        ("joint_excursion", 0.005),
        ("side_force", 0.03),
        ("load_angle", 0.001),
        ("mount_force", 0.001),
        ("axial_force", 0.001),
    ):
        a, b = joined(full, key), joined(found, key)
        assert np.abs(a - b).max() < share * np.abs(a).max(), key


def test_layer_one_is_in_full(both):
    _, full, found = both
    assert np.abs(full[0].pose - found[0].pose).max() < 0.002 * UM


def test_tells_its_measured_error(both):
    job, full, found = both
    told = re.search(r"(\d) of 20 .*? (\d\.\d{4}) µm in height", found[-1].remarks[0])
    assert int(told[1]) == 4
    measured = found[-1].statistics["error_height"]
    assert float(told[2]) == pytest.approx(measured / UM, abs=1e-4)
    assert 0 < measured <= apart(job, full, found)[0] + 0.003 * UM  # of some, in a batch of their own


def test_rigid_joints_at_the_scatter_of_rolled_screws():
    """Lateral errors of 25 um: the static answer of stiff lateral contacts leaves a thousandth of them."""
    job = scattered("bent-rolled-rigid", 3, 20)
    full, found = list(PropagatorEngine().run(job)), list(DeviationsEngine().run(job))
    height, lateral = apart(job, full, found)
    assert height < 0.002 * UM
    assert lateral < 0.02 * UM


def test_half_the_scatter_leaves_less_than_half_the_difference():
    """The neglected is of second order in what members differ by."""
    found = []
    for scatter in (1.2, 0.4):
        job = scattered("bent-rolled-rigid", 2, 20, scatter)
        found.append(apart(job, PropagatorEngine().run(job), DeviationsEngine().run(job))[1])
    assert found[1] < found[0] / 3


@pytest.mark.long
@pytest.mark.parametrize("name", ["bent-rolled-rolling-joints", "bent-rolled-rigid"])
def test_fitted_nominals_are_those_in_full(name, monkeypatch):
    """A print whose nominal is fitted to some layers against that where it is stepped through."""
    job = scattered(name, 100, 20)
    fitted = list(DeviationsEngine().run(job))
    assert "led on from layer to layer" in fitted[-1].remarks[0]
    monkeypatch.setattr(fitted_nominals, "FEWEST", 10**6)
    stepped = list(DeviationsEngine().run(job))
    assert "in full besides; they" in stepped[-1].remarks[0]
    assert max(apart(job, fitted, stepped)) < fitted_nominals.WITHIN
    for key in ("joint_excursion", "side_force", "load_angle", "mount_force", "axial_force"):
        a, b = joined(fitted, key), joined(stepped, key)
        # extremes are fitted like those of a long print: to that share of the largest
        assert np.abs(a - b).max() <= EXTREMES_WITHIN * np.abs(b).max(), key


def test_fitted_nominals_begin_as_the_members_do():
    job = scattered("bent-rolled-rigid", 62, 17)
    found = list(DeviationsEngine().run(job))
    assert "led on from layer to layer" in found[-1].remarks[0]
    short = replace(job, program=job.program.cut(3))
    height, lateral = apart(short, found[:3], PropagatorEngine().run(short))
    assert height < 0.002 * UM
    assert lateral < found[-1].statistics["error_lateral"]


@pytest.mark.long
def test_the_error_that_is_told_holds_what_deviations_leave():
    """Two members over the whole print in full, against what four others told."""
    job = scattered("bent-rolled-rigid", 62, 17)
    found = list(DeviationsEngine().run(job))
    some = replace(job, amounts=job.amounts[:2])
    full = list(PropagatorEngine().run(some))
    a, b = (relative_errors(some, np.arange(1, 63), joined(x, "pose")[:2]) for x in (found, full))
    off = np.linalg.norm(a["lateral_error"] - b["lateral_error"], axis=-1).max()
    assert off < 2 * found[-1].statistics["error_lateral"]


def test_units_ahead_are_what_each_source_imposes():
    job = scattered("bent-rolled-rigid", 6, 1)
    time = np.linspace(0, job.program.layer_change(2).duration, 4)
    ahead = UnitsAhead(job, job.used)
    for layer in (2, 3, 6):
        path = job.program.layer_change(layer).path(time, job.program.start_time(layer))
        whole = job.machine.imposed(path, job.units(job.used)[:-1])
        assert np.array_equal(ahead.imposed(layer, time), whole)


def test_plain_nuts_are_refused_by_name():
    job = scattered("plain-lead-screws", 2, 20)
    if not job.machine.flanks:
        job = replace(job, machine=replace(job.machine, flanks=("one",)))
    with pytest.raises(EngineRefusalError, match="plain nuts with play"):
        next(iter(DeviationsEngine().run(job)))


def test_few_members_go_to_the_propagator_whole():
    job = scattered("bent-rolled-rigid", 2, 3)
    one, other = list(PropagatorEngine().run(job)), list(DeviationsEngine().run(job))
    assert np.array_equal(joined(one, "pose"), joined(other, "pose"))


@pytest.mark.parametrize("name", ["bent-rolled-rolling-joints", "bent-rolled-rigid"])
def test_run_in_from_contact_space_is_the_run_in(name):
    job = scattered(name, 2, 6)
    one, other = state.start(job), contact_space.run_in(job)
    assert np.abs(one.q - other.q).max() < 1e-4 * UM
    assert np.abs(one.f - other.f).max() < 1e-5 * np.abs(one.f).max()


def test_groups_hold_everyone_once_about_their_means():
    job = scattered("bent-rolled-rigid", 2, 21)
    groups, nominals = grouped(job, 4)
    assert np.array_equal(np.sort(np.concatenate([g.members for g in groups])), np.arange(21))
    for group, nominal in zip(groups, nominals, strict=True):
        off, scatter = np.abs(group.differ.mean(axis=1)), group.differ.std(axis=1)
        assert np.all((off < 1e-18) | (off < LITTLE * scatter) & (nominal[job.used] == 0.0))
        assert np.allclose(nominal[job.used, None] + group.differ, job.amounts[group.members][:, job.used].T)


# ---- the march against two machines' own bristles, written out ----------------------------------------


@pytest.fixture(scope="module")
def space():
    job = scattered("bent-rolled-rolling-joints", 2, 1)
    return contact_space.contact_space(layer_modes(job, job.machine.system(np.array([1])), np.array([0])))


def trail_of(space, steps=240):
    """Contacts that travel, turn round and stand."""
    rng = np.random.default_rng(1)
    b, t = space.rows.bristles, np.arange(steps) / steps
    way = rng.uniform(-3, 3, (1, b)) * np.sin(2 * np.pi * t * rng.uniform(0.2, 0.8))[:, None]
    moved = np.diff(way, axis=0, prepend=way[:1] * 0)[..., None]
    ringing = np.zeros((20, b, 1))
    square = np.concatenate([moved, ringing]) ** 2
    c, pairs = space.rows.contacts, b - space.rows.contacts
    square[:, :pairs] += square[:, c:]
    path = np.sqrt(square[:, :c])
    path[steps:] = 0.03 * rng.uniform(0, 1, (20, c, 1))
    time = np.concatenate([t[1:], [1.0], 1.0 + np.arange(1, 21) / 100])
    return Trail(time=time, moved=np.concatenate([moved, ringing]), path=path)


def two_bristles(space, trail, phi, differ):
    """Deflections (b, 1) that a member and the nominal differ by in the end, both stepped closely by the
    exact law, the member's place found through L at every step."""
    rows, L, steps = space.rows, space.compliance, 240
    own, other, place = phi[:, None], phi[:, None], np.zeros(differ.shape)
    for k in range(steps):
        new, aim = place, differ * (k + 1) / steps
        own_next = contact_space.after(rows, own, trail.moved[k])
        for _ in range(40):
            trial = contact_space.after(rows, other, trail.moved[k] + new - place)
            new = aim - L @ (trial - own_next - new)
        own, other, place = own_next, trial, new
    psi, slack = other - own, np.eye(rows.bristles) - L
    for path in trail.path[steps:]:  # at rest both travel the nominal's path: closely, by Euler's rule
        for _ in range(50):
            psi = psi - slack @ (rows.every(path) / 50 * psi)
    return psi


@pytest.mark.parametrize(("intervals", "error"), [(3, 0.02), (40, 0.002)])
def test_march_follows_the_difference_of_two_bristles(space, intervals, error):
    """The closer the nodes the closer it follows."""
    trail, b = trail_of(space), space.rows.bristles
    rng = np.random.default_rng(2)
    phi = rng.uniform(-0.5, 0.5, b)
    (path,) = driven_paths(space, trail, phi[:, None], np.array([0.0, 0.5, 1.0]), intervals)
    differ = rng.uniform(-0.5, 0.5, (b, 1))
    imposed = path.time[:, None, None] * differ
    still = Deviation(psi=np.zeros((b, 1)), place=np.zeros((b, 1)), g=np.zeros((b, 1)))
    _, end = march(space, path, still, imposed.astype(np.float32))
    psi = two_bristles(space, trail, phi, differ)
    assert np.abs(psi).max() > 0.2
    assert np.abs(end.psi - psi).max() < error


def test_a_member_like_the_nominal_stays_like_it(space):
    b = space.rows.bristles
    (path,) = driven_paths(space, trail_of(space), np.zeros((b, 1)), np.array([0.0, 1.0]))
    zero = np.zeros((b, 3))
    imposed = np.zeros((len(path.intervals) + 1, b, 3), dtype=np.float32)
    seen, end = march(space, path, Deviation(psi=zero, place=zero, g=zero), imposed)
    assert np.abs(end.psi).max() < 1e-6
    assert max(np.abs(x).max() for x in seen) < 1e-6


def test_nodes_stand_at_the_ends_of_the_pieces(space):
    start = np.zeros((space.rows.bristles, 1))
    (path,) = driven_paths(space, trail_of(space), start, np.array([0.0, 0.25, 1.0]))
    assert len(path.intervals) == 2 * deviation_steps.INTERVALS
    assert {0.0, 0.25, 1.0} <= set(np.round(path.time, 9))
