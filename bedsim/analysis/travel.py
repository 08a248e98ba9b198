"""The bands over the machine's whole travel: a print of a few centimetres shows what one stretch of the
screws does, and a joint that takes a bend's offset leaves its slope, which is largest elsewhere.

The machine prints as high as its screws allow, without friction, stops and play.  Over every few waves the
amplitude at the lead is fitted as in a print; what is told is that of the worst place of the plate there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from bedsim.analysis import linear_machine, metrics
from bedsim.model.convert import stations_of
from bedsim.results.layers import Array
from bedsim.scenario.checks import first_layer_nut_mm
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.machine_keys import Output
from bedsim.scenario.sections import first_object
from bedsim.simulation import make_job, probe_points, relative_errors
from bedsim.units import MM

STATIONS = 40
"""Places of the nut that are told."""
WAVES = 3.0
"""Waves in the stretch about a station: from three on a fit under a window is that of the spectrum."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TravelBands:
    """Amplitude (m) of the band at the lead, in its largest direction, against the nut's place.

    `nut` (s,) m: mean of the nuts above the lower ends of their screws, falling as the print grows;
    `amplitude` (s,), at the worst place of the plate; `place` (s,): its name; `wavelength` (s,) m: on the
    wall; `height` m: of the tallest print.
    """

    nut: Array
    amplitude: Array
    place: tuple[str, ...]
    wavelength: Array
    height: float

    @property
    def worst(self) -> int:
        """Station at which the band is largest."""
        return int(np.argmax(self.amplitude))

    def within(self, low: float, high: float) -> Array:
        """Amplitudes at the stations between two places of the nut (m); the nearest where there is none."""
        inside = (self.nut >= low) & (self.nut <= high)
        if not inside.any():
            inside[np.argmin(np.abs(self.nut - (low + high) / 2))] = True
        return self.amplitude[inside]


def tallest(loaded: LoadedScenario) -> int:
    """Layers of the tallest print that the screws allow, those that are added as in [print], or like a
    program's last: the nut stays one root diameter above the lower end, as a scenario must."""
    job, motion = loaded.scenario.print, loaded.scenario.motion
    room = min(first_layer_nut_mm(c, job) - c.screw.root_diameter_mm for c in loaded.scenario.corner)
    hop = motion.z_hop_mm if job.laid is None else float(job.laid.hop[-1])
    left = room - hop - float(stations_of(loaded.scenario).depth[-1]) / MM
    return job.layers + max(0, math.floor(left / job.layer_mm + 1e-9))


def whole_travel(loaded: LoadedScenario) -> LoadedScenario:
    """The same machine with the tallest print, of objects one after the other the first."""
    alone = of_first_object(loaded)
    job, changed = alone.scenario.print, {"layers": tallest(alone)}
    laid = {} if job.laid is None else {"laid": job.laid.grown(changed["layers"], job.layer_mm)}
    return _printing(alone, changed | laid)


def of_first_object(loaded: LoadedScenario) -> LoadedScenario:
    """The same machine printing the first of several objects alone."""
    job, motion, tree = loaded.scenario.print, loaded.scenario.motion, dict(loaded.tree)
    alone = first_object(job, motion)
    if not alone:
        return loaded
    tree.pop("output", None)  # the layers that it names may not be printed
    scenario = loaded.scenario.model_copy(update={"output": Output()})
    return _printing(replace(loaded, scenario=scenario, tree=tree), alone)


def _printing(loaded: LoadedScenario, changed: dict[str, Any]) -> LoadedScenario:
    """Nothing else of a scenario hangs on what is printed, so that it need not be read and checked again."""
    keys = {key: value for key, value in changed.items() if key != "laid"}
    job = loaded.scenario.print.model_copy(update=keys)
    if "laid" in changed and job.program is not None:
        job.lay(changed["laid"])
        loaded = replace(loaded, tables={**loaded.tables, **changed["laid"].tables(job.program)})
    own = job.model_dump(include=set(keys), exclude_none=True)
    tree = {**loaded.tree, "print": {**loaded.tree["print"], **own}}
    return replace(loaded, scenario=loaded.scenario.model_copy(update={"print": job}), tree=tree)


def printed_between(loaded: LoadedScenario) -> tuple[float, float]:
    """Lowest and highest place (m) of the nuts (their mean) in this print."""
    job = loaded.scenario.print
    top = float(np.mean([first_layer_nut_mm(c, job) for c in loaded.scenario.corner]))
    return top * MM - float(stations_of(loaded.scenario).depth.max()), top * MM


def travel_bands(tall: LoadedScenario, stations: int = STATIONS) -> TravelBands:
    """Bands of a machine over its travel; `tall`: with the print that uses it (`whole_travel`).

    Raises ModelError or InputError for a machine that cannot be computed.
    """
    fitted = linear_machine.without_play(tall)
    names, places = probe_points(fitted)
    job = replace(make_job(fitted, side_torque=False), probes=places)  # that lifts, it does not push aside
    linear = linear_machine.linear_machine(job)
    pose = linear_machine.poses(linear, linear_machine.own_imposed(linear))[0]
    lateral = relative_errors(job, linear.layers, pose)["lateral_error"]
    height = job.program.stations.top(linear.layers)
    seen = _seen(tall, height)
    middle, bands = _local_bands(seen, height, lateral, stations)
    s = np.arange(middle.size)
    amplitude = bands.max(axis=1)  # of the leads
    worst = np.argmax(amplitude, axis=1)
    which = np.argmax(bands[s, :, worst], axis=1)
    return TravelBands(
        nut=float(np.mean(job.machine.first_nut)) + job.program.stations.thickness[0] - middle,
        amplitude=amplitude[s, worst],
        place=tuple(names[k] for k in worst),
        wavelength=seen[which],
        height=float(height[-1]),
    )


def _seen(tall: LoadedScenario, height: Array) -> Array:
    """Wavelengths (m) that the leads show on the wall; those that show none count as infinite."""
    leads = sorted({c.screw.lead_mm * MM for c in tall.scenario.corner})
    return np.array([metrics.seen_wavelength(height, lead) for lead in leads])


def _local_bands(seen: Array, height: Array, lateral: Array, stations: int) -> tuple[Array, Array]:
    """Middles (s,) of stretches of the print, m, and the amplitude (s, lead, p) in each; 0 where a stretch is
    too short."""
    layer = float(np.mean(np.diff(height, prepend=0.0)))
    longest = max((w for w in seen if np.isfinite(w)), default=layer)
    wide = (max(5, round(WAVES * longest / layer)) - 0.5) * layer
    last = min(int(np.searchsorted(height, height[-1] - wide)), height.size - 1)
    first = np.unique(np.linspace(0, last, stations).astype(int))
    stop = np.searchsorted(height, height[first] + wide)
    found = np.zeros((first.size, seen.size, lateral.shape[1]))
    for k, part in enumerate(slice(*ends) for ends in zip(first, stop, strict=True)):
        for i, wave in enumerate(seen):
            found[k, i] = metrics.lateral_amplitude_at(height[part], lateral[part], wave)
    return (height[first] + height[stop - 1]) / 2, np.nan_to_num(found)
