"""Machines of which everything is known, read as a workshop reads them: the truth for what is learnt.

Nothing of `bedsim.learn` is used.  Keys are drawn by numpy's own triangles, screws by normal laws, and both
are written into the scenario as a user would; readings come from the propagator, friction and vibration on,
jogged by eighths of a lead; a gauge points a degree beside its axis and drifts; the answer and each screw's
share come from the frictionless machine by `ranges`.
"""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from bedsim.analysis.linear_machine import without_play
from bedsim.engines.named import ENGINES
from bedsim.model.stations import LayerRun, stations
from bedsim.ranges.alone import linear_values
from bedsim.ranges.shares import source_layers
from bedsim.scenario.load import load_scenario
from bedsim.simulation import make_job, probe_points, relative_errors
from bedsim.wall.relief import wall_normal, wall_relief

SCENARIOS = Path(__file__).parents[2] / "scenarios"
KINDS = {
    "rigid": ("bent-rolled-rigid", ()),
    "rolling": ("bent-rolled-rolling-joints", ()),
    "flexure": ("bent-rolled-rigid", ("joint.kind=flexure",)),
    "plain": ("plain-lead-screws", ()),
    "four": ("four-screws", ()),
}
SCREWS = ("eccentricity_tir_um", "eccentricity_deg", "bow_tir_um", "bow_deg", "once_per_turn")
UNGAUGED = {"eccentricity": 20e-6, "bow": 60e-6, "travel": 28e-6}
LEAST = 3e-6
JOGGED = (("front right", "y"), ("front left", "x"))
FRAME = (("+X", "front right"), ("+Y", "back right"), ("-X", "back left"), ("-Y", "front left"))
WALLS = "wall,probe,wavelength_mm,amplitude_um,crest_mm"
SIGMA = 1e-6
POINTS_BESIDE, DRIFT = np.deg2rad(1.0), 0.3e-6


@dataclass(frozen=True)
class World:
    """A machine as it is; `given`: its scenario as the workshop knows it."""

    given: object
    true: object
    lateral: float
    height: float
    shares: np.ndarray


def world(kind, seed, gauged, changes=()):
    """Draw a machine of a kind; each kind has luck of its own, or five kinds would be one sample."""
    name, own = KINDS[kind]
    number = list(KINDS).index(kind)
    given = load_scenario(SCENARIOS / f"{name}.toml", (*own, *changes))
    for attempt in range(20):
        rng = np.random.default_rng([seed, attempt, number])
        try:
            true = given.with_values({**keys(given, rng), **screws(given, rng, gauged)})
            values = linear_values(without_play(true))
            return World(given, true, values["lateral_pv"], values["height_pv"], true_shares(true))
        except Exception:  # a draw that makes no machine
            if attempt == 19:
                raise
    raise AssertionError


def keys(given, rng):
    """Every uncertain key from its triangle, over the logarithm where all is above zero."""
    found = {}
    for key in given.ranges:
        if any(word in key.key for word in SCREWS) or key.low >= key.high:
            continue
        three = np.array([key.low, key.likely, key.high])
        drawn = np.exp(rng.triangular(*np.log(three))) if key.low > 0 else rng.triangular(*three)
        found[key.key] = float(drawn)
    return {**found, "damping.ratio": 0.08}  # rings down soon, and rests where it rests


def screws(given, rng, gauged):
    """Bow, eccentricity and travel of every screw, as keys."""
    found = {}
    for corner in given.scenario.corner:
        bent, travel = corner.screw.run_out, corner.screw.travel
        start = f"corner.{corner.name}.screw"
        mean = {
            "eccentricity": bent.eccentricity_tir_um / 2e6 * np.exp(1j * np.deg2rad(bent.eccentricity_deg)),
            "bow": bent.bow_tir_um / 2e6 * np.exp(1j * np.deg2rad(bent.bow_deg)),
            "travel": travel.once_per_turn_pv_um / 2e6 * np.exp(1j * np.deg2rad(travel.once_per_turn_deg)),
        }
        spread = {**dict.fromkeys(mean, LEAST), **_half_ranges(given, corner.name)}
        for part, about in mean.items():
            centre, sd = (about, max(spread[part], LEAST)) if gauged else (0, UNGAUGED[part])
            x = centre + sd * (rng.normal() + 1j * rng.normal())
            table, stem, size = {
                "eccentricity": ("run_out", "eccentricity", "tir"),
                "bow": ("run_out", "bow", "tir"),
                "travel": ("travel", "once_per_turn", "pv"),
            }[part]
            found[f"{start}.{table}.{stem}_{size}_um"] = float(2e6 * abs(x))
            found[f"{start}.{table}.{stem}_deg"] = float(np.rad2deg(np.angle(x)))
    return found


def _half_ranges(given, corner):
    bows = [key for key in given.ranges if key.key == f"corner.{corner}.screw.run_out.bow_tir_um"]
    return {"bow": (bows[0].high - bows[0].low) / 4e6 / 1.645} if bows else {}


def true_shares(true):
    """Shares (c,) of the screws in the mean square of the sideways motion at the worst probe."""
    parts = source_layers(true)
    whole = sum(lateral for lateral, _ in parts.values())
    angle = np.linspace(0, np.pi, 721)
    ways = np.stack([np.cos(angle), np.sin(angle)])
    worst = int(np.argmax([np.ptp(whole[:, p] @ ways, axis=0).max() for p in range(whole.shape[1])]))

    def centred(lateral):
        return lateral[:, worst] - lateral[:, worst].mean(axis=0)

    found = []
    for corner in true.scenario.corner:
        own = sum(
            centred(lateral)
            for (cause, at), (lateral, _) in parts.items()
            if at == corner.name and cause in ("run-out", "once-per-turn travel")
        )
        found.append(np.sum(own * centred(whole)) / np.sum(centred(whole) ** 2))
    return np.array(found)


def jog(true, engine="propagator", eighths=9, **own):
    """Bed motion (p, 3, eighths) m at the probes while one lead is jogged down, friction on."""
    job = make_job(true.with_values(own) if own else true)
    step = true.scenario.corner[0].screw.lead_mm * 1e-3 / 8
    run = LayerRun(count=eighths, thickness=step, period=20.0, settle=0.5, hop=0.0, hop_dwell=0.0)
    job = replace(job, program=replace(job.program, stations=stations([run])))
    pose = np.concatenate([chunk.pose for chunk in ENGINES[engine].run(job)], axis=1)
    errors = relative_errors(job, np.zeros(eighths, int), pose)
    return np.concatenate([errors["lateral_raw"], errors["height_raw"][..., None]], axis=-1)[0].transpose(
        1, 2, 0
    )


def gauged_rows(true, rng, places=JOGGED, sigma=SIGMA, **more):
    """Rows of a file of readings, probe, axis, eighth, reading in um."""
    moved = jog(true, **more)
    names = probe_points(true)[0]
    rows = []
    for probe, axis in places:
        x, y, z = moved[names.index(probe)]
        beside = POINTS_BESIDE * rng.normal()
        shown = {"x": x + beside * y, "y": y - beside * x, "z": z}[axis]
        noise = sigma * rng.normal(size=shown.size) + DRIFT * rng.normal() * np.linspace(0, 1, shown.size)
        zero = 100e-6 * rng.normal()
        rows += [[probe, axis, k, 1e6 * v] for k, v in enumerate(shown + noise + zero)]
    return rows


def wall_rows(true, rng, sigma=SIGMA):
    """Rows of a file of bands: the walls of a frame as large as the bed, printed with friction and vibration;
    bands are read to a tenth and `sigma`, crests to 0.3 mm, what seems below 1 um is left out."""
    job = make_job(true)
    chunks = list(ENGINES["propagator"].run(job))
    layers = np.concatenate([chunk.layers for chunk in chunks])
    errors = relative_errors(job, layers, np.concatenate([chunk.pose for chunk in chunks], axis=1))
    names, lead = probe_points(true)[0], true.scenario.corner[0].screw.lead_mm
    layer = true.scenario.print.layer_mm
    angle = 2 * np.pi * (layers - 1) * layer / lead
    waves = np.stack([np.cos(angle), np.sin(angle), np.ones(angle.size), angle], axis=1)
    rows = []
    for wall, probe in FRAME:
        p = names.index(probe)
        relief = wall_relief(
            errors["lateral_error"][:, :, p],
            errors["height_error"][:, :, p],
            normal=wall_normal(wall)[1],
            line_width=true.scenario.print.line_width_mm * 1e-3,
            layer_height=layer * 1e-3,
        )[0]
        c, s = np.linalg.lstsq(waves, relief, rcond=None)[0][:2]
        seen = c - 1j * s + sigma * (rng.normal() + 1j * rng.normal())
        size = abs(seen) * (1 + 0.1 * rng.normal())
        crest = -np.angle(seen) / (2 * np.pi) * lead + 0.3 * rng.normal()
        if size > 1e-6:
            rows.append([wall, probe, lead, 1e6 * size, crest % lead])
    return rows


def written(path, rows, header="probe,axis,eighth,reading_um"):
    """A file of readings."""
    path.write_text("\n".join([header, *(",".join(str(cell) for cell in row) for row in rows)]) + "\n")
    return path
