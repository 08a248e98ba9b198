"""The walls of a part's own program: what the bed does where they stand, layer by layer and all around.

The six numbers of the bed's pose give the error at every point of an outline, in one product per layer; no
probe stands for another place.  With n the wall's outward normal at a point p of layer k, h its thickness,
w the line's width:

    relief = -n . d_xy(p, k) + w/(2 h) (d_z(p, k) - d_z(p, k-1))

as of any wall (`wall_relief`), each layer against the first of its object.  Where an outline changes from
layer to layer its points are matched by their share of the way around, from the point nearest to the last
layer's first; what stands out then is the bed's part alone, the part's own shape is taken off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bedsim.engines.base import probe_maps
from bedsim.model.assembly import Machine
from bedsim.model.build import build_machine
from bedsim.program.laid import Laid
from bedsim.results.layers import Array, LayerResult
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.part_program import origin_mm
from bedsim.units import DEG, MM
from bedsim.wall.light import bead_share
from bedsim.wall.relief import width_per_height

POINTS = 96  # around an outline
FEWEST = 3  # layers of a wall that is looked at
MOST_WALLS = 12  # the largest of a plate
OVERLAP = 0.5  # share of the smaller box that loops of one wall share
PLACES = 7  # each way, where the part is tried on the bed
TRIED_LAYERS = 400
NOTICEABLE = 1.05
SIDES = (("+X", 0.0), ("+Y", 90.0), ("-X", 180.0), ("-Y", -90.0))
NEAR = 20.0  # degrees from a side's normal within which a wall faces it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OutlineWall:
    """One wall around: `layer` (n,) counted from 1, `top` (n,) m and `thickness` (n,) m of its layers;
    `place` (n, s, 2) m on the bed, `normal` (n, s, 2) outward; `relief` (n, s) m, outward positive, and
    `thickness_error` (n, s) m of the layer where it is printed; `way` (s,) m around, of the middle
    layer."""

    layer: Array
    top: Array
    thickness: Array
    place: Array
    normal: Array
    relief: Array
    thickness_error: Array
    way: Array

    @property
    def length(self) -> float:
        """Of the way once around, m."""
        return float(self.way[-1] + self.way[1])

    @property
    def edges(self) -> Array:
        """Heights (n + 1,) m between which its layers stand."""
        return np.append(self.top[0] - self.thickness[0], self.top)

    @property
    def sides(self) -> list[tuple[str, int]]:
        """Names of the sides that it faces, with the point in the middle of each, by its index."""
        middle = self.normal[len(self.normal) // 2]
        angle = np.arctan2(middle[:, 1], middle[:, 0]) / DEG
        found = []
        for name, at in SIDES:
            inside = np.flatnonzero(np.abs((angle - at + 180.0) % 360.0 - 180.0) < NEAR)
            if inside.size:
                found.append((name, int(inside[np.argmin(np.abs(inside - np.median(inside)))])))
        return found

    def light(self, incidence: float) -> Array:
        """Light (n, s) in parts of a plain wall's, as `gentle_light` has it: 1 - slope tan i times the share
        that beads leave, for gentle slopes."""
        slope = np.gradient(self.relief, self.top - self.thickness / 2, axis=0)
        return np.asarray(np.maximum(1.0 - slope * np.tan(incidence) * bead_share(incidence), 0.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class WorstStretch:
    """Where relief changes most within one lead: of `wall`, layers `first` to `last` and the point `around`
    by their indices, the lowest and highest relief, `size` m apart."""

    wall: OutlineWall
    first: int
    last: int
    around: int
    size: float

    @property
    def heights(self) -> tuple[float, float]:
        """Between which tops m it lies."""
        return float(self.wall.top[self.first]), float(self.wall.top[self.last])

    @property
    def facing(self) -> str:
        """The side, by its outward normal."""
        x, y = self.wall.normal[self.first, self.around]
        angle = float(np.arctan2(y, x) / DEG)
        for name, at in (("+X", 0.0), ("+Y", 90.0), ("-X", 180.0), ("-X", -180.0), ("-Y", -90.0)):
            if abs(angle - at) < 10.0:
                return name
        return f"{angle:.0f}°"


def outline_walls(layers: LayerResult, loaded: LoadedScenario) -> list[OutlineWall]:
    """The walls of the program that a run has printed, the largest first; none without a program or
    outlines."""
    laid = loaded.scenario.print.laid
    if laid is None:
        return []
    machine = build_machine(loaded.scenario, loaded.tables, side_torque=False)
    origin = np.array(origin_mm(loaded.scenario.print.model_dump(), loaded.scenario.bed.model_dump()))
    width = loaded.scenario.print.line_width_mm * MM
    return [
        _wall(layers, machine, laid, np.array(numbers), (np.array(points) + origin) * MM, width)
        for numbers, points in _chains(laid)
    ]


def _chains(laid: Laid) -> list[tuple[list[int], list[Array]]]:
    """Outlines that stand on each other: layers from 1 and their points (s, 2) mm, the largest wall first."""
    open_ones: list[tuple[list[int], list[Array]]] = []
    done: list[tuple[list[int], list[Array]]] = []
    for layer in range(1, laid.count + 1):
        if laid.first[layer - 1] == layer:
            done, open_ones = done + open_ones, []
        for loop in laid.loops(layer):
            if len(loop) < 3:
                continue
            under = next((c for c in open_ones if c[0][-1] < layer and _overlap(c[1][-1], loop)), None)
            if under is None:
                under = ([], [])
                open_ones.append(under)
            under[0].append(layer)
            under[1].append(_around(loop, under[1][-1][0] if under[1] else None))
    every = [c for c in (*done, *open_ones) if len(c[0]) >= FEWEST]
    return sorted(every, key=lambda c: -len(c[0]) * float(np.ptp(c[1][0], axis=0).sum()))[:MOST_WALLS]


def _overlap(one: Array, other: Array) -> bool:
    low = np.maximum(one.min(axis=0), other.min(axis=0))
    high = np.minimum(one.max(axis=0), other.max(axis=0))
    both = float(np.prod(np.maximum(high - low, 0.0)))
    return both > OVERLAP * min(float(np.prod(np.ptp(p, axis=0))) for p in (one, other))


def _around(loop: Array, near: Array | None) -> Array:
    """Points (s, 2) at even ways around, counter-clockwise from the one nearest to `near`, or from the
    front."""
    a, b = loop, np.roll(loop, -1, axis=0)
    if np.sum(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) < 0:
        loop = loop[::-1]
    closed = np.concatenate([loop, loop[:1]])
    way = np.append(0.0, np.cumsum(np.hypot(*np.diff(closed, axis=0).T)))
    at = np.arange(POINTS) / POINTS * way[-1]
    points = np.stack([np.interp(at, way, closed[:, k]) for k in range(2)], axis=1)
    far = points[:, 1] if near is None else np.hypot(*(points - near).T)
    return np.roll(points, -int(np.argmin(far)), axis=0)


def _wall(
    layers: LayerResult, machine: Machine, laid: Laid, numbers: Array, points: Array, width: float
) -> OutlineWall:
    """Relief of one wall from the poses of the bed at its layers."""
    index = numbers - 1
    forward = np.roll(points, -1, axis=1) - np.roll(points, 1, axis=1)
    normal = np.stack([forward[..., 1], -forward[..., 0]], axis=-1)
    normal = normal / np.maximum(np.linalg.norm(normal, axis=-1, keepdims=True), 1e-12)
    step = np.linalg.norm(np.diff(points[len(points) // 2], axis=0), axis=1)
    relief, error = _relief(layers, machine, laid, index, points, normal, width)
    return OutlineWall(
        layer=numbers,
        top=laid.height[index] * MM,
        thickness=laid.thickness[index] * MM,
        place=points,
        normal=normal,
        relief=relief,
        thickness_error=error,
        way=np.append(0.0, np.cumsum(step)),
    )


def _relief(
    layers: LayerResult,
    machine: Machine,
    laid: Laid,
    index: Array,
    points: Array,
    normal: Array,
    width: float,
) -> tuple[Array, Array]:
    """Relief and thickness error (n, s) m at points (n, s, 2) m of layers by their index."""
    n, s = points.shape[:2]
    zero = laid.first[index].astype(int) - 1
    pose = layers.pose_raw
    moved = pose[index] - pose[zero]
    step = np.where((index > zero)[:, None], pose[index] - pose[np.maximum(index - 1, 0)], 0.0)
    height, flat, abbe = probe_maps(machine, points.reshape(-1, 2))
    lateral = flat + np.repeat(laid.height[index] * MM, s)[:, None, None] * abbe
    d_xy = np.einsum("nskb,nb->nsk", lateral.reshape(n, s, 2, -1), moved)
    d_z = np.einsum("nsb,nb->ns", height.reshape(n, s, -1), step)
    slope = width_per_height(width, laid.thickness[index] * MM)
    relief = -np.einsum("nsk,nsk->ns", normal, d_xy) - 0.5 * np.asarray(slope)[:, None] * d_z
    return relief, -d_z


def worst_stretch(walls: Sequence[OutlineWall], lead: float) -> WorstStretch | None:
    """The largest change of relief within one `lead` m of height, of all walls; a smaller wall counts where
    it shows noticeably more."""
    found: WorstStretch | None = None
    for wall in walls:
        last = np.searchsorted(wall.top, wall.top + lead * (1 + 1e-9), side="right") - 1
        for first, end in enumerate(last):
            if end <= first or (first and end == last[first - 1]):
                continue
            reach = np.ptp(wall.relief[first : end + 1], axis=0)
            around = int(np.argmax(reach))
            if found is None or reach[around] > found.size * (1.0 if wall is found.wall else NOTICEABLE):
                column = wall.relief[first : end + 1, around]
                ends = sorted((first + int(np.argmin(column)), first + int(np.argmax(column))))
                found = WorstStretch(
                    wall=wall, first=ends[0], last=ends[1], around=around, size=float(reach[around])
                )
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class TriedPlaces:
    """What the part's walls would show with its centre at other places of the bed: `here`, `least` and
    `most` m from peak to valley, with the places (x, y) m of the centre of its box."""

    here: float
    least: float
    least_at: tuple[float, float]
    most: float
    most_at: tuple[float, float]


def tried_places(
    layers: LayerResult, loaded: LoadedScenario, walls: Sequence[OutlineWall]
) -> TriedPlaces | None:
    """The part moved over the bed as far as it fits, on the poses of this run: that its weight then stands
    elsewhere is left out.  None where it fits nowhere else."""
    laid = loaded.scenario.print.laid
    if laid is None or not walls:
        return None
    machine = build_machine(loaded.scenario, loaded.tables, side_torque=False)
    width = loaded.scenario.print.line_width_mm * MM
    low = np.min([w.place.min(axis=(0, 1)) for w in walls], axis=0)
    high = np.max([w.place.max(axis=(0, 1)) for w in walls], axis=0)
    half = np.array([loaded.scenario.bed.size_x_mm, loaded.scenario.bed.size_y_mm]) * MM / 2
    room = np.stack([-half - low, half - high])
    if np.any(room[0] > 0) or np.any(room[1] < 0) or np.all(room[1] - room[0] < MM):
        return None
    across, along = (np.linspace(room[0, k], room[1, k], PLACES) for k in range(2))
    shifts = [(float(x), float(y)) for x in across for y in along]
    shown = np.array([_shown(layers, machine, laid, walls, width, shift) for shift in [(0.0, 0.0), *shifts]])
    best, worst = int(np.argmin(shown[1:])), int(np.argmax(shown[1:]))
    middle = (low + high) / 2
    return TriedPlaces(
        here=float(shown[0]),
        least=float(shown[1 + best]),
        least_at=(float(middle[0] + shifts[best][0]), float(middle[1] + shifts[best][1])),
        most=float(shown[1 + worst]),
        most_at=(float(middle[0] + shifts[worst][0]), float(middle[1] + shifts[worst][1])),
    )


def _shown(
    layers: LayerResult,
    machine: Machine,
    laid: Laid,
    walls: Sequence[OutlineWall],
    width: float,
    shift: tuple[float, float],
) -> float:
    """Largest peak to valley m of any wall's relief with the part moved."""
    found = 0.0
    for wall in walls:
        few = slice(None, None, max(1, len(wall.layer) // TRIED_LAYERS))
        points, normal = wall.place[few, ::4] + np.array(shift), wall.normal[few, ::4]
        relief = _relief(layers, machine, laid, (wall.layer - 1)[few], points, normal, width)[0]
        found = max(found, float(np.ptp(relief, axis=0).max()))
    return found
