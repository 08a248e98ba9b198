"""The package against Lagrange's equations derived by sympy from the geometry of the same machine.

All values are computed here, none is published; the shaft's stiffness comes by transfer matrices.
"""

import dataclasses

import energies
import numpy as np
import pytest
from oracle_machine import GRAVITY, UNTIL, numbers
from scipy.linalg import eigh

from bedsim.simulation import make_job, probe_points, simulate

FREQUENCY = 1e-6  # relative
PROBE = 0.01e-6  # m


def frequencies(K: np.ndarray, M: np.ndarray) -> np.ndarray:
    return np.sqrt(eigh(K, M, eigvals_only=True))


def seen_at(loaded, pose, top):
    """Height (t, p) at the bed and sideways motion (t, p, 2) at `top` m: d = t + w x p."""
    bed = np.column_stack([places := probe_points(loaded)[1], np.zeros(len(places))])
    moved, turned = pose[:, None, :3], pose[:, None, 3:6]
    above = bed + np.array([0, 0, top])
    return (moved + np.cross(turned, bed))[..., 2], (moved + np.cross(turned, above))[..., :2]


@pytest.mark.parametrize("ends", ["fixed-free", "fixed-fixed"])
def test_natural_frequencies_without_weight(loaded, ends):
    """All 36 frequencies, gravity off in both: the left screw's ends as they are, then both held."""
    changed = loaded.with_values({"corner.left.screw.ends": ends})
    machine = make_job(changed).machine
    light = dataclasses.replace(machine, weight=np.zeros_like(machine.weight), gravity=0.0)
    system = light.system(np.array([2]))
    eq = energies.derive(numbers(changed, 2))
    np.testing.assert_allclose(frequencies(system.K[0], system.M[0]), frequencies(eq.K, eq.M), rtol=FREQUENCY)


def test_natural_frequencies_under_weight(loaded, both_layers):
    """With softened shafts and loads on displaced joints, which change a frequency by far more than 1e-6."""
    system = make_job(loaded).machine.system(np.array([2]))
    _, eq = both_layers[1]
    np.testing.assert_allclose(frequencies(system.K[0], system.M[0]), frequencies(eq.K, eq.M), rtol=FREQUENCY)
    weightless = energies.derive(numbers(loaded, 2))
    change = frequencies(eq.K, eq.M) / frequencies(weightless.K, weightless.M) - 1
    assert np.abs(change).max() > 100 * FREQUENCY


def test_layers_of_unequal_height(loaded):
    """The change to a layer 0.9 mm thick upon one of 0.5: frequencies there, and rest and ringing at the
    probes; equal layers of the mean would rest elsewhere by some um."""
    changes = {"print.layers": 2, "print.section": [{"layers": 1}, {"layers": 1, "layer_mm": 0.9}]}
    thick = loaded.with_values(changes)
    layers = []
    for layer in (1, 2):
        loads = energies.derive(numbers(thick, layer)).loads
        n = numbers(thick, layer, loads)
        layers.append((n, energies.derive(n, loads)))
    (before, eq_before), (now, eq) = layers
    system = make_job(thick).machine.system(np.array([2]))
    np.testing.assert_allclose(frequencies(system.K[0], system.M[0]), frequencies(eq.K, eq.M), rtol=FREQUENCY)
    trace = simulate(thick, "propagator").layers.trace[0]
    time = trace.time[trace.time <= UNTIL]
    q = energies.integrate(eq, now, energies.rest(eq_before, before), time)
    height, lateral = seen_at(thick, q[:, :6], 1.4e-3)
    kept = slice(0, time.size)
    assert np.abs(trace.height[kept] - height).max() < PROBE
    assert np.abs(trace.lateral[kept] - lateral).max() < PROBE


def test_objects_at_places_of_their_own(loaded):
    """The second of two objects, the first standing on the bed: frequencies without weight, and the loads."""
    first = {"layers": 2, "layer_mm": 15.0, "part_mass_kg": 0.8, "part_x_mm": 70.0, "part_y_mm": -20.0}
    other = {"layers": 2, "layer_mm": 12.0, "part_mass_kg": 1.0, "part_x_mm": -60.0, "new_object": True}
    two = loaded.with_values({"print.layers": 4, "print.section": [first, other]})
    eq = energies.derive(numbers(two, 3))
    machine = make_job(two).machine
    light = dataclasses.replace(machine, weight=np.zeros_like(machine.weight), gravity=0.0)
    system = light.system(np.array([3]))
    np.testing.assert_allclose(frequencies(system.K[0], system.M[0]), frequencies(eq.K, eq.M), rtol=FREQUENCY)
    np.testing.assert_allclose(machine.system(np.array([3])).corner_load[0], eq.loads, rtol=1e-6)


def test_corner_loads(loaded, both_layers):
    """What hangs on each screw (the shafts' softening moves it by less than 1e-6), and in all: the weight."""
    load = make_job(loaded).machine.system(np.array([1, 2])).corner_load
    for k, (n, eq) in enumerate(both_layers):
        mass = sum(b[0] for b in n.bodies) + sum(c.carriage_mass + c.nut_mass for c in n.corners)
        np.testing.assert_allclose(load[k], eq.loads, rtol=1e-6)
        np.testing.assert_allclose(load[k].sum(), mass * GRAVITY, rtol=1e-9)


def test_history_of_a_layer_change(trace, loaded, both_layers, largest_difference):
    """Rest, motion and ringing at the probes against scipy's DOP853 on sympy's equations."""
    (before, eq_before), (now, eq) = both_layers
    time = trace.time[trace.time <= UNTIL]
    q = energies.integrate(eq, now, energies.rest(eq_before, before), time)
    assert np.ptp(trace.height) > 100 * PROBE and np.ptp(trace.lateral[:, 0, :], axis=0).max() > 20 * PROBE
    assert largest_difference(trace, q[:, :6]) < PROBE


@pytest.mark.parametrize("engine", ["reference", "propagator"])
def test_history_with_strong_joint_dampers(engine, loaded, both_layers, largest_difference):
    """Dampers of the joints themselves couple the modes: 120 N s/m moves the probes by over 0.1 um."""
    damped = loaded.with_values({"joint.damping_n_s_per_m": 120})
    (before, eq_before), (_, eq_light) = both_layers
    now = numbers(damped, 2, eq_light.loads)
    eq = energies.derive(now, eq_light.loads)
    found = simulate(damped, engine).layers.trace[0]
    time = found.time[found.time <= UNTIL]
    start = energies.rest(eq_before, before)
    q, light = (energies.integrate(e, now, start, time)[:, :6] for e in (eq, eq_light))
    assert largest_difference(found, light) > 10 * PROBE
    assert largest_difference(found, q) < PROBE
