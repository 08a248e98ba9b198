"""The lateral error split twice: by what moves the carriages, and by how they move the bed.  Exact.

**Causes.**  A bent screw offers its nut a deflection and a slope, rows (deflection x, slope x, deflection y,
slope y) of its link: an imposed extension is the sum of both, and the linear machine's answer the sum of the
answers.  What a run-out imposes elsewhere (the torque of a side force on it) goes with its deflection.

**Paths.**  A carriage's small motion (t, w) at its guide's middle p is, exactly, the sum of a shift of p, a
tilt about p, a yaw about p and a vertical motion of p:

    t + w x r = s_xy + w_xy x (r - p) + w_z x (r - p) + s_z,      s = t + w x p.

A bed on mounts follows the carriages through the mounts' rows (and its own plate) alone,
K_bb q_bed = -K_bc q_carriages + weight + what is imposed on the mounts, so it follows each of the four with
-K_bb^-1 K_bc; what is left is the bed on its mounts itself: weight and heat growth.  A bolted bed is one body
with its carriages and has no such paths.

Between the two layers that make the peak-to-valley at the worst place, along the direction in which it is
worst, all parts add up to the whole.  With a run, what it has beyond the linear machine is the part friction
and vibration.  Derived.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from bedsim.analysis import linear_machine
from bedsim.analysis.metrics import WorstWall, worst_wall
from bedsim.analysis.printed import FLOOR, quantity
from bedsim.analysis.travel import whole_travel
from bedsim.analysis.worst_place import worst_places
from bedsim.components.frame import point_motion
from bedsim.components.row import CauseName
from bedsim.engines.base import Job
from bedsim.model.assembly import Machine
from bedsim.model.mount_kind import mount_kind
from bedsim.model.side_torque import RUN_OUT
from bedsim.results.layers import Array, LayerResult, Run
from bedsim.scenario.load import LoadedScenario
from bedsim.simulation import make_job, relative_errors
from bedsim.units import MM

OFFSET, SLOPE = "offset of the screws", "slope of the screws"
WEIGHT, FRICTION = "weight of the growing part", "friction and vibration"
LEAD = (CauseName.TRAVEL, CauseName.ONCE_PER_TURN, CauseName.WARM_UP)
SHIFT, TILT, YAW, VERTICAL = "shift at the guides", "tilt about the guides", "yaw", "rise and fall"
OWN, BOLTED = "bed on its mounts", "bed and carriages in one"
PATHS = (SHIFT, TILT, YAW, VERTICAL)

Key = TypeVar("Key")
Part = tuple[str, str]
"""Cause and path."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Split:
    """The lateral peak-to-valley (m) of the worst place in parts that add up to it.

    `parts`: signed, m, largest first; `arm`: mean height of the mounts above the guides, m, over which a tilt
    acts; `direction` degrees counter-clockwise from +X.
    """

    whole: float
    place: str
    direction: float
    parts: Mapping[Part, float]
    arm: float

    def of_cause(self, cause: str) -> float:
        """What a cause adds, by all paths, m."""
        return sum(v for (c, _), v in self.parts.items() if c == cause)

    def of_path(self, path: str) -> float:
        """What comes by a path, from all causes, m."""
        return sum(v for (_, p), v in self.parts.items() if p == path)

    @property
    def causes(self) -> Mapping[str, float]:
        """What every cause adds, m, largest first."""
        return _sorted({c: self.of_cause(c) for c, _ in self.parts})

    @property
    def cancelled(self) -> float:
        """How many times the whole is what its parts would be if none took off another; 1: nothing
        cancels."""
        return sum(abs(v) for v in self.parts.values()) / self.whole if self.whole else 1.0


def _sorted(parts: Mapping[Key, float]) -> dict[Key, float]:
    return dict(sorted(parts.items(), key=lambda item: -abs(item[1])))


def split_lateral(
    loaded: LoadedScenario,
    names: tuple[str, ...],
    places: Array,
    layers: LayerResult | None = None,
    *,
    sampled: bool = False,
) -> Split:
    """Split the lateral error of the linear machine at `places` (p, 2) m, or that of a run of it at its own
    probes, which must be the places.

    Nuts with play are taken as fitting.  `sampled`: by some layers of a tall print.  Raises ModelError for a
    machine that cannot be computed.
    """
    job = make_job(linear_machine.without_play(loaded))
    some = linear_machine.sampled_layers(job.program.layers) if sampled else None
    linear = linear_machine.linear_machine(job, some)
    moved = _by_cause(linear)
    maps = _path_maps(loaded, job.machine)
    bed = linear.observer.bed
    found: dict[Part, Array] = {}
    whole = np.zeros((linear.layers.size, places.shape[0], 2))
    job = Job(machine=job.machine, program=job.program, probes=places, amounts=job.amounts)
    for cause, q in moved.items():
        rest = q @ bed.T
        for path, follow in maps.items():
            own = q @ follow.T
            rest = rest - own
            found[cause, path] = relative_errors(job, linear.layers, own)["lateral_error"]
        found[cause, OWN if maps else BOLTED] = relative_errors(job, linear.layers, rest)["lateral_error"]
    whole = sum(found.values(), whole)
    if layers is not None:
        found[FRICTION, ""] = layers.lateral_error - whole
        whole = layers.lateral_error
    worst = worst_wall(whole, job.program.stations.walls(linear.layers))
    return _told(loaded, names, whole, worst, found)


def split_of_travel(loaded: LoadedScenario) -> Split:
    """The split of the linear machine over its whole travel, at the worst place of its plate."""
    tall = whole_travel(loaded)
    return split_lateral(tall, *worst_places(tall), sampled=True)


def split_of_run(run: Run, loaded: LoadedScenario) -> Split:
    """The split of a run at its own probes, friction and vibration included."""
    return split_lateral(loaded, run.layers.probe_name, run.layers.probe_position, run.layers)


def _told(
    loaded: LoadedScenario, names: tuple[str, ...], whole: Array, at: WorstWall, parts: Mapping[Part, Array]
) -> Split:
    arms = [c.mount.height_mm - c.guide.height_mm for c in loaded.scenario.corner]
    return Split(
        whole=at.between(whole),
        place=names[at.place],
        direction=float(np.degrees(np.arctan2(at.direction[1], at.direction[0]))),
        parts=_sorted({part: at.between(lateral) for part, lateral in parts.items()}),
        arm=float(np.mean(arms)) * MM,
    )


def _by_cause(linear: linear_machine.LinearMachine) -> dict[str, Array]:
    """Motions (l, n) that every cause makes alone; run-out by deflection and slope."""
    machine = linear.job.machine
    strengths: dict[str, Array] = {}
    for k in machine.active_sources:
        cause = machine.sources[k].cause
        name = OFFSET if cause in RUN_OUT else "lead" if cause in LEAD else cause
        strengths.setdefault(name, np.zeros(machine.amounts.size))[k] = machine.amounts[k]
    found = {WEIGHT: linear.weights @ linear.sag}
    if strengths:
        imposed = linear_machine.own_imposed(linear, np.array([*strengths.values()]))
        if OFFSET in strengths:
            at = [*strengths].index(OFFSET)
            slopes = np.zeros_like(imposed[at])
            rows = _slope_rows(machine)
            slopes[:, rows] = imposed[at][:, rows]
            imposed[at] -= slopes
            imposed = np.concatenate([imposed, slopes[None]])
        names = [*strengths, SLOPE][: imposed.shape[0]]
        found |= dict(zip(names, linear_machine.motions(linear, imposed, weight=False), strict=True))
    return found


def _slope_rows(machine: Machine) -> list[int]:
    """Rows of the slopes that the screws offer their nuts."""
    first = [machine.rows_at("screw", c).start for c in range(len(machine.corner_names))]
    return [start + k for start in first for k in (1, 3)]


def _path_maps(loaded: LoadedScenario, machine: Machine) -> dict[str, Array]:
    """How the bed (b, n) follows each part of the carriages' motion; nothing where a mount is bolted."""
    if any(mount_kind(corner.mount.kind).bolted for corner in loaded.scenario.corner):
        return {}
    links = [link for link in machine.links if link.part in ("mount", "plate")]
    size, bed = machine.coordinates.size, machine.coordinates.bed_size
    K = np.zeros((size, size))
    for link in links:
        K += link.jacobian.T @ np.asarray(link.stiffness) @ link.jacobian
    follow = -np.linalg.solve(K[:bed, :bed], K[:bed])
    found = {path: np.zeros((bed, machine.transform.shape[1])) for path in PATHS}
    for c, corner in enumerate(loaded.scenario.corner):
        first, guide = machine.coordinates.carriage(c), corner.guide
        middle = np.array([guide.offset_x_mm, guide.offset_y_mm, guide.height_mm]) * MM
        for path, part in _carriage_parts(middle).items():
            found[path] += follow[:, first : first + 6] @ part @ machine.transform[first : first + 6]
    return found


def _carriage_parts(p: Array) -> dict[str, Array]:
    """The four parts (6, 6) of a carriage's motion about a point p (3,) m; they add up to the motion."""
    at = point_motion(6, 0, p)  # (3, 6): s = t + w x p
    shift, tilt, yaw, vertical = np.zeros((4, 6, 6))
    shift[:2], vertical[2] = at[:2], at[2]
    back = at[:, 3:]  # w x p per rotation
    for part, axes in ((tilt, (0, 1)), (yaw, (2,))):
        for axis in axes:
            part[3 + axis, 3 + axis] = 1.0
            part[:3, 3 + axis] = -back[:, axis]
    return {SHIFT: shift, TILT: tilt, YAW: yaw, VERTICAL: vertical}


# ---- words --------------------------------------------------------------------------------------------


def split_lines(split: Split) -> list[str]:
    """The split as lines for a terminal: causes, with the paths of what matters."""
    if split.whole < FLOOR:
        return []
    head = (
        f"Where the sideways error comes from ({quantity(split.whole, 'm')} at {split.place}, along "
        f"{split.direction:.0f}°; parts add up):"
    )
    rows = [f"  {_name(part):<50}{_signed(value)}" for part, value in _shown(split).items()]
    return [head, *rows]


def _shown(split: Split) -> dict[Part, float]:
    """Parts above a hundredth of the whole, and one for all the rest."""
    told = {p: v for p, v in split.parts.items() if abs(v) >= max(0.01 * split.whole, FLOOR)}
    rest = split.whole - sum(told.values())
    return told | ({("all else", ""): rest} if abs(rest) >= FLOOR else {})


def _name(part: Part) -> str:
    return ", ".join(text for text in part if text)


def _signed(value: float) -> str:
    return f"{'-' if value < 0 else '+'}{quantity(abs(value), 'm')}"


def why(split: Split) -> str:
    """One sentence: the largest cause and how it reaches the bed, and what takes part of it off again."""
    if split.whole < FLOOR:
        return "nothing to speak of is left"
    (cause, path), largest = next(iter(split.parts.items()))
    text = f"the {cause}{_by(path, split)}: {quantity(abs(largest), 'm')}"
    more = abs(largest) > split.whole
    text += (
        f", of which {quantity(split.whole, 'm')} is left" if more else f" of {quantity(split.whole, 'm')}"
    )
    against = [(p, v) for p, v in split.parts.items() if v * largest < 0 and abs(v) > 0.1 * split.whole]
    if against:
        part, value = against[0]
        text += f"; the {part[0]}{_by(part[1], split)} takes {quantity(abs(value), 'm')} off"
    return text


def _by(path: str, split: Split) -> str:
    words = {
        SHIFT: " shifts the carriages at their guides",
        TILT: f" tilts the carriages, over the {abs(split.arm) / MM:.0f} mm from guide to mount",
        YAW: " turns the carriages",
        VERTICAL: " raises and lowers the carriages",
        OWN: " acts on the bed itself",
        BOLTED: " moves the bed with its carriages",
    }
    return words.get(path, "")
