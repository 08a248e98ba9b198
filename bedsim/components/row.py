"""The one idea that carries the assembly: a link of labelled rows.

    extension_r(q, t) = J_r q - imposed_r(t)        force on q = -J_r^T (k_r extension_r + c_r d/dt
    extension_r)

A part returns links (compliance), contacts (friction, one-sided stops) and sources (imperfections).  An
imperfection is only ever an imposed extension: it never enters a stiffness, so one factorisation serves every
screw quality.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Stiffness = Callable[[Array, Array], Array]
LinkPart = Literal["axial", "belt", "guide", "joint", "load", "motor", "mount", "plate", "screw"]


class CauseName:
    """What `Source.cause` says of the imperfections that bedsim knows; a kind from outside may say others."""

    RUN_OUT = "run-out"
    COUPLING = "coupling"
    TRAVEL = "travel deviation"
    ONCE_PER_TURN = "once-per-turn travel"
    WARM_UP = "screw warm-up"
    ALIGNMENT = "alignment"
    STRAIGHTNESS = "guide straightness"
    BORE = "nut bore"
    HEAT = "heat growth"
    MOTOR = "motor"
    PULLEY = "belt pulley"


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """A compliant connection of m rows.

    `jacobian` (m, size); `stiffness` (m, m), or a function of the nut's position on the screw (layers,) m and
    of the corner's load (layers,) N that returns (layers, m, m); `damping` (m, m) explicit row dampers.  N/m
    for displacement rows, N m/rad for rotation rows.  `beside` kg hangs on the corner's screw but does not
    load this connection.  `part`: which of a corner's connections it is.
    """

    name: str
    corner: int
    jacobian: Array
    stiffness: Array | Stiffness
    damping: Array | None = None
    beside: float = 0.0
    part: LinkPart | None = None

    @property
    def rows(self) -> int:
        """Number of rows."""
        return self.jacobian.shape[0]

    def stiffness_at(self, nut_position: Array, load: Array) -> Array:
        """Stiffness (layers, m, m) with the nut at `nut_position` (layers,) m under `load` (layers,) N."""
        if callable(self.stiffness):
            return self.stiffness(nut_position, load)
        return np.broadcast_to(self.stiffness, (nut_position.size, *self.stiffness.shape))


def stiffness_of_all(links: Sequence[Link], position: Array, load: Array, gravity: float) -> list[Array]:
    """Stiffness (layers, m, m), or (m, m), of every link with the nuts at `position` (layers, c) m on their
    screws and `load` (layers, c) N hanging on these.

    Links of one stiffness, those of equal screws, ask for it together: the work is in the asking.
    """
    alike: dict[Any, list[int]] = {}
    for k, link in enumerate(links):
        if callable(link.stiffness):
            alike.setdefault(link.stiffness, []).append(k)
    found: list[Any] = [link.stiffness for link in links]
    for law, some in alike.items():
        at = [position[:, links[k].corner] for k in some]
        own = [load[:, links[k].corner] - links[k].beside * gravity for k in some]
        every = law(np.concatenate(at), np.concatenate(own))
        for k, values in zip(some, np.split(every, len(some)), strict=True):
            found[k] = values
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Push:
    """A row without stiffness: what is imposed on it is a generalised force itself, N or N m.

    `jacobian` (1, size): the motion along which it pushes.
    """

    name: str
    corner: int
    jacobian: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Friction:
    """A friction pair in one direction or in a plane, ruled by the bristle law of `friction.py`.

    `jacobian` (d, size), d = 1 or 2: relative displacement of the pair; `command` (d,): what the pair moves
    by per metre of commanded height of its corner; `coefficient` times the normal load, plus `constant`, is
    the friction force (N, or N m for a rotation): normal load = `load_share` x corner load + `preload`.
    `part`: which of a corner's connections it rubs in.
    """

    name: str
    corner: int
    jacobian: Array
    command: Array
    breakaway: float
    constant: float = 0.0
    coefficient: float = 0.0
    load_share: float = 0.0
    preload: float = 0.0
    part: LinkPart | None = None

    def limit(self, corner_load: Array) -> Array:
        """Friction force at sliding (layers,) for the corner's load (layers,) N."""
        return self.constant + self.coefficient * np.maximum(
            self.load_share * corner_load + self.preload, 0.0
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """A one-sided radial stop: no force within `gap` m of the centre, `stiffness` N/m beyond.

    `jacobian` (2, size); the imposed extension is `imposed_map` (2, m) times that of the m rows of the link
    `imposed_link`.
    """

    name: str
    corner: int
    jacobian: Array
    gap: float
    stiffness: float
    imposed_link: str | None = None
    imposed_map: Array | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Flank:
    """The loaded flank of a plain thread with radial play: sideways motion makes the nut climb, see `nut.py`.

    `jacobian` (3, size): sideways x, y of nut against shaft, and the axial row of the same corner (link
    `axial_link`). `slope`: tangent of the flank angle; `rounding` m: below it the flank's own elasticity
    smooths the cone.
    """

    name: str
    corner: int
    jacobian: Array
    slope: float
    rounding: float
    axial_link: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Path:
    """Where the machine is commanded to be: instants (t,), heights per corner (t, corners).

    `height` is z_cmd against layer 1 (0, then negative); `move_start`, `move_end` (t, corners) are the
    resting heights between which the current move runs, and `time` (t,) s counts from the start of the print.
    """

    time: Array
    height: Array
    move_start: Array
    move_end: Array


def one_path(paths: Sequence[Path]) -> Path:
    """Paths one after the other."""
    return Path(**{f.name: np.concatenate([getattr(p, f.name) for p in paths]) for f in fields(Path)})


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """One imperfection with unit strength: what it adds to the imposed extensions of a link.

    `values(path)` returns (t, m) for the m rows of `link`, then of the links and pushes of `also`; a link
    name of "offset" means an imposed offset of the full coordinates themselves (rigid connections), m = size.
    `amount` is the strength of this machine, in the unit that makes `amount * values` an extension (a force
    on a push); a batch of machines differs in amounts alone.
    `order`: of a motor's place error, cycles in four full steps.  `turn_unit`: once per turn along the
    screw's own X, what a band of the lead's length is told in.
    """

    cause: str
    corner: int
    link: str
    amount: float
    values: Callable[[Path], Array]
    name: str = ""
    also: tuple[str, ...] = ()
    order: int | None = None
    turn_unit: bool = False


def standing(path: Path, rows: Array) -> Array:
    """Extensions (t, m) that neither turn nor change: `rows` (m,) at every instant."""
    return np.broadcast_to(rows, (path.time.size, rows.size))


def resting_path(time: Array | float, height: Array) -> Path:
    """A path at rest at `height` (t, c), or (c,) for one instant."""
    at = np.atleast_2d(np.asarray(height, dtype=float))
    return Path(time=np.atleast_1d(time), height=at, move_start=at, move_end=at)
