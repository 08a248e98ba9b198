"""Integration over a stretch of time: equal steps, exact in the modes, implicit in the contact forces.

A stretch is 8 to 32 steps with one table.  What is integrated is, mode by mode (`modes.py`),

    eta'' + 2 d eta' + w^2 eta = known(t) - p(t),      p = g @ push

where g are the forces of all that the modes do not carry: bristles, dampers, elastic elements.  Nodes are
the ends of the steps.

1. Interpolation.  Over a step 0 < s < 1 p is the cubic Hermite polynomial of its values and rates at both
   nodes,

       p = p0 + r0 s + e (3 s^2 - 2 s^3) + f (s^3 - s^2),      e = p1 - p0 - r0,  f = r1 - r0

   and the response of the modes to it is exact for any step (`exponential.step`).  The only error of a step
   is that of the interpolant.
2. Rates.  A bristle's rate is its law, g' = -|zeta'| phi beside the commanded slip; an elastic row's is its
   slope times its speed; a damper's the slope of the parabola through three nodes.  But for dampers the
   method is one of single steps: forces may have a kink at every node, as friction has at reversals.
3. Bristle update, in breakaway travels: the exact law along the path X of the step at a constant direction
   D,

       phi1 = phi0 exp(-X) + D (1 - exp(-X))/X

   X by Simpson's rule on the speeds at both nodes and at three places between them on the cubic through
   them.
4. Predictor and corrector.  At the node ahead g and g' are extrapolated along a parabola.  What they exceed
   that by moves the modes (`Tables.new`), by third order in the step; a fixed-point iteration returns it to
   places and speeds of the rows until no force changes by more than the tolerance. Were the speeds not
   corrected too, long steps would feed energy into fast modes.

What rows cause within a stretch is worked out in single precision: it adds to a motion that is known in
double precision, and moves the outcome by less than 1e-4 um (tests/agreement).  Shapes: n modes, z rows, b
bristles of c contacts, m members, which stand on the last axis, where arithmetic is quickest.  Matrix
tables of members at layers of their own have an axis for them in front.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import step_error
from bedsim.engines.known_forcing import KnownForcing
from bedsim.engines.modes import Real, Rows, Working, mixed
from bedsim.engines.step_tables import Tables, apply
from bedsim.engines.workspace import Workspace

Array = NDArray[np.float64]

ONE = Real(1.0)
# What X sums the lengths of, from the increment and the speeds at both nodes, times spacing/6: at 1/4, 1/2
# and 3/4 of the step and half of that at its end.  The second where the later node's speed stands first.
_WAY = np.array(
    [[0.375, 0.375, -0.625], [0.25, -0.25, -0.25], [0.375, -0.625, 0.375], [0, 0, 0.5]], dtype=Real
)
WAY = _WAY, np.ascontiguousarray(_WAY[:, [0, 2, 1]])
TRIES = 12  # most at one node: contacts that need more want a shorter step
RATE_SCALE = Real(-12.0)  # half a speed counts times spacing/6
# Forces, their rate and its change one step on along a parabola; and what exceeds the first two as predicted
AHEAD = np.array([[1, 1, 0.5, 1, 1.5], [0, 1, 1, 0, 2], [0, 0, 1, 0, 1]], dtype=Real)
LEAST_PATH = Real(1e-9)  # breakaways: keeps (1 - exp(-X))/X defined where nothing moves


@dataclass(frozen=True, slots=True, kw_only=True)
class ModalState:
    """State between two stretches: `motion` (2, n, m) eta and eta', bristle deflections phi (b, m), row
    forces g (z, m) and their rate (z, m) 1/s."""

    motion: Array
    phi: Array
    g: Array
    rate: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """A stretch: `stored` eta (k, n, m) after the `kept` steps, counted as it began, and its end.

    `impulse` (n, m): modal forces of the rows integrated, N s; `path` (c, m) of the contacts, breakaways;
    `error` m: estimated error of the steps at the probes, and `force_error` m: the part of it from
    interpolating the forces of dampers and elastic elements; `touched`: whether stops act; `taken`: steps,
    short of those asked for where the iteration at a node did not converge; `tries`: iterations in all.
    `places` (taken+1, b, m) of the bristles at the nodes and `paths` (taken, c, m) between them, in
    breakaways, last until the next stretch only; `slip` (taken, b, 1): commanded besides, if any.
    """

    stored: Working
    kept: list[int]
    end: ModalState
    impulse: Array
    path: Working
    error: Array
    force_error: Array
    touched: bool
    taken: int
    tries: int
    places: Working
    paths: Working
    slip: Working | None


def integrate(
    table: Tables,
    rows: Rows,
    known: KnownForcing,
    now: ModalState,
    count: int,
    stride: int,
    tolerance: float,
    weight: Working,
    room: Workspace,
) -> Outcome:
    """Integrate `count` steps from `now`, whose motion counts from where known forces at the beginning
    would hold it; every `stride`-th node is kept, the last among them.

    `tolerance`: of row forces, in breakaways (and 10 N); `weight` (p, z), or (m, z, p): what a unit of
    each moves the probes by at rest, m.
    """
    b = rows.bristles
    _initialise(table, rows, known, now, room)
    alone = table.acting == b
    kept: list[int] = []
    others = [room.g[b:] - room.dg[b:], room.g[b:].copy()]  # forces of dampers and elastic elements
    tries = k = 0
    while k < count:
        _predict(table, rows, known, room, k)
        tried, solved = _contacts(table, rows, known, room, k, tolerance, others)
        tries += tried
        if not solved:
            break
        _accept(room, k)
        k += 1
        if not alone:
            others.append(room.g[b:].copy())
        if (count - k) % stride == 0:
            room.kept[len(kept)] = room.here.y[0]
            kept.append(k)
    if rows.parts.present and alone:  # nobody has looked at elastic rows on the way
        offset = known.offset if known.move is None else known.offset[1 : k + 1]
        room.seen[1 : k + 1, 0, rows.bristles + rows.dampers :] += mixed(offset, known.mix)
    error, force_error = np.full(room.phi.shape[1], np.inf), np.zeros(room.phi.shape[1])
    if k == count:
        error = step_error.of_paths(rows, known, weight[:, : table.acting], room, k)
    if not alone:
        force_error = step_error.of_forces(weight[:, b : table.acting], rows.dampers, others[1:])
    return Outcome(
        stored=room.kept[: len(kept)],
        kept=kept,
        end=_end(table, rows, now, room) if k else now,
        impulse=_impulse(table, room, k),
        path=room.paths[:k].sum(axis=0),
        error=np.maximum(error, force_error),
        force_error=force_error,
        touched=not alone and not rows.clear(room.seen[1 : k + 1, 0, b + rows.dampers :]),
        taken=k,
        tries=tries,
        places=room.seen[: k + 1, 0, :b],
        paths=room.paths[:k],
        slip=None if known.move is None else known.slip[:k],
    )


def _initialise(table: Tables, rows: Rows, known: KnownForcing, now: ModalState, room: Workspace) -> None:
    """Motion, forces and rates at the first node."""
    w, b = table.acting, rows.bristles
    room.narrow(w)
    here, phi = room.here, room.phi
    here.y[0], here.y[1] = now.motion[0], now.motion[1] / table.scale
    apply(table.place, here.y, room.seen[0])
    if w > b:
        offset = mixed(known.offset[0], known.mix)
        room.steep = rows.steep_at(room.seen[0, 0, b + rows.dampers :] + offset).astype(Real)
    if known.move is not None:
        room.speed[0] += known.slip_speed[0]
    room.ends[0] = room.speed[0]
    np.multiply(room.speed[0], 0.5, out=room.way[3])
    room.way[3] *= room.way[3]
    rows.lengths(room.way[3], room.earlier[3])
    phi[:], room.g[:], room.dg[:] = now.phi, now.g[:w], now.rate[:w] * table.spacing
    _bristle_rate(rows, known, room, room.earlier[3], phi, 0, room.dg)
    room.state[2] = 0.0
    here.excess[:] = 0.0
    apply(table.push, room.state, here.forces)
    # where bristles stand at the beginning does not matter to them, only how far they move from there
    np.subtract(phi, room.place[0], out=room.g[:b])
    np.subtract(now.g[:b], room.g[:b], out=room.began)
    np.multiply(room.g, 0.5, out=room.summed)
    room.summed += room.dg / 12


def _predict(table: Tables, rows: Rows, known: KnownForcing, room: Workspace, k: int) -> None:
    """Predict modes, and what rows see, one step ahead of node k; row forces on the parabola through what
    is known here."""
    here, ahead = room.here, room.ahead
    if table.place.ndim == 2:
        np.matmul(table.move, here.by_mode, out=ahead.y_by_mode)
    else:
        np.einsum("kanm,knm->anm", table.move, here.all, out=ahead.y)
    if known.move is not None:
        ahead.y += mixed(known.move[k], known.mix)
    np.matmul(AHEAD, here.flat, out=ahead.flat_forces)
    apply(table.place, ahead.y, room.seen[k + 1])
    if known.move is not None:
        room.speed[k + 1] += known.slip_speed[k + 1]
    room.ends[(k + 1) % 2] = room.speed[k + 1]
    if table.acting > rows.bristles and rows.parts.present:
        which, at = 0 if known.move is None else k + 1, rows.bristles + rows.dampers
        room.seen[k + 1, 0, at:] += mixed(known.offset[which], known.mix)
        room.seen[k + 1, 1, at:] += mixed(known.offset_speed[which], known.mix)
    np.matmul(AHEAD[:2, :3], room.flat_state, out=room.flat_predicted)


def _contacts(
    table: Tables,
    rows: Rows,
    known: KnownForcing,
    room: Workspace,
    k: int,
    tolerance: float,
    others: list[Working],
) -> tuple[int, bool]:
    """Iterate the row forces one step ahead of node k: the number of iterations, and whether they
    converged. `others`: forces of dampers and elastic elements at the nodes so far."""
    b, d, excess = rows.bristles, rows.dampers, room.excess
    e, t = b + d, b + d + 2 * rows.parts.gap.size
    seen, place = room.seen[k + 1], room.place[k + 1]
    for attempt in range(TRIES):
        _bristles(rows, room, k, None if known.move is None else known.slip[k])
        np.subtract(room.found, place, out=excess[0, :b])
        _bristle_rate(rows, known, room, room.lengths[3], room.found, k + 1, excess[1])
        if table.acting > b:
            if d:
                excess[0, b:e] = rows.dampers_of(seen, table.scale)
                # the slope at its end of the parabola through three nodes
                excess[1, b:e] = 1.5 * excess[0, b:e] - 2.0 * others[-1][:d] + 0.5 * others[-2][:d]
            excess[:, e:] = rows.elastic_of(seen)
            excess[1, e:] *= 6
            clear = t > e and not excess[0, e:t].any()
        excess -= room.predicted
        apply(table.push, excess, room.ahead.excess)
        np.einsum("kanm,knm->anm", table.new, room.ahead.excess, out=room.late)
        room.moved, room.before = room.before, room.moved
        apply(table.place, room.late, room.moved)
        change = np.subtract(room.moved, room.before, out=room.before) if attempt else room.moved
        seen -= change
        room.ends[(k + 1) % 2] = room.speed[k + 1]
        size = np.abs(change[0, : table.acting], out=room.size)
        if table.acting > b:
            if d:
                np.abs(change[1, b:e] * table.scale, out=size[b:e])
            size *= room.steep
            if clear and rows.clear(seen[0, e:]):
                size[e:t] = 0.0  # where stops are not touched they may be anywhere
        if np.maximum.reduce(size, axis=None) <= tolerance:
            return attempt + 1, True
    return TRIES, False


def _accept(room: Workspace, k: int) -> None:
    """Advance from node k to the one ahead."""
    ahead = room.ahead
    ahead.y -= room.late
    room.motions[k + 1] = ahead.y[0]
    np.add(room.predicted, room.excess, out=room.state[:2])
    room.state[2] += room.excess[1]
    room.summed += room.g
    room.phi[:] = room.found
    room.paths[k] = room.path
    room.lengths, room.earlier = room.earlier, room.lengths
    room.here, room.ahead = ahead, room.here


def _impulse(table: Tables, room: Workspace, k: int) -> Array:
    """Modal forces (n, m) of the rows integrated over k steps, N s: cubics between the nodes."""
    total = room.summed - room.g / 2 - room.dg / 12
    total[: room.began.shape[0]] += k * room.began
    return table.spacing * apply(table.push, total, np.empty_like(room.late[0])).astype(float)


def _end(table: Tables, rows: Rows, now: ModalState, room: Workspace) -> ModalState:
    """The state at the last node, for the next stretch; this one began as `now`."""
    b = rows.bristles
    idle = np.zeros((now.g.shape[0] - table.acting, now.g.shape[1]))
    motion = room.here.y.astype(float)
    motion[1] *= table.scale
    return ModalState(
        motion=motion,
        phi=room.phi.astype(float),
        g=np.concatenate([room.g[:b] + room.began, room.g[b:], idle]),
        rate=np.concatenate([room.dg / table.spacing, idle]),
    )


def _bristle_rate(
    rows: Rows, known: KnownForcing, room: Workspace, length: Working, phi: Working, k: int, out: Working
) -> None:
    """Change of g over a step at its rate at node k, in `out`: g' = -|zeta'| phi beside the commanded
    slip; `length` (c, m) is |zeta'| spacing/12."""
    c, b = rows.contacts, rows.bristles
    np.multiply(length, RATE_SCALE, out=room.turn)
    np.multiply(phi[:c], room.turn, out=out[:c])
    np.multiply(phi[c:], room.turn[: b - c], out=out[c:b])
    if known.move is not None:
        out[:b] += 6 * known.slip_speed[k]


def _bristles(rows: Rows, room: Workspace, k: int, slip: Working | None) -> None:
    """Bristle deflections one step ahead of node k by the exact law along the path; `slip` (b, 1) is
    commanded besides."""
    increment, path, decay, mean = room.increment, room.path, room.decay, room.mean
    np.subtract(room.place[k + 1], room.place[k], out=increment)
    if slip is not None:
        increment += slip
    np.matmul(WAY[k % 2], room.travel, out=room.flat_way)
    room.way *= room.way
    rows.lengths(room.way, room.lengths)
    np.add.reduce(room.lengths, axis=0, out=path)
    path += room.earlier[3]
    path += LEAST_PATH
    np.negative(path, out=decay)
    np.exp(decay, out=decay)
    np.subtract(ONE, decay, out=mean)
    mean /= path
    if rows.bristles > rows.contacts:
        room.second[:] = room.first
    room.factor *= room.now
    np.add(room.factor[0], room.factor[1], out=room.found)
