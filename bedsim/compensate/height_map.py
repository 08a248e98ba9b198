"""Why a height map changes: what a turn of one screw, an error of homing and another height do to it.

A map is the height of the bed against its commanded place over the plate, at one height of the machine
and one attitude of its screws.  Levelling lifts a corner, which is wanted; it also turns that corner's
screw, and lead, run-out and motor are met at another angle, which is not.  An error of homing turns all
screws alike.  Frictionless machine; what friction adds between probing upwards and printing downwards is
told from two runs.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from bedsim.compensate.printed import RestingMachine
from bedsim.engines import base
from bedsim.results.layers import Array, LayerResult
from bedsim.scenario.load import LoadedScenario
from bedsim.units import MM

GRID = 9
"""Places along each edge of the plate."""
TURN_STEPS = 24
"""Places of a whole turn that are tried."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnedScrew:
    """A corner's screw turned while levelling by `by` m: largest change of the map m, beside the plane
    that is wanted; `any_turn`: between any two attitudes of that screw."""

    corner: str
    by: float
    change: float
    any_turn: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HeightMaps:
    """The map at layer 1 and what changes it, m.

    `x`, `y` (g,) m; `map`, and its changes `by_screw` (of the screw that changes it most, by a quarter
    turn), `by_homing` (all screws by a quarter turn) and `by_height` (at the height where it departs
    most): (g, g). `screws`; `homing`: the doubt of homing, m, with `homing_change` m, and `homing_any` m,
    between any two attitudes; `height` (l,) m of the bed below layer 1 with `change` (l,): the largest
    change of the map over the plate; `within` m, and `true_for` m: how far the bed may go until the map
    is off by more (infinite where it never is in this print); `reversal` m: probed going up against
    printed going down, at layer 1.
    """

    x: Array
    y: Array
    map: Array
    by_screw: Array
    by_homing: Array
    by_height: Array
    quarter: str
    far: float
    screws: tuple[TurnedScrew, ...]
    homing: float
    homing_change: float
    homing_any: float
    height: Array
    change: Array
    within: float
    true_for: float
    reversal: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plate:
    rest: RestingMachine
    maps: Array  # (g*g, b)

    def at(self, by: Array | None = None) -> Array:
        """Heights (l, g*g) m over the plate."""
        return self.rest.pose(by) @ self.maps.T


def height_maps(
    loaded: LoadedScenario,
    rest: RestingMachine,
    *,
    homing: float,
    levelling: float,
    within: float,
    sides: tuple[LayerResult, LayerResult] | None,
) -> HeightMaps:
    """Work the map out; `homing`, `levelling` m: errors that are told; `within` m: how far off it may be;
    `sides`: runs that reach layers from either side, where there are any."""
    bed = loaded.scenario.bed
    x, y = (np.linspace(-0.5, 0.5, GRID) * side * MM for side in (bed.size_x_mm, bed.size_y_mm))
    places = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    plate = _Plate(rest=rest, maps=base.probe_maps(rest.job.machine, places)[0])
    leads = np.array([c.screw.lead_mm for c in loaded.scenario.corner]) * MM
    here = plate.at()
    screws, turns = [], []
    for c, corner in enumerate(loaded.scenario.corner):
        alone = np.where(np.arange(leads.size) == c, 1.0, 0.0)
        ring = _turned_round(plate, alone * leads[c])
        turns.append(ring[TURN_STEPS // 4] - here[0])
        screws.append(
            TurnedScrew(
                corner=corner.name,
                by=levelling,
                change=float(np.abs(plate.at(alone * levelling)[0] - here[0]).max()),
                any_turn=float(np.ptp(ring, axis=0).max()),
            )
        )
    worst = int(np.argmax([s.any_turn for s in screws]))
    ring = _turned_round(plate, leads)
    change = np.abs(here - here[:1]).max(axis=1)
    far = int(np.argmax(change))
    depth = rest.job.program.stations.depth[rest.linear.layers]
    square = (GRID, GRID)
    return HeightMaps(
        x=x,
        y=y,
        map=here[0].reshape(square),
        by_screw=turns[worst].reshape(square),
        by_homing=(ring[TURN_STEPS // 4] - here[0]).reshape(square),
        by_height=(here[far] - here[0]).reshape(square),
        quarter=screws[worst].corner,
        far=float(depth[far]),
        screws=tuple(screws),
        homing=homing,
        homing_change=max(_change(plate, here[0], s * homing, leads.size) for s in (1.0, -1.0)),
        homing_any=float(np.ptp(ring, axis=0).max()),
        height=depth,
        change=change,
        within=within,
        true_for=_first_beyond(depth, change, within),
        reversal=math.nan if sides is None else _between(sides),
    )


def _turned_round(plate: _Plate, turn: Array) -> Array:
    """Maps (t, g*g) of layer 1 over a whole turn, `turn` (c,) m of nut travel."""
    return np.stack([plate.at(turn * k / TURN_STEPS)[0] for k in range(TURN_STEPS)])


def _change(plate: _Plate, now: Array, by: float, corners: int) -> float:
    return float(np.abs(plate.at(np.full(corners, by))[0] - now).max())


def _first_beyond(depth: Array, change: Array, within: float) -> float:
    """Depth of the first layer at which the map is off by more than `within`."""
    off = np.flatnonzero(change > within)
    return float(depth[off[0]]) if off.size else math.inf


def _between(sides: tuple[LayerResult, LayerResult]) -> float:
    one, other = (run.height_raw[0] for run in sides)
    return float(np.abs(one - other).max())
