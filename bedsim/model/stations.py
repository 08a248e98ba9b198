"""What a print is, layer by layer: stations of unequal height, time and motion.

A station is a stretch that lays material at one height.  Layers of one height and one time are the special
case in which all runs are one.  Stations are counted from 1, as layers are; one of number 0, of the first
one's thickness, stands before the first: from there layer 1 is reached like any other.

An object that is printed after another begins again at the bottom: its first station is the zero of its
errors, the mass of what was printed before stays on the bed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Layers = NDArray[np.int64]
ALIKE = 1e-9  # heights and times that differ by a smaller share differ by rounding


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerRun:
    """Layers of one kind, each on the one before: `thickness` m, `period` s from one change to the next,
    `settle` s between the end of the motion and printing, a hop of `hop` m with a pause of `hop_dwell` s
    before every `hop_every`-th; `new_object`: the first of them lies on the bed."""

    count: int
    thickness: float
    period: float
    settle: float
    hop: float
    hop_dwell: float
    hop_every: int = 1
    new_object: bool = False


@dataclass(frozen=True, kw_only=True, eq=False)
class Stations:
    """Stations (n,) in the order in which they are laid.

    `z` m: top of what is laid, above the bed; `depth` (n+1,) m: how far the bed stands below where it stands
    at station 1, station 0 first; `middle` m: the same halfway to each, where matrices are taken;
    `thickness` m.  `begin` s: when the motion to it begins, after that to the first; `period` s from there to
    its end; `settle` s from the end of the motion to printing; `hop` m (0: none) and `hop_dwell` s before it
    is laid; `speed` m/s of the motion to it, up to the end of a hop, and `back` from it (unlimited: what the
    machine lets it have).  `first`: number of the first station of its object.
    """

    z: Array
    depth: Array
    middle: Array
    thickness: Array
    begin: Array
    period: Array
    settle: Array
    hop: Array
    hop_dwell: Array
    speed: Array
    back: Array
    first: Layers

    def __eq__(self, other: object) -> bool:
        """Whether all stations are the same."""
        return isinstance(other, Stations) and self._bytes == other._bytes

    def __hash__(self) -> int:
        """Of all stations."""
        return hash(self._bytes)

    @cached_property
    def _bytes(self) -> tuple[bytes, ...]:
        return tuple(getattr(self, f.name).tobytes() for f in fields(self))

    @property
    def count(self) -> int:
        """Number of stations."""
        return self.z.size

    @cached_property
    def laid(self) -> Array:
        """Thickness m that has been laid up to each station (n,), of all objects together."""
        return np.cumsum(self.thickness)

    @cached_property
    def ends(self) -> tuple[int, ...]:
        """The stations between which heights and loads lie: the first, the first of the last object (what was
        printed before stands on the bed), the lowest, the last; each once, in order."""
        return tuple(sorted({1, int(self.first[-1]), self.lowest, self.count}))

    @property
    def lowest(self) -> int:
        """The station at which the bed is lowest, of several the last."""
        deep = self.depth[1:]
        return int(np.flatnonzero(deep >= deep.max() - ALIKE * np.ptp(deep))[-1]) + 1

    def top(self, layers: Layers) -> Array:
        """Top m above the bed at stations counted from 0, where nothing is laid."""
        return np.append(0.0, self.z)[layers]

    @cached_property
    def kind(self) -> Layers:
        """Numbers (n,) that are equal where motion and times of stations are: what lies between is a shift
        of height and time alone."""
        slow = 1.0 / self.speed, 1.0 / self.back
        rows = np.stack(
            [np.diff(self.depth), self.hop, self.hop_dwell, self.settle, self.period, *slow], axis=1
        )
        scale = np.maximum(np.abs(rows).max(axis=0), np.finfo(float).tiny)
        rows = np.round(rows / (scale * ALIKE))
        # mostly a station is like the one before: sorted are those that are not
        starts = np.flatnonzero(np.append(True, (rows[1:] != rows[:-1]).any(axis=1)))
        found: Layers = np.unique(rows[starts], axis=0, return_inverse=True)[1].reshape(-1)
        return np.repeat(found, np.diff(np.append(starts, len(rows))))

    def alike(self, layers: Layers) -> bool:
        """Whether stations have one motion and one set of times."""
        return bool(np.all(self.kind[layers - 1] == self.kind[layers[0] - 1]))

    @cached_property
    def stretch(self) -> Layers:
        """Numbers (n,) that are equal where stations follow each other up from the one below and settle
        alike: what a station's motion is like, and for how long."""
        new = np.diff(self.depth) < 0
        unlike = np.diff(self.settle, prepend=self.settle[:1]) != 0
        return np.cumsum(new | np.append(False, new[:-1]) | unlike)

    def cut(self, count: int) -> Stations:
        """The first stations alone, at most `count`."""
        kept: dict[str, Any] = {f.name: getattr(self, f.name)[:count] for f in fields(self)}
        return Stations(**kept | {"depth": self.depth[: count + 1]})

    def walls(self, layers: Layers) -> tuple[slice, ...]:
        """Where among rising `layers` (l,) those of each object stand."""
        first = self.first[np.maximum(layers, 1) - 1]
        cuts = [0, *(np.flatnonzero(np.diff(first)) + 1), layers.size]
        return tuple(slice(int(a), int(b)) for a, b in pairwise(cuts))

    def positions(self, layers: Layers) -> NDArray[np.intp]:
        """Where among rising `layers` (l,) the zero of each stands: the first station of its object, of the
        first object the first of `layers`."""
        first = self.first[np.maximum(layers, 1) - 1]
        return np.where(first == 1, 0, np.searchsorted(layers, first))


def stations(runs: Sequence[LayerRun]) -> Stations:
    """The stations of runs of layers, from the first on."""
    parts = [{"depth": np.array([-runs[0].thickness])}]
    bed = down = clock = 0.0
    first = next_one = 1
    for run in runs:
        if run.new_object and next_one > 1:
            bed, down, first = 0.0, -runs[0].thickness, next_one
        steps = np.arange(1.0, run.count + 1)
        lower = steps - 1 if next_one == 1 else steps  # station 1 is where depth counts from
        part = _alike(run) | {
            "z": bed + steps * run.thickness,
            "depth": down + lower * run.thickness,
            "middle": down + (lower - 0.5) * run.thickness,
            "begin": clock + (steps - 1) * run.period,
            "hop": np.where(steps % run.hop_every == 0, run.hop, 0.0),
            "first": np.full(run.count, first),
            "speed": np.full(run.count, np.inf),
            "back": np.full(run.count, np.inf),
        }
        bed, down, clock = float(part["z"][-1]), float(part["depth"][-1]), clock + run.count * run.period
        next_one += run.count
        parts.append(part)
    joined: dict[str, Any] = {
        f.name: np.concatenate([part[f.name] for part in parts if f.name in part]) for f in fields(Stations)
    }
    return Stations(**joined)


def _alike(run: LayerRun) -> dict[str, Any]:
    """What all layers of a run have in common."""
    keys = ("thickness", "period", "settle", "hop_dwell")
    return {key: np.full(run.count, getattr(run, key)) for key in keys}
