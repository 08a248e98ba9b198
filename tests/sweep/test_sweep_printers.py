"""Drawn printers: figures as of single runs, luck shared by all cells, sorting, clocking, closed forms."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from plans import FRICTIONLESS, write_plan
from scipy import stats

from bedsim.analysis.figures import metric_values
from bedsim.components.run_out import bow_shape
from bedsim.model.convert import make_screw
from bedsim.model.stations import LayerRun, stations
from bedsim.scenario.sweep_plan import Assumed, LotTable
from bedsim.screws.drawing import draw_member
from bedsim.screws.drawn import slow_deviation
from bedsim.screws.limits import grade_limits
from bedsim.screws.lots import Dimensions, Waves
from bedsim.simulation import simulate
from bedsim.sweep.drawing import BLOCK, block_amounts, clocked, screws_of, straightest, turned
from bedsim.sweep.figures import DIRECTIONS, Bands, Tally, metric_names, sharpened
from bedsim.sweep.lots import alternatives, make_lot
from bedsim.sweep.plan import SCREWS, load_plan
from bedsim.sweep.response import Values, gains, run_out_gram
from bedsim.sweep.run import order_of
from bedsim.sweep.sources import RUN_OUT, _travel, columns_of, run_out_seen, terms_for
from bedsim.sweep.tasks import Task, leads_of, meets, ready, run_task
from bedsim.units import DEG, MM, UM


def one_wave(cell):
    """The cell with lots of one slow wave, which a scenario can hold exactly; no alternatives."""
    return replace(cell, others=(), lots=tuple(replace(lot, waves=Waves(count=1)) for lot in cell.lots))


def keys_of(cell, seed, member):
    """Scenario keys of a printer's screws, slow wave and all, by plain formulas."""
    keys = {}
    for place, corner in enumerate(cell.loaded.scenario.corner):
        s = draw_member(cell.lots[place], np.random.SeedSequence(seed, spawn_key=(SCREWS, place, member)))
        parts = {
            "run_out.eccentricity_tir_um": 2 * abs(s.eccentricity) / UM,
            "run_out.eccentricity_deg": np.angle(s.eccentricity) / DEG,
            "run_out.tilt_tir_um_per_100mm": 2 * abs(s.tilt) * 0.1 / UM,
            "run_out.tilt_deg": np.angle(s.tilt) / DEG,
            "run_out.bow_tir_um": 2 * abs(s.bow) / UM,
            "run_out.bow_deg": np.angle(s.bow) / DEG,
            "travel.slope_um_per_300mm": s.slope * 0.3 / UM,
            "travel.variation_pv_um": 2 * abs(s.waves[0]) / UM,
            "travel.variation_wavelength_mm": s.wavelengths[0] / MM,
            "travel.variation_deg": np.angle(s.waves[0]) / DEG,
            "travel.once_per_turn_pv_um": 2 * abs(s.once_per_turn) / UM,
            "travel.once_per_turn_deg": np.angle(s.once_per_turn) / DEG,
        }
        keys |= {f"corner.{corner.name}.screw.{key}": float(value) for key, value in parts.items()}
    return keys


@pytest.mark.parametrize("cell_index", [4, 5])
def test_figures_are_those_of_a_single_run_without_friction(tmp_path, cell_index):
    """The equilibrium engine on the scenario with the drawn screws and all friction set to zero.

    The largest lateral extent is searched more coarsely over many printers: 0.1 %; all else is the same
    arithmetic.
    """
    plan = load_plan(write_plan(tmp_path))
    cell = one_wave(plan.cells[cell_index])
    (part,) = run_task(Task(order=order_of(plan), cells=(cell,), first=0, last=64))
    for member in (0, 63):
        free = cell.loaded.with_values(FRICTIONLESS | keys_of(cell, plan.file.seed, member))
        expected = metric_values(simulate(free, engine="equilibrium").layers, leads_of(cell))
        for name, value in zip(metric_names("equilibrium"), part.figures[member], strict=True):
            tolerance = 1e-3 if name == "lateral_pv" else 1e-5
            assert value == pytest.approx(expected[name], rel=tolerance), name


def test_side_forces_turn_every_drawn_screw_as_in_a_single_run(tmp_path):
    """Screws out of line push against their guides: members share that force and differ in their run-outs."""
    from plans import MACHINE

    machine = MACHINE.replace("length_mm = 400\n", "length_mm = 400\nalignment = {offset_x_um = 300}\n")
    plan = load_plan(write_plan(tmp_path, machine=machine))
    cell = one_wave(plan.cells[4])
    (part,) = run_task(Task(order=order_of(plan), cells=(cell,), first=0, last=64))
    free = cell.loaded.with_values(FRICTIONLESS | keys_of(cell, plan.file.seed, 63))
    expected = metric_values(simulate(free, engine="equilibrium").layers, leads_of(cell))
    straight = cell.loaded.with_values({"screw.alignment.offset_x_um": 0.0} | FRICTIONLESS)
    centred = straight.with_values(keys_of(cell, plan.file.seed, 63))
    without = metric_values(simulate(centred, engine="equilibrium").layers, leads_of(cell))
    found = dict(zip(metric_names("equilibrium"), part.figures[63], strict=True))
    for name in ("height_pv", "load_angle"):
        assert found[name] == pytest.approx(expected[name], rel=1e-5), name
    assert found["load_angle"] > 1.02 * without["load_angle"]


def test_figures_with_friction_and_vibration_are_those_of_a_single_run(tmp_path):
    """The propagator on one printer of a batch of two cells; contacts are solved to 1e-11 m."""
    machine_layers = ["print.layers = 40", "layers = 5"]
    from plans import MACHINE

    plan = load_plan(
        write_plan(
            tmp_path, more='engine = "propagator"', machine=MACHINE.replace("layers = 40", machine_layers[1])
        )
    )
    cells = tuple(one_wave(plan.cells[k]) for k in (3, 5))
    parts = run_task(Task(order=order_of(plan), cells=cells, first=0, last=2))
    free = cells[1].loaded.with_values(keys_of(cells[1], plan.file.seed, 1))
    expected = metric_values(simulate(free, engine="propagator").layers, leads_of(cells[1]))
    for name, value in zip(metric_names("propagator"), parts[1].figures[1], strict=True):
        if not np.isnan(expected[name]):
            assert value == pytest.approx(expected[name], rel=2e-3, abs=1e-9), name


def test_slow_waves_are_carried_to_a_millionth(tmp_path):
    """Polynomials against the waves themselves over the travel used."""
    plan = load_plan(write_plan(tmp_path))
    prepared = ready(plan.cells[0], friction=False)
    screws = screws_of(plan.cells[0].lots[0], 1, 0, 0)
    travel = prepared.travel[0]
    position = np.linspace(travel.low, travel.high, 301)
    told = np.polynomial.chebyshev.chebval(travel.scaled(position), travel.coefficients(screws).T)
    np.testing.assert_allclose(
        told, slow_deviation(screws, position), atol=3e-6 * np.abs(screws.waves).sum(axis=1).max()
    )
    assert terms_for(0.4, 0.04) > 2 * 0.4 / 0.04  # two numbers per wave are the least


def test_a_printer_has_the_same_luck_whatever_is_bought_and_built(tmp_path):
    """Screw i of printer j is spawned by (i, j) alone, and can be drawn alone."""
    plan = load_plan(write_plan(tmp_path))
    lot = plan.cells[0].lots[0]
    block = screws_of(lot, 5, 2, BLOCK)
    alone = draw_member(lot, np.random.SeedSequence(5, spawn_key=(SCREWS, 2, BLOCK + 7)))
    assert block.member(7) == alone
    other = screws_of(plan.cells[2].lots[0], 5, 2, BLOCK)
    np.testing.assert_allclose(np.angle(other.bow), np.angle(block.bow), rtol=1e-12)


@pytest.mark.kernel
def test_numbers_do_not_depend_on_neighbours_or_on_how_many_are_drawn(tmp_path):
    plan = load_plan(write_plan(tmp_path))
    order = order_of(plan)
    (many,) = run_task(Task(order=order, cells=plan.cells[:1], first=0, last=100))
    (few,) = run_task(Task(order=order, cells=plan.cells[:1], first=0, last=70))
    (second,) = run_task(Task(order=order, cells=plan.cells[:1], first=64, last=100))
    together = run_task(Task(order=order, cells=(plan.cells[2], plan.cells[0]), first=0, last=70))
    assert few.figures.tobytes() == many.figures[:70].tobytes() == together[1].figures.tobytes()
    assert second.figures.tobytes() == many.figures[64:].tobytes()


def test_a_better_grade_never_has_a_worse_median(tmp_path):
    """Same size and stiffness, common luck, what no grade limits stated alike."""
    axes = '[[axis]]\nkey = "grade"\nvalues = ["C1", "C3", "C5", "C7", "C10"]\n'
    text = axes + '[[axis]]\nkey = "joint.kind"\nvalues = ["rigid", "rolling"]\n'
    plan = load_plan(write_plan(tmp_path, text))
    medians = {}
    for group in (0, 1):
        cells = tuple(replace(c, others=()) for c in plan.cells if c.group == group)
        parts = run_task(Task(order=order_of(plan), cells=cells, first=0, last=128))
        medians[group] = np.array([np.median(p.figures[:, :2], axis=0) for p in parts])
    for values in medians.values():
        assert np.all(np.diff(values, axis=0) > -1e-12)
        assert np.all(values[-1] > values[0])
    assert np.all(medians[1][:, 0] < medians[0][:, 0]), (
        "a joint that lets the nut move takes lateral error away"
    )


def phasor_gains(plan):
    """Cell, machine and complex gain (c, 2) of the centre's x band per unit eccentricity of each screw."""
    cell = plan.cells[0]
    prepared = ready(cell, friction=False)
    bands = Bands(prepared.job, leads_of(cell))
    layers, probes = prepared.job.program.layers, prepared.job.probes.shape[0]
    rows = np.concatenate([g.lateral_rows().reshape(g.layers.size, probes, 2, -1) for g in gains(prepared)])
    phasor = bands.rows[0] @ rows[:, 0, 0].reshape(layers, -1)
    per_corner = prepared.columns.shape[1]
    return cell, prepared, phasor[1:].reshape(-1, per_corner)[:, :2]


def test_linear_response_to_normal_offsets_is_rayleigh_and_rice(tmp_path):
    """Amplitude of the band in x for normal eccentricities: Rayleigh; with one screw known: Rice.

    Closed forms: mean s sqrt(pi/2), spread s sqrt(2 - pi/2) with s^2 = sigma^2 sum |gain|^2 / 2;
    scipy.stats.rayleigh and rice for the whole law.  Sampling: four standard errors; the gains are those of a
    turning vector to 1 % or so, which moves the mean by its square.
    """
    cell, prepared, gain = phasor_gains(load_plan(write_plan(tmp_path)))
    lot = cell.lots[0]
    blocks = [block_amounts(prepared, cell.lots, 3, None, 5, BLOCK * k)[:, :, :2] for k in range(40)]
    offsets = np.concatenate(blocks)
    from bedsim.screws.limits import grade_limits

    limits = grade_limits(lot)
    share = lot.spread.inside ** (1 / limits.count)
    sigma = limits.thread_run_out / 2 / np.sqrt(-2 * np.log1p(-share))
    assert offsets.std() == pytest.approx(sigma, rel=4 / np.sqrt(2 * offsets.size))
    scale = sigma * np.sqrt(np.sum(np.abs(gain) ** 2) / 2)
    amplitude = np.abs(np.einsum("ck,nck->n", gain, offsets))
    error = 1 / np.sqrt(amplitude.size)
    assert amplitude.mean() == pytest.approx(scale * np.sqrt(np.pi / 2), rel=4 * error * 0.523)
    assert amplitude.std() == pytest.approx(scale * np.sqrt(2 - np.pi / 2), rel=4 * error)
    assert stats.kstest(amplitude, stats.rayleigh(scale=scale).cdf).pvalue > 1e-3

    known = 3 * sigma
    offsets[:, 0] = [known, 0.0]
    rest = sigma * np.sqrt(np.sum(np.abs(gain[1:]) ** 2) / 2)
    amplitude = np.abs(np.einsum("ck,nck->n", gain, offsets))
    law = stats.rice(b=known * abs(gain[0, 0]) / rest, scale=rest)
    assert amplitude.mean() == pytest.approx(law.mean(), abs=4 * law.std() * error)
    assert amplitude.std() == pytest.approx(law.std(), rel=4 * error)
    assert stats.kstest(amplitude, law.cdf).pvalue > 1e-3


def test_sorting_keeps_the_straightest_and_more_bought_is_never_worse(tmp_path):
    plan = load_plan(write_plan(tmp_path))
    cell = plan.cells[0]
    prepared = ready(cell, friction=False)
    travel = prepared.travel[0]
    where = np.linspace(travel.low, travel.high, 200)
    places = [screws_of(cell.lots[0], 5, i, 0) for i in range(6)]
    columns = np.stack([columns_of(s, travel) for s in places], axis=1)
    bow = bow_shape(make_screw(cell.loaded.scenario.corner[0]))(where)[0]
    shapes = np.stack([np.ones_like(where), where, bow])
    offsets = [np.stack([s.eccentricity, s.tilt, s.bow], axis=1) @ shapes for s in places]
    run_out = np.stack([np.abs(offset).max(axis=1) for offset in offsets], axis=1)
    worst = []
    for bought in (3, 4, 6):
        kept = straightest(columns[:, :bought], prepared, 3)
        worst.append(np.take_along_axis(run_out, kept, axis=1).max(axis=1))
        assert np.all(np.diff(kept, axis=1) > 0)
    np.testing.assert_allclose(worst[0], run_out[:, :3].max(axis=1))
    assert np.all(worst[1] <= worst[0] * 1.001) and np.all(worst[2] <= worst[1] * 1.001)
    np.testing.assert_allclose(worst[2], np.sort(run_out, axis=1)[:, 2], rtol=1e-3)


def test_drawn_bows_are_those_of_free_screws_however_the_scenarios_own_was_read(tmp_path):
    from plans import MACHINE

    read = MACHINE + '\n[screw.run_out]\nbow_tir_um = 50\nbow_measured = "mounted"\n'
    own, other = (load_plan(write_plan(tmp_path, machine=m)).cells[0] for m in (MACHINE, read))
    where = np.linspace(0.1, 0.2, 5)
    seen = [run_out_seen(ready(cell, friction=False), where) for cell in (own, other)]
    np.testing.assert_array_equal(*seen)


def test_clocking_finds_the_least_lateral_error(tmp_path):
    """Against the mean square itself, and against ten thousand other clockings of every printer."""
    plan = load_plan(write_plan(tmp_path))
    cell = plan.cells[0]
    prepared = ready(cell, friction=False)
    gram = run_out_gram(prepared)
    drawn = block_amounts(prepared, cell.lots, 3, None, 5, 0)
    best = clocked(drawn, gram)

    def square(columns):
        v = columns[:, :, :RUN_OUT].reshape(len(columns), -1)
        return np.einsum("ni,ij,nj->n", v, gram, v)

    only_run_out = drawn.copy()
    only_run_out[:, :, RUN_OUT:] = 0.0
    lateral = np.concatenate([g.values(only_run_out.reshape(BLOCK, -1)).lateral for g in gains(prepared)])
    fixed = np.concatenate([g.values(np.zeros((1, only_run_out[0].size))).lateral for g in gains(prepared)])
    direct = np.mean(np.var(lateral - fixed, axis=0), axis=(0, 1))
    np.testing.assert_allclose(square(drawn), direct, rtol=1e-9)

    angles = np.random.default_rng(1).uniform(0, 2 * np.pi, (10_000, 3))
    for member in range(4):
        tried = square(turned(np.repeat(drawn[member : member + 1], len(angles), axis=0), angles))
        assert square(best)[member] <= tried.min() * (1 + 1e-3)
    np.testing.assert_allclose(
        np.hypot(best[..., 0], best[..., 1]), np.hypot(drawn[..., 0], drawn[..., 1]), rtol=1e-12
    )


def test_extent_sharpened_between_directions_is_exact_for_lines_and_ellipses():
    """A segment of length 1 and an ellipse with half axes 1 and 0.3, turned anyhow."""
    angle = np.arange(DIRECTIONS) * np.pi / DIRECTIONS
    for turn in np.linspace(0, np.pi, 37):
        line = np.abs(np.cos(angle - turn))
        ellipse = 2 * np.hypot(np.cos(angle - turn), 0.3 * np.sin(angle - turn))
        assert sharpened(line) == pytest.approx(1.0, rel=1e-9)
        assert sharpened(ellipse) == pytest.approx(2.0, rel=1e-9)


def test_a_printer_whose_motor_loses_steps_meets_nothing(tmp_path):
    """Two printers without any error: the motor of one is once past half a cycle of its torque curve."""
    plan = load_plan(write_plan(tmp_path))
    cell, order = plan.cells[0], order_of(plan)
    job = ready(cell, friction=True).job
    tally = Tally(job, Bands(job, leads_of(cell)), 2, 0)
    layers, probes = np.arange(1, job.program.layers + 1), job.probes.shape[0]
    none, calm = np.zeros((layers.size, probes, 2)), np.zeros((layers.size, 3, 2))
    angle = calm + 0.5
    angle[7, 1, 1] = 1.01 * np.pi
    tally.add(
        Values(
            layers=layers,
            height=none,
            lateral=np.zeros((layers.size, probes, 2, 2)),
            reported={
                "joint_excursion": calm,
                "side_force": calm,
                "load_angle": angle,
                "mount_force": calm + 1,
                "axial_force": calm + 1,
            },
        )
    )
    assert meets(tally.lateral_pv, tally.height_pv, tally.stopped, order).tolist() == [True, False]


def test_other_lots_lie_within_what_is_assumed(tmp_path):
    """40 of them, every one within its ranges, and over most of each."""
    once = {"low": 2.0, "likely": 3.0, "high": 8.0}
    table = LotTable(
        grade="C7",
        once_per_turn_rms_um=Assumed(**once, basis="invented"),
        mount_tilt_tir_um_per_100mm=Assumed(low=10.0, likely=20.0, high=30.0, basis="invented"),
        straightness_um=100.0,
        thread_run_out_um=40.0,
    )
    size = Dimensions(length=0.3, diameter=12 * MM, lead=5 * MM, free_end=True)
    lot = make_lot("made up", table, None, size, tmp_path)
    drawn = [one for (one,) in alternatives(table, (lot,), tmp_path, 40, np.random.SeedSequence(3))]
    tilt = np.array([one.mount_tilt for one in drawn])
    rms = np.array([one.once_per_turn.rms for one in drawn])
    for values, unit, low, high in ((tilt, UM / (100 * MM), 10, 30), (rms, UM, 2, 8)):
        assert values.min() >= low * unit and values.max() <= high * unit
        assert np.ptp(values) > 0.8 * (high - low) * unit
    assert lot.mount_tilt == pytest.approx(20 * UM / (100 * MM))
    assert any("the lot states 20 um TIR per 100 mm" in told for told in grade_limits(lot).assumptions)
    assert lot.once_per_turn.rms == pytest.approx(3 * UM)


@pytest.mark.parametrize(("layers", "lowest"), [(10, 190.0), (100, 174.75)])
def test_travel_reaches_from_the_lowest_place_to_the_approach(layers, lowest):
    """By hand: the run-in of 10 mm below 200 where the print is short, else 99 layers and a hop of 0.5."""
    run = LayerRun(count=layers, thickness=0.25 * MM, period=1.0, settle=0.0, hop=0.5 * MM, hop_dwell=0.0)
    program = SimpleNamespace(stations=stations([run]), run_in=10 * MM, approach=1 * MM)
    found = _travel(200 * MM, program, 40 * MM)
    assert found.low / MM == pytest.approx(lowest) and found.high / MM == pytest.approx(201.0)
