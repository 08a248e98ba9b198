"""Slow deviations of many machines' contacts from one machine that was stepped in full.

The machine in full, the nominal, tells the path that every contact travels in a layer: increments D_s of its
bristle rows while the bed is driven, and path lengths while it rings down.  Another machine that differs in
its imposed extensions alone has contacts that travel D_s and a slow deviation besides.  With psi, d, g the
deviations of deflection, of the place of the row and of g = psi - d from the nominal's,

    d = d_imposed - L g              rest of the modes under what imperfections differ by (`contact_space.py`)
    psi' = d' - psi |w'| - phi (|w'| - |n'|)

where w' is the member's speed at the contact, n' and phi the nominal's speed and deflection: the difference
of two bristles' laws.  Between two nodes d moves evenly; with X and Y the integrals of |w'| and of
phi (|w'| - |n'|) over samples of the nominal's path,

    psi1 = psi0 exp(-X) + (d1 - d0 - Y) (1 - exp(-X))/X

and d1 follows from it through L: a few rounds.  At rest w' = n', so the whole ring-down is one linear map
psi1 = R psi0 that all members share: dg = -diag(dX) psi, dpsi = (1 - L) dg along the nominal's path.

Limits: deviations have no inertia, which is that machines vibrate alike; L is that of stuck contacts without
stops and plain nuts.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from bedsim.engines.contact_space import ContactSpace, after
from bedsim.engines.layer_integrator import Trail
from bedsim.engines.modes import Real, Rows, Working
from bedsim.engines.step_control import INSTANT

Array = NDArray[np.float64]

INTERVALS = 3  # between two nodes, of every piece of the motion
SAMPLES = 4  # of the nominal's path in an interval, at most
ROUNDS = 3
PARTS = 0.05  # breakaways: longest step along the path of a ring-down
LEAST_PATH = Real(1e-9)  # breakaways


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """What the nominal's contacts travel between two nodes, in s samples: `moved` (b, s, 1), `share` (s, 1)
    of the time, and `weigh` (c, k, s), which sums lengths (c, s, m) to X and, for every direction, to Y
    beside `own` (c, k, 1)."""

    moved: Working
    share: Working
    weigh: Working
    own: Working


@dataclass(frozen=True, slots=True, kw_only=True)
class DrivenPath:
    """The nominal's path while driven: `time` (k+1,) s of the nodes and the intervals between them; `resting`
    (b, b): what becomes of psi while it rings down."""

    time: Array
    intervals: tuple[Interval, ...]
    resting: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Deviation:
    """Deviations (b, m) of deflections, of places of the rows and of g."""

    psi: Array
    place: Array
    g: Array


def driven_paths(
    space: ContactSpace, trail: Trail, phi: Array, breaks: Array, intervals: int = INTERVALS
) -> list[DrivenPath]:
    """The paths of the first k members of a trail from deflections `phi` (b, k) on; `breaks` s: the ends of
    the pieces of the motion, its beginning first, with so many `intervals` in each."""
    count = phi.shape[1]
    resting = [ring_down(space, trail.path[driven_steps(trail, breaks) :, :, k]) for k in range(count)]
    return joined_paths(space.rows, trail, phi, breaks, resting, intervals)


def joined_paths(
    rows: Rows,
    trail: Trail,
    phi: Array,
    breaks: Array,
    resting: Iterable[Array],
    intervals: int = INTERVALS,
) -> list[DrivenPath]:
    """Likewise with what becomes of psi at rest, of each."""
    driven, count = driven_steps(trail, breaks), phi.shape[1]
    moved = trail.moved[:driven, :, :count]
    phis = np.empty_like(moved)  # in the middle of the steps
    for i, by in enumerate(moved):
        phis[i] = after(rows, phi, by / 2)
        phi = after(rows, phis[i], by / 2)
    time = np.concatenate([[0.0], trail.time])
    nodes = _nodes(time[: driven + 1], breaks, intervals)
    return [
        DrivenPath(
            time=time[nodes],
            intervals=tuple(_interval(rows, moved[a:e, :, k], phis[a:e, :, k]) for a, e in pairwise(nodes)),
            resting=rest,
        )
        for k, rest in enumerate(resting)
    ]


def driven_steps(trail: Trail, breaks: Array) -> int:
    """How many steps of a trail are driven."""
    return int(np.searchsorted(trail.time, breaks[-1] + INSTANT))


def _nodes(time: Array, breaks: Array, intervals: int) -> list[int]:
    """Steps after which a node stands: the ends of the pieces, and between them."""
    ends = [int(np.argmin(np.abs(time - at))) for at in breaks]
    found = [0]
    for a, e in pairwise(ends):
        found += [round(a + (e - a) * (i + 1) / intervals) for i in range(intervals)]
    return sorted(set(found))


def _interval(rows: Rows, moved: Array, phi: Array) -> Interval:
    """An interval of some steps (t, b): sums of a few steps are a sample."""
    c, pairs = rows.contacts, rows.bristles - rows.contacts
    count = min(SAMPLES, len(moved))
    cuts = np.linspace(0, len(moved), count + 1).round().astype(int)[:-1]
    steps = np.diff(np.append(cuts, len(moved)))
    by = np.add.reduceat(moved, cuts, axis=0).T  # (b, s)
    at = (np.add.reduceat(phi, cuts, axis=0) / steps[:, None]).T
    weigh = np.ones((c, 3 if pairs else 2, count))
    weigh[:, 1] = at[:c]
    if pairs:
        weigh[:pairs, 2] = at[c:]
    square = by * by
    square[:pairs] += square[c:]
    own = weigh @ np.sqrt(square[:c])[..., None]
    own[:, 0] = 0.0
    return Interval(
        moved=by[..., None].astype(Real),
        share=(steps[:, None] / len(moved)).astype(Real),
        weigh=weigh.astype(Real),
        own=own.astype(Real),
    )


def ring_down(space: ContactSpace, paths: Array) -> Array:
    """What becomes of psi (b, b) along path lengths (t, c): midpoint rule in parts of `PARTS` at most."""
    rows = space.rows
    b = rows.bristles
    found, slack = np.eye(b), np.eye(b) - space.compliance
    for path in _gathered(paths):
        times = max(1, int(np.ceil(path.max(initial=0.0) / PARTS)))
        step = slack * (rows.every(path) / times)
        for _ in range(times):
            slipped = step @ found
            found = found - slipped + step @ slipped / 2
    return found


def _gathered(paths: Array) -> Array:
    """Path lengths (i, c) of steps (t, c) put together to about `PARTS`."""
    if not paths.size:
        return paths
    part = np.floor(np.cumsum(paths.max(axis=1)) / PARTS)
    return np.add.reduceat(paths, np.flatnonzero(np.diff(part, prepend=-1.0)), axis=0)


def march(
    space: ContactSpace, path: DrivenPath, start: Deviation, imposed: Working, rounds: int = ROUNDS
) -> tuple[list[Array], Deviation]:
    """Deviations of members along the nominal's path with `imposed` (k+1, b, m) places of the rows under
    what their imperfections differ by, at the nodes: g (b, m) at every node, and the end of the ring-down;
    `rounds` for the balance of an interval."""
    L = space.compliance.astype(Real)
    psi, place, g = (np.asarray(x, dtype=Real) for x in (start.psi, start.place, start.g))
    seen = [g]
    for interval, known in zip(path.intervals, imposed[1:], strict=True):
        new = known - L @ g
        for _ in range(rounds):
            there = new
            bristle = _after(space, interval, psi, there - place)
            new = known - L @ (bristle - there)
        # what the last round leaves of the balance is made up for in the next interval
        psi, place, g = bristle, there, bristle - there
        seen.append(g)
    end = path.resting @ psi
    slack = np.eye(space.rows.bristles) - space.compliance
    last = g + np.linalg.solve(slack, end - psi)
    return [x.astype(float) for x in seen], Deviation(psi=end, place=end - last, g=last)


def _after(space: ContactSpace, interval: Interval, psi: Working, moved: Working) -> Working:
    """psi (b, m) after an interval in which places deviate by `moved` (b, m) more."""
    rows = space.rows
    c, pairs = rows.contacts, rows.bristles - rows.contacts
    square = interval.moved + moved[:, None] * interval.share
    square *= square
    square[:pairs] += square[c:]
    length = np.sqrt(square[:c], out=square[:c])
    sums = interval.weigh @ length
    sums -= interval.own
    x = sums[:, 0] + LEAST_PATH
    gone = -np.expm1(
        -x
    )  # members may stand where the nominal moves: no difference from 1 in single precision
    decay, mean = 1 - gone, gone / x
    y = np.concatenate([sums[:, 1], sums[:pairs, 2]]) if pairs else sums[:, 1]
    return np.asarray(psi * rows.every(decay) + (moved - y) * rows.every(mean))
