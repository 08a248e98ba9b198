"""The wall that shows most: at which place of the bed, facing which way.

A wall's relief is linear in sideways and height errors, so its bands are those of X, of Y and of the layers'
thickness, weighed with the wall's normal: three fits per place give every direction.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bedsim.analysis.objects import only, shown_object
from bedsim.results.layers import Array, LayerResult
from bedsim.scenario.schema import Scenario
from bedsim.units import DEG, MM
from bedsim.wall.bands import band_amplitudes
from bedsim.wall.relief import Wall, probe_index, wall_normal, wall_of_layers
from bedsim.wall.visibility import (
    Sighting,
    Viewing,
    judge,
    smallest_visible_amplitude,
    wall_sentence,
    wall_side,
)

WORST = "worst"
"""Name of the wall that is sought."""
BOTH = "worst place and direction"
DIRECTIONS = 360


@dataclass(frozen=True, slots=True, kw_only=True)
class WallPlace:
    """A wall by its outward normal, and the probe whose errors it carries; `sought`: what of the two was not
    asked for but found to show most."""

    wall: str
    probe: str
    sought: str = ""
    of: str = ""  # the object whose wall it is, where there are several

    @property
    def words(self) -> str:
        """For titles and sentences."""
        told = ", ".join(text for text in (self.sought, self.of) if text)
        return f"{self.wall.replace(' deg', '°')} at {self.probe}{f' ({told})' if told else ''}"


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintedWalls:
    """What a run's walls are made of: the layers of one object, the leads (m) of its screws, the width of a
    line (m); `of`: which object, where there are several."""

    layers: LayerResult
    leads: tuple[float, ...]
    line_width: float
    of: str = ""

    def judged(self, place: WallPlace, viewing: Viewing) -> JudgedWall:
        """A wall of this run with its bands judged.  Raises InputError for a probe that it does not have."""
        wall = wall_of_layers(self.layers, wall=place.wall, line_width=self.line_width, probe=place.probe)
        place = replace(place, of=self.of)
        return JudgedWall(place=place, wall=wall, sightings=judge(band_amplitudes(wall, self.leads), viewing))


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedWall:
    """A wall and what an eye sees of its bands."""

    place: WallPlace
    wall: Wall
    sightings: tuple[Sighting, ...]

    @property
    def sentence(self) -> str:
        """The band that stands out most, and whether it is seen."""
        return wall_sentence(self.place.words, self.sightings)


def printed_walls(layers: LayerResult, scenario: Scenario) -> PrintedWalls:
    """What the walls of a run are made of: of the object where the lateral error is largest."""
    shown = shown_object(layers)
    return PrintedWalls(
        layers=only(layers, shown.part) if shown.words else layers,
        of=shown.words,
        leads=tuple(c.screw.lead_mm * MM for c in scenario.corner),
        line_width=scenario.print.line_width_mm * MM,
    )


def wall_places(
    runs: Sequence[PrintedWalls], walls: Sequence[str], probe: str | None, viewing: Viewing
) -> tuple[WallPlace, ...]:
    """Every wall that is asked for with its place: the probe that is named, else the one among those of all
    runs at which some run's wall shows most; `WORST` is the direction that does.

    Raises InputError for a wall or probe that is not there.
    """
    first = runs[0].layers
    names = [n for n in first.probe_name if all(n in r.layers.probe_name for r in runs)] or [
        *first.probe_name
    ]
    if probe is not None:
        names = [first.probe_name[probe_index(first, probe)]]
    shown = [_worst_of(runs, n, viewing) for n in names]
    found = []
    for wall in dict.fromkeys(walls):
        columns = np.arange(DIRECTIONS) if wall == WORST else [_column(wall)]
        values = np.array([row[columns] for row in shown])
        place, column = np.unravel_index(int(np.argmax(values)), values.shape)
        name = _name(int(columns[column])) if wall == WORST else wall_normal(wall)[0]
        found.append(WallPlace(wall=name, probe=names[place], sought=_sought(wall, probe)))
    return tuple(found)


def _sought(wall: str, probe: str | None) -> str:
    if wall == WORST:
        return BOTH if probe is None else "worst direction"
    return "worst place" if probe is None else ""


def _name(column: int) -> str:
    """The wall of a whole degree, as it is asked for."""
    axes = {0: "+X", 90: "+Y", 180: "-X", 270: "-Y"}
    return axes.get(column) or wall_normal(column if column < DIRECTIONS // 2 else column - DIRECTIONS)[0]


def _column(wall: str) -> int:
    x, y = wall_normal(wall)[1]
    return round(np.arctan2(y, x) / DEG) % DIRECTIONS


def _worst_of(runs: Sequence[PrintedWalls], probe: str, viewing: Viewing) -> Array:
    """How much walls of every direction (d,) show at a probe, in the run where they show most."""
    there = [r for r in runs if probe in r.layers.probe_name]
    return np.asarray(np.max([showing(r, probe, viewing) for r in there], axis=0))


def showing(run: PrintedWalls, probe: str, viewing: Viewing) -> Array:
    """How much a wall shows, for every whole degree of its normal (d,): its band that stands out most over
    the smallest that is seen; where the print is too low for bands, its relief, peak to valley, m."""
    parts = wall_parts(run, probe)
    angle = np.arange(DIRECTIONS) * DEG
    weights = np.stack([np.cos(angle), np.sin(angle), np.ones(DIRECTIONS)])
    bands = [band_amplitudes(part, run.leads) for part in parts]
    phasors = np.array([[b.phasor for b in part] for part in bands])  # (3, w)
    resolved = np.isfinite(phasors).all(axis=0)
    if not resolved.any():
        relief = np.stack([part.relief for part in parts], axis=1) @ weights
        return np.asarray(np.ptp(relief, axis=0))
    seen = np.array([b.seen_wavelength for b in bands[0]])[resolved]
    amplitude = np.abs(phasors[:, resolved].T @ weights)
    return np.asarray((amplitude / smallest_visible_amplitude(seen, viewing)[:, None]).max(axis=0))


def wall_parts(run: PrintedWalls, probe: str) -> tuple[Wall, Wall, Wall]:
    """The walls that X, Y and the layers' thickness make alone."""
    right, left, back = (
        wall_of_layers(run.layers, wall=wall, line_width=run.line_width, probe=probe)
        for wall in ("+X", "-X", "+Y")
    )
    thickness = (right.relief + left.relief) / 2.0
    return (
        replace(right, relief=right.relief - thickness),
        replace(back, relief=back.relief - thickness),
        replace(right, relief=thickness),
    )


def judged_walls(
    layers: LayerResult, scenario: Scenario, walls: Sequence[str], probe: str | None
) -> tuple[JudgedWall, ...]:
    """Every wall that is asked for of one run, judged.  Raises InputError for a wall or probe that is not
    there."""
    run = printed_walls(layers, scenario)
    viewing = Viewing(side=wall_side(float(run.layers.print_height[-1])))
    return tuple(run.judged(place, viewing) for place in wall_places([run], walls, probe, viewing))
