"""Machines of which the screws are known, read with friction: by a gauge on the bed, or by printed bands.

A gauge's turn is followed by the equilibrium engine in fine steps, a print by the propagator, both with
friction; the diagnosis follows friction in coarse steps of its own.
"""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from bedsim.diagnosis.least_squares import diagnose, turned_response
from bedsim.diagnosis.reading_machine import About, ReadingMachine, about, frictionless, reading_machine
from bedsim.diagnosis.readings import AXES, Reading, reading_rows
from bedsim.diagnosis.response import once_per_turn_response
from bedsim.diagnosis.screw_bounds import screw_bounds
from bedsim.engines.named import ENGINES
from bedsim.model.stations import LayerRun, stations
from bedsim.scenario.load import load_scenario
from bedsim.simulation import make_job, probe_points, relative_errors
from bedsim.wall.bands import wave_phasors
from bedsim.wall.relief import wall_normal, wall_relief

SCENARIOS = Path(__file__).parents[2] / "scenarios"
RUN_OUT, TRAVEL = 70e-6, 5e-6  # m, root of the mean square of the drawn screws


@dataclass(frozen=True)
class Case:
    """A machine with its readings' places; `true` (n, m) m what they show of the screws `x` (n, s) m."""

    machine: ReadingMachine
    bound: np.ndarray
    x: np.ndarray
    true: np.ndarray


def case(name, kind, sets, rng, changes=()):
    loaded = load_scenario(SCENARIOS / f"{name}.toml", changes)
    answers = once_per_turn_response(loaded)
    readings = places(loaded, kind, answers.sources)
    settings = loaded.scenario.print
    sizes = {
        "lead": loaded.scenario.corner[0].screw.lead_mm * 1e-3,
        "layer_height": settings.layer_mm * 1e-3,
        "line_width": settings.line_width_mm * 1e-3,
    }
    rows = reading_rows(readings, answers, **sizes, hand=hands(loaded))
    machine = reading_machine(loaded, readings, answers.sources, rows)
    size = np.array([RUN_OUT if cause == "run-out" else TRAVEL for cause, _ in answers.sources]) / np.sqrt(2)
    x = size * (rng.normal(size=(sets, size.size)) + 1j * rng.normal(size=(sets, size.size)))
    true = gauged(machine, x, sizes["lead"]) if kind == "gauge" else printed(machine, x, **sizes)
    return Case(machine, screw_bounds(loaded, answers.sources), x, true)


def places(loaded, kind, sources):
    """Gauge: x, y, z at three probes. Bands: walls to +X and +Y at five, printed three times, twice with a
    screw turned."""
    names = probe_points(loaded)[0]
    lead = loaded.scenario.corner[0].screw.lead_mm * 1e-3
    corners = list(dict.fromkeys(corner for _, corner in sources))
    turns = [("", 0.0)] if kind == "gauge" else [("", 0.0), (corners[0], np.pi / 2), (corners[1], np.pi / 2)]
    at = (
        [(p, w) for p in names[:3] for w in AXES]
        if kind == "gauge"
        else [(p, w) for p in names[:5] for w in ("+X", "+Y")]
    )
    return [
        Reading(
            where="",
            place=place,
            probe=probe,
            value=0j,
            sigma=1e-6,
            wavelength=None if kind == "gauge" else lead,
            turned=corner,
            turn=turn,
            scatter=0.0,
        )
        for corner, turn in turns
        for probe, place in at
    ]


def hands(loaded):
    return {c.name: 1 if c.screw.hand == "right" else -1 for c in loaded.scenario.corner}


def amounts(machine, job, x):
    """Strengths of screws: offset x + jy and travel Re(x e^{j angle}) of a right-hand screw, written out; a
    left-hand one turns the other way, so that the conjugate shows the same."""
    sources = machine.sources
    hand = hands(machine.loaded)
    x = np.where([hand[corner] < 0 for _, corner in sources], x.conj(), x)
    found = np.zeros((len(x), job.machine.amounts.size))
    parts = {"eccentricity x": 1, "eccentricity y": -1j, "cos": 1, "sin": 1j}
    for k, source in enumerate(job.machine.sources):
        key = (source.cause, job.machine.corner_names[source.corner])
        if key in sources and source.name in parts:
            found[:, k] = (x[:, sources.index(key)] * parts[source.name]).real
    return found


def gauged(machine, x, lead):
    job = make_job(machine.loaded)
    run = LayerRun(count=8, thickness=lead / 8, period=20.0, settle=0.3, hop=0.0, hop_dwell=0.0)
    jogged = replace(job.program, stations=stations([run]))
    down = replace(job.machine, stations=jogged.stations)
    job = replace(job, program=jogged, machine=down, amounts=amounts(machine, job, x))
    pose = np.concatenate([c.pose for c in ENGINES["equilibrium"].run(job)], axis=1)
    errors = relative_errors(job, np.zeros(8, dtype=int), pose)
    moved = np.concatenate([errors["lateral_raw"], errors["height_raw"][..., None]], axis=-1)
    names = probe_points(machine.loaded)[0]
    turn = np.exp(-1j * np.arange(8) * np.pi / 4) / 4
    return np.stack(
        [moved[:, :, names.index(r.probe), AXES.index(r.place)] @ turn for r in machine.readings], axis=1
    )


def printed(machine, x, lead, layer_height, line_width):
    job = make_job(machine.loaded)
    names = probe_points(machine.loaded)[0]
    found = np.zeros((len(x), len(machine.readings)), complex)
    for corner, turn in dict.fromkeys((r.turned, r.turn) for r in machine.readings):
        here = turned_response(x, machine.sources, corner, turn, hands(machine.loaded))
        own = replace(job, amounts=amounts(machine, job, here))
        chunks = list(ENGINES["propagator"].run(own))
        layers = np.concatenate([c.layers for c in chunks])
        errors = relative_errors(own, layers, np.concatenate([c.pose for c in chunks], axis=1))
        for k, r in enumerate(machine.readings):
            if (r.turned, r.turn) == (corner, turn):
                p = names.index(r.probe)
                relief = wall_relief(
                    errors["lateral_error"][:, :, p],
                    errors["height_error"][:, :, p],
                    normal=wall_normal(r.place)[1],
                    line_width=line_width,
                    layer_height=layer_height,
                )
                found[:, k] = wave_phasors((layers - 1) * layer_height, np.array([1 / lead]), relief.T)[0]
    return found


def noisy(values, sigma, rng):
    return values + sigma * (rng.normal(size=values.shape) + 1j * rng.normal(size=values.shape))


def near(case_, values, sigma):
    """The machine with friction near such readings."""
    rows = zip(case_.machine.readings, values, strict=True)
    readings = tuple(replace(r, value=complex(v), sigma=sigma) for r, v in rows)
    return about(replace(case_.machine, readings=readings), case_.bound)


def without_friction(case_) -> About:
    return frictionless(case_.machine)


def diagnosed(case_, here, values, sigma):
    return diagnose(
        here.response,
        values - here.added,
        np.full(values.size, sigma),
        case_.machine.sources,
        mirrored=here.mirrored,
    )


def sigmas_off(result, true):
    """Error of real and imaginary part of every source that is told, in stated uncertainties (k, 2)."""
    rows = [
        (e.amplitude * np.exp(1j * e.direction) - x, e.uncertainty)
        for e, x in zip(result.estimates, true, strict=True)
        if e.told
    ]
    return np.array([(error.real / u, error.imag / u) for error, u in rows]).reshape(-1, 2)
