"""What a machine can take off, way by way, and what is then left of the print, from runs with friction.

Moves of the nozzle leave the bed's motion as it is, so what they leave is the run's own error less the
move; new heights of motors move the bed, so the print is run again with them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bedsim.analysis.figures import height_extent
from bedsim.analysis.metrics import peak_to_valley, widest
from bedsim.compensate.correction import (
    Correction,
    corner_heights,
    in_steps,
    moves_in_steps,
    sideways,
    stepped_extents,
)
from bedsim.compensate.printed import Progress, at_heights, other_side, printed
from bedsim.engines.base import Job
from bedsim.errors import BedsimError
from bedsim.model.convert import make_motor, mount_points
from bedsim.results.layers import Array, LayerResult
from bedsim.scenario.load import LoadedScenario
from bedsim.units import MM

POINTS_PER_LEAD = 12
"""Points of a table over height: straight lines between them miss a sine by up to (pi/12)^2/2 = 3.4 % of its
amplitude (derived).  Our choice."""

AS_IT_IS, HEIGHT, MOTORS = "as it is", "height", "single motors"
OVER = ("over height, one table", "over height, two tables")

Stage = Callable[[int, str], AbstractContextManager[Progress]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Remains:
    """What a print still shows, m: sideways and in height peak to valley and the largest error of a
    layer's thickness, each at its worst place; `stepped`, `stepped_worst`: sideways with X and Y in
    whole steps, for a line in the middle of where it may lie between two steps and for the worst."""

    lateral: float
    stepped: float
    stepped_worst: float
    height: float
    thickness: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftCause:
    """One cause of what is left, m, peak to valley of it alone at its worst place."""

    name: str
    lateral: float
    height: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One way to take errors off: `name`, `words` (what is set), what is `left` and why; `refused`: why this
    machine has no such way, `left` then being None."""

    name: str
    words: str
    left: Remains | None
    causes: tuple[LeftCause, ...] = ()
    refused: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Base:
    """The print as it is, what its correction is counted from, and the step (m) of X and Y."""

    loaded: LoadedScenario
    job: Job
    layers: LayerResult
    step: float

    @property
    def zero(self) -> NDArray[np.intp]:
        """Where the zero of each layer stands."""
        return self.job.machine.stations.positions(self.layers.layer)

    @property
    def whole(self) -> Correction:
        """Shift and turn, layer by layer."""
        return sideways(self.layers.pose_raw, self.layers.print_height, self.zero)

    @property
    def centre(self) -> Array:
        """The part's centre (2,) m."""
        job = self.loaded.scenario.print
        return np.array([job.part_x_mm, job.part_y_mm]) * MM

    @property
    def shift(self) -> Correction:
        """The shift alone that is right at the part's centre."""
        return self.whole.shift_at(self.centre)

    @property
    def heights(self) -> Array:
        """How far each mount (l, c) m stands too high."""
        return corner_heights(self.layers.pose_raw, self.zero, mount_points(self.loaded.scenario)[:, :2])

    @property
    def common(self) -> Array:
        """How far the bed (l,) m stands too high under the part's centre."""
        return corner_heights(self.layers.pose_raw, self.zero, self.centre[None])[:, 0]

    @property
    def microstep(self) -> Array:
        """Height (c,) m of a microstep of each screw."""
        motors = [(make_motor(c.motor), c.screw.lead_mm * MM) for c in self.loaded.scenario.corner]
        return np.array([lead * m.microstep / m.gear / (2 * np.pi) for m, lead in motors])


def base_run(loaded: LoadedScenario, job: Job, step: float, progress: Progress) -> Base:
    """Run the print as it is."""
    return Base(loaded=loaded, job=job, layers=printed(loaded, job, progress), step=step)


def remains(base: Base, moves: Array | None = None, layers: LayerResult | None = None) -> Remains:
    """What is left of a run (the base's own by default) where the nozzle goes by `moves` (l, p, 2) m."""
    run = layers or base.layers
    left = run.lateral_error if moves is None else run.lateral_error - moves
    plain = float(widest(run.print_height, left).max())
    middle, worst = (
        (plain, plain) if moves is None else stepped_extents(run.print_height, moves, left, base.step)
    )
    return Remains(
        lateral=plain,
        stepped=middle,
        stepped_worst=worst,
        height=float(height_extent(run).max()),
        thickness=float(np.abs(run.thickness_error).max()),
    )


def software_moves(base: Base) -> Array:
    """How far the nozzle goes (l, p, 2) m by a table of shift and turn, X and Y in whole steps: at every
    place the line that shows the middle (`moves_in_steps`)."""
    run, moves = base.layers, base.whole.moves(base.layers.probe_position)
    return moves_in_steps(run.print_height, moves, run.lateral_error - moves, base.step)


# ---- the ways -------------------------------------------------------------------------------------------


def ways(base: Base, other: LayerResult | str, stage: Stage) -> tuple[Way, ...]:
    """All of them, the machine as it is first; `other`: the print reached from the other side, or why
    there is none."""
    places = base.layers.probe_position
    one, whole = base.shift.moves(places), base.whole.moves(places)
    return (
        Way(name=AS_IT_IS, words="nothing is taken off", left=remains(base)),
        Way(
            name="shift",
            words="one shift in X and Y per layer, right at the part's centre",
            left=remains(base, one),
            causes=_causes(base, ("turn of the bed, which a shift does not follow", whole - one)),
        ),
        Way(
            name="shift and turn",
            words="three numbers per layer: X, Y and a turn",
            left=remains(base, whole),
            causes=_causes(base),
        ),
        *_lifting(base, stage),
        _height_map(base),
        *_over_height(base, other),
    )


def _causes(base: Base, *parts: tuple[str, Array]) -> tuple[LeftCause, ...]:
    """Sideways parts (l, p, 2) with the steps of X and Y, and the height that no move in the plane
    reaches."""
    top = base.layers.print_height
    found = [LeftCause(name=n, lateral=float(widest(top, x).max()), height=0.0) for n, x in parts]
    if base.step > 0:
        found.append(LeftCause(name="steps of X and Y, at most", lateral=2**0.5 * base.step, height=0.0))
    height = float(height_extent(base.layers).max())
    return (*found, LeftCause(name="height, which X and Y do not reach", lateral=0.0, height=height))


def _lifting(base: Base, stage: Stage) -> list[Way]:
    """Heights common to all motors, as a Z word sets them, and of single motors, in whole microsteps."""
    step = base.microstep
    names = (
        (HEIGHT, "one height per layer for all motors, in whole microsteps (the Z word)"),
        (MOTORS, "a height per motor and layer, in whole microsteps"),
    )
    if np.unique(base.job.machine.stations.first).size > 1:
        why = "heights are told for one object: another begins at the same heights again"
        return [Way(name=n, words=w, left=None, refused=why) for n, w in names]
    common = np.repeat(base.common[:, None], step.size, axis=1)
    found = [_lifted(base, *names[0], common, stage)]
    if base.job.machine.coordinates.shared_motor:
        why = "one motor drives all screws"
        return [*found, Way(name=names[1][0], words=names[1][1], left=None, refused=why)]
    return [*found, _lifted(base, *names[1], base.heights, stage)]


def whole_microsteps(base: Base, high: Array) -> Array:
    """What motors are set to (l, c) m, in whole microsteps, where the bed stands too high by `high` (l,
    c) m."""
    return np.stack([in_steps(-h, s) for h, s in zip(high.T, base.microstep, strict=True)], axis=1)


def _lifted(base: Base, name: str, words: str, high: Array, stage: Stage) -> Way:
    told = whole_microsteps(base, high)
    with stage(base.job.program.layers, name) as progress:
        try:
            run = printed(base.loaded, at_heights(base.job, told), progress)
        except BedsimError as fault:
            return Way(name=name, words=words, left=None, refused=str(fault))
    left = remains(base, layers=run)
    rounded = float(peak_to_valley(told + high).max())
    tilt = base.heights - high
    parts = [("whole microsteps, at a screw", rounded)]
    if tilt.any():
        parts.append(("tilt of the bed, which one height does not follow", float(peak_to_valley(tilt).max())))
    causes = [LeftCause(name=n, lateral=0.0, height=h) for n, h in parts]
    sideways_left = LeftCause(name="sideways, for which there is no motor", lateral=left.lateral, height=0.0)
    return Way(name=name, words=words, left=left, causes=(*causes, sideways_left))


def _height_map(base: Base) -> Way:
    """A map taken at the bed is one for all layers: it takes the first layer's error off and leaves every
    difference between layers."""
    first = float(np.ptp(base.layers.height_raw[0]))
    words = "a height map taken at the bed, the same for all layers"
    return Way(
        name="height map",
        words=words,
        left=remains(base),
        causes=(
            LeftCause(name="taken off the first layer, over the bed", lateral=0.0, height=first),
            LeftCause(
                name="all that changes with height",
                lateral=float(widest(base.layers.print_height, base.layers.lateral_error).max()),
                height=float(height_extent(base.layers).max()),
            ),
        ),
    )


def at_points(top: Array, values: Array, spacing: float) -> Array:
    """Values (l,) over tops (l,) m as a table of points `spacing` m apart gives them, straight between."""
    nodes = np.arange(top[0], top[-1] + spacing, spacing)
    return np.interp(top, nodes, np.interp(nodes, top, values))


def from_other_side(base: Base, progress: Progress) -> LayerResult | str:
    """The print with every layer reached from the other side; a sentence where that cannot be run."""
    try:
        return printed(base.loaded, other_side(base.job), progress)
    except BedsimError as fault:
        return str(fault)


def _over_height(base: Base, other: LayerResult | str) -> list[Way]:
    """X and Y against the commanded height, as controllers hold them: one table for both directions of
    travel, or one for each."""
    words = (
        "a table of X and Y over height, one for both directions of travel (their mean)",
        "such a table for each direction of travel",
    )
    if np.unique(base.job.machine.stations.first).size > 1:
        other = "a table over height is told for one object"
        return [Way(name=n, words=w, left=None, refused=other) for n, w in zip(OVER, words, strict=True)]
    both = _table(base, OVER[1], words[1], base.shift)
    if isinstance(other, str):
        return [Way(name=OVER[0], words=words[0], left=None, refused=other), both]
    back = replace(base, layers=other).shift
    mean = Correction(
        a=(base.shift.a + back.a) / 2, b=(base.shift.b + back.b) / 2, turn=np.zeros_like(back.turn)
    )
    return [_table(base, OVER[0], words[0], mean), both]


def _table(base: Base, name: str, words: str, table: Correction) -> Way:
    """A table as its points give it, against the shift that is right."""
    top, places = base.layers.print_height, base.layers.probe_position
    spacing = min(c.screw.lead_mm for c in base.loaded.scenario.corner) * MM / POINTS_PER_LEAD
    told = Correction(a=at_points(top, table.a, spacing), b=at_points(top, table.b, spacing), turn=table.turn)
    causes = _causes(
        base,
        ("turn of the bed, which a shift does not follow", (base.whole - base.shift).moves(places)),
        ("the other direction of travel", (base.shift - table).moves(places)),
        (f"straight lines between {POINTS_PER_LEAD} points per lead", (table - told).moves(places)),
    )
    kept = tuple(c for c in causes if c.lateral > 0 or c.height > 0)
    return Way(name=name, words=words, left=remains(base, told.moves(places)), causes=kept)


# ---- by what makes it -----------------------------------------------------------------------------------


def shift_leaves(base: Base, poses: Mapping[str, Array]) -> tuple[LeftCause, ...]:
    """What each cause of the machine alone leaves sideways after a shift that is right at the part's
    centre, and what friction and vibration do, largest first; `poses`: raw (l, b) by cause, without
    friction."""
    top, places = base.layers.print_height, base.layers.probe_position
    rest = base.layers.pose_raw - sum(poses.values(), np.zeros_like(base.layers.pose_raw))
    found = []
    for name, pose in {**poses, "friction and vibration": rest}.items():
        own = sideways(pose, top, base.zero)
        left = (own - own.shift_at(base.centre)).moves(places)
        found.append(LeftCause(name=name, lateral=float(widest(top, left).max()), height=0.0))
    return tuple(sorted(found, key=lambda c: -c.lateral))
