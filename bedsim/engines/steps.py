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
   that by moves the rows through a small matrix (`Tables.local`), of third order in the step; a
   fixed-point iteration returns it to places and speeds of the rows until no force changes by more than
   the tolerance. Left out of the speeds, it would make long steps feed energy to quick modes.

What rows cause within a stretch is worked out in single precision: it adds to a motion that is known in
double precision, and moves the outcome by less than 1e-4 um (tests/agreement).  Shapes: n modes, z rows, b
bristles of c contacts, m members, which stand on the last axis, where arithmetic is quickest.  Matrix
tables of members at layers of their own have an axis for them in front.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import exponential
from bedsim.engines.modes import LayerModes, Real, Rows, Working, mixed

Array = NDArray[np.float64]

ONE = Real(1.0)
# What X sums the lengths of, from the increment and the speeds at both nodes, times spacing/6: at 1/4, 1/2
# and 3/4 of the step and half of that at its end.  The second where the later node's speed stands first.
_WAY = np.array(
    [[0.375, 0.375, -0.625], [0.25, -0.25, -0.25], [0.375, -0.625, 0.375], [0, 0, 0.5]], dtype=Real
)
WAY = _WAY, np.ascontiguousarray(_WAY[:, [0, 2, 1]])
FINER = 1 / 4  # of what every other node alone would miss, Simpson's rule on all nodes and middles misses
THIRD = 1 / 24  # of a third difference: what a parabola through the nodes misses of a cubic at most
FOURTH = 1 / 384  # of a fourth: what the cubic with values and rates at both ends misses of a quartic at most
TRIES = 12  # most at one node: contacts that need more want a shorter step
RATE_SCALE = Real(-12.0)  # half a speed counts times spacing/6
# Forces, their rate and its change one step on along a parabola; and what exceeds the first two as predicted
AHEAD = np.array([[1, 1, 0.5, 1, 1.5], [0, 1, 1, 0, 2], [0, 0, 1, 0, 1]], dtype=Real)
LEAST_PATH = Real(1e-9)  # breakaways: keeps (1 - exp(-X))/X defined where nothing moves


@dataclass(frozen=True, slots=True, kw_only=True)
class Tables:
    """Response of the modes to one step of `spacing` s; speeds count times spacing/6 = 1/`scale`.

    The first w = `acting` rows act: bristles alone, or all z.
    """

    acting: int
    spacing: float
    scale: float
    move: Working  # (n, 2, 7), or (7, 2, n, m): to what a `Node` holds
    new: Working  # (2, 2, n, s): to what force and rate at the node ahead exceed their prediction by
    place: Working  # (z, n), or (m, n, z)
    push: Working  # (n, w), or (m, w, n)
    local: Working  # (2 w - d, 2 w), or (m, 2 w, 2 w - d): what rows see of these excesses (`Rows.shift`)


def tables(layer: LayerModes, spacing: float, acting: int) -> Tables:
    """Tables for steps of `spacing` s in which the first `acting` rows act."""
    rows, b, d = layer.rows, layer.rows.bristles, layer.rows.dampers
    frequency, damping = layer.frequency, layer.damping
    scale = 6 / spacing
    wd = exponential.damped(frequency, damping)
    power, hold, ramp, square, cube = exponential.step(frequency, damping, spacing)
    value, rate = 3 * square - 2 * cube, cube - square  # to what a cubic has at its end beyond a line

    def motion(u: NDArray[np.complex128]) -> Array:
        return _motion(layer, u, scale)

    new = np.stack([motion(value), motion(rate)])
    push = rows.push[:, :acting]
    local = []
    for eta, speed in new:
        seen = (push * eta[:, None]) @ rows.place[..., :acting]
        fast = (push * speed[:, None]) @ rows.place[..., :acting]
        if acting > b:
            seen[..., b : b + d] = scale * fast[..., b : b + d]
        local.append(np.concatenate([seen, fast[..., :b], fast[..., b + d :]], axis=2))
    to_eta, to_speed = motion(power * (1 - 1j * damping / wd)), motion(power * (-1j * scale / wd))
    late = [-(to_eta * x[0] + to_speed * x[1]) for x in new]  # an excess counts from the next step on
    now = [motion(hold), motion(ramp), motion(square) / 2]
    # a node's own forces are those predicted and what exceeds them
    move = np.stack([to_eta, to_speed, *(-x for x in now), late[0] - now[0], late[1] - now[1] - now[2]])
    one = frequency.shape[0] == 1
    return Tables(
        acting=acting,
        spacing=spacing,
        scale=scale,
        move=np.ascontiguousarray(np.transpose(move[:, :, 0], (2, 1, 0)), dtype=Real) if one else _last(move),
        new=_last(new),
        place=matrix(rows.place),
        push=matrix(push),
        local=matrix(np.concatenate(local, axis=1)),
    )


def answers(layer: LayerModes, spacing: float, spaces: int) -> Working:
    """Response of the modes (spaces+1, 2, n, s) over a step of `spacing` s to known forces at equally
    spaced instants of it, by the parabola through each three of them.  `spaces` is even; speeds count as in
    `tables`."""
    pairs = spaces // 2
    power, hold, ramp, square, _ = exponential.step(layer.frequency, layer.damping, spacing / pairs)
    found = np.zeros((spaces + 1, *power.shape), dtype=complex)
    for pair in range(pairs):
        on = power ** (pairs - 1 - pair)
        found[2 * pair] += on * (hold - 3 * ramp + 2 * square)
        found[2 * pair + 1] += on * (4 * ramp - 4 * square)
        found[2 * pair + 2] += on * (2 * square - ramp)
    return _last(np.moveaxis(_motion(layer, found, 6 / spacing), 0, 1))


def _motion(layer: LayerModes, u: NDArray[np.complex128], scale: float) -> Array:
    """Motions (2, ..., s, n) of complex amplitudes (..., s, n), speeds divided by `scale`."""
    eta, speed = exponential.motion(u, layer.frequency, layer.damping)
    return np.stack([eta, speed / scale])


def _last(x: Array) -> Working:
    """A table of modes (..., s, n) with n before s."""
    return np.ascontiguousarray(np.moveaxis(x, -2, -1), dtype=Real)


def matrix(x: NDArray[Any]) -> Working:
    """A matrix table (i, j) that all members share, or (m, j, i), of matrices x (s, j, i)."""
    return np.ascontiguousarray(x[0].T if x.shape[0] == 1 else x, dtype=Real)


def apply(table: NDArray[Any], x: NDArray[Any], out: NDArray[Any]) -> NDArray[Any]:
    """Products (..., i, m) of a matrix table with x (..., j, m)."""
    if table.ndim == 2:
        return np.matmul(table, x, out=out)
    three = (-1, *x.shape[-2:])
    turned = np.ascontiguousarray(x.reshape(three).transpose(2, 0, 1)) @ table
    np.copyto(out.reshape(-1, *out.shape[-2:]), turned.transpose(1, 2, 0))
    return out


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownForcing:
    """Known forcing of a stretch of t steps, of r computed cases that members are a `mix` (r, m) of, or of
    the members themselves.

    At rest nothing moves and one `offset` stands for all nodes.
    """

    move: Working | None  # (t, 2, n, r): motion that known forces add over each step
    slip: Working  # (t, b, 1): commanded over each step, breakaways
    slip_speed: Working  # (t+1, b, 1): at the nodes, in the tables' scale
    offset: Working  # (t+1, e, r), or (1, e, r): to what elastic rows see at the nodes
    offset_speed: Working  # the same for their speeds, in the tables' scale
    mix: Working | None


def constant_forcing(bristles: int, offset: Array) -> KnownForcing:
    """KnownForcing forcing that does not change, with the `offset` (e, m) of elastic rows."""
    none = np.zeros((0, bristles, 1), dtype=Real)
    at = offset[None].astype(Real)
    return KnownForcing(
        move=None, slip=none, slip_speed=none, offset=at, offset_speed=np.zeros_like(at), mix=None
    )


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


class Node:
    """A node as the step before predicted it: motion `y`; modal `forces`, their change over a step at
    their rate there, and how that changed since the node before; `excess` of forces and rate over the
    prediction."""

    def __init__(self, n: int, members: int) -> None:
        self.all = np.zeros((7, n, members), dtype=Real)
        self.y, self.forces, self.excess = self.all[:2], self.all[2:5], self.all[5:]
        self.by_mode, self.y_by_mode = self.all.transpose(1, 0, 2), self.y.transpose(1, 0, 2)
        self.spread = self.all[:, None]
        self.flat, self.flat_forces = self.all[2:].reshape(5, -1), self.forces.reshape(3, -1)


class Workspace:
    """Preallocated arrays for the steps of one stretch and the views that each step takes: fresh memory
    and fresh views cost more here than the arithmetic in them."""

    def __init__(self, members: int, steps: int, sizes: tuple[int, int, int, int]) -> None:
        c, b, z, n = sizes

        def room(*shape: int) -> Working:
            return np.zeros((*shape, members), dtype=Real)

        self.here, self.ahead = Node(n, members), Node(n, members)
        self.terms, self.late = room(7, 2, n), room(n)
        self.kept = room(steps, n)
        self.seen = room(steps + 1, 2, z)
        self.steep = np.ones((z, 1), dtype=Real)
        self.place, self.speed = list(self.seen[:, 0, :b]), list(self.seen[:, 1, :b])
        self.found, self.turn, self.began = room(b), room(c), room(b)
        self.rows = room(8 * z + 3 * 2 * z)
        self.narrow(z, z)
        # deflection, increment and the speeds at both nodes; the last three make the path
        law = room(4, b)
        self.now, self.phi, self.increment, self.ends = law[:2], law[0], law[1], law[2:]
        self.travel = law[1:].reshape(3, -1)
        self.way = room(4, b)
        self.flat_way = self.way.reshape(4, -1)
        self.lengths, self.earlier = room(2, 4, c)
        # what becomes of deflection and increment, and that by contacts and directions
        self.factor = room(2, b)
        self.decay, self.mean = self.factor[:, :c]
        self.first, self.second = self.factor[:, : b - c], self.factor[:, c:]
        self.path = room(c)
        self.paths = room(steps, c)
        self.coarse = room(2, steps + 1, b)

    def narrow(self, w: int, seen: int) -> None:
        """Let the first w rows act, of which so many places and speeds are seen."""
        # forces, their change over a step at their rate now, and by how much that changed; the first two as
        # predicted ahead, and by how much they exceed that; forces summed; what rows see of the excess
        room = self.rows[: 8 * w].reshape(8, w, -1)
        self.state, self.predicted, self.excess, self.summed = room[:3], room[3:5], room[5:7], room[7]
        room = self.rows[-3 * seen :].reshape(3, seen, -1)
        self.moved, self.before, self.size = room
        self.g, self.dg, _ = self.state
        self.flat_state, self.flat_predicted = self.state.reshape(3, -1), self.predicted.reshape(2, -1)
        self.both = self.excess.reshape(2 * w, -1)


@lru_cache(maxsize=16)
def workspace(members: int, steps: int, sizes: tuple[int, int, int, int], thread: int) -> Workspace:
    """Arrays for so many members and steps, (contacts, bristles, rows, modes); one set for each `thread`."""
    return Workspace(members, steps, sizes)


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
        _accept(table, room, k)
        k += 1
        if not alone:
            others.append(room.g[b:].copy())
        if (count - k) % stride == 0:
            _corrected(table, room, 0, room.kept[len(kept)])
            kept.append(k)
    if rows.parts.present and alone:  # nobody has looked at elastic rows on the way
        offset = known.offset if known.move is None else known.offset[1 : k + 1]
        room.seen[1 : k + 1, 0, rows.bristles + rows.dampers :] += mixed(offset, known.mix)
    error, force_error = np.full(room.phi.shape[1], np.inf), np.zeros(room.phi.shape[1])
    if k == count:
        error = _path_error(rows, known, weight[:, : table.acting], room, k)
    if not alone:
        force_error = _force_error(weight[:, b : table.acting], rows.dampers, others[1:])
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
    )


def _initialise(table: Tables, rows: Rows, known: KnownForcing, now: ModalState, room: Workspace) -> None:
    """Motion, forces and rates at the first node."""
    w, b = table.acting, rows.bristles
    room.narrow(w, table.local.shape[-2] if table.local.ndim == 2 else table.local.shape[-1])
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
        np.multiply(table.move, here.spread, out=room.terms)
        np.add.reduce(room.terms, axis=0, out=ahead.y)
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
            excess[0, b:e] = rows.dampers_of(seen, table.scale)
            # the slope at its end of the parabola through three nodes
            excess[1, b:e] = 1.5 * excess[0, b:e] - 2.0 * others[-1][:d] + 0.5 * others[-2][:d]
            excess[:, e:] = rows.elastic_of(seen)
            excess[1, e:] *= 6
            clear = not excess[0, e:t].any()
        excess -= room.predicted
        room.moved, room.before = room.before, room.moved
        apply(table.local, room.both, room.moved)
        change = np.subtract(room.moved, room.before, out=room.before) if attempt else room.moved
        rows.shift(seen, change, table.acting, table.scale)
        room.ends[(k + 1) % 2] = room.speed[k + 1]
        size = np.abs(change[: table.acting], out=room.size[: table.acting])
        if table.acting > b:
            size *= room.steep
            if clear and rows.clear(seen[0, e:]):
                size[e:t] = 0.0  # where stops are not touched they may be anywhere
        if np.maximum.reduce(size, axis=None) <= tolerance:
            return attempt + 1, True
    return TRIES, False


def _accept(table: Tables, room: Workspace, k: int) -> None:
    """Advance from node k to the one ahead."""
    ahead = room.ahead
    apply(table.push, room.excess, ahead.excess)
    np.add(room.predicted, room.excess, out=room.state[:2])
    room.state[2] += room.excess[1]
    room.summed += room.g
    room.phi[:] = room.found
    room.paths[k] = room.path
    room.lengths, room.earlier = room.earlier, room.lengths
    room.here, room.ahead = ahead, room.here


def _corrected(table: Tables, room: Workspace, which: int, out: Working) -> None:
    """Positions (n, m) of the modes at this node, or their speeds: predicted, and corrected by the excess
    of the forces over their prediction."""
    here = room.here
    np.subtract(here.y[which], np.multiply(table.new[0, which], here.excess[0], out=room.late), out=out)
    out -= np.multiply(table.new[1, which], here.excess[1], out=room.late)


def _impulse(table: Tables, room: Workspace, k: int) -> Array:
    """Modal forces (n, m) of the rows integrated over k steps, N s: cubics between the nodes."""
    total = room.summed - room.g / 2 - room.dg / 12
    total[: room.began.shape[0]] += k * room.began
    return table.spacing * apply(table.push, total, np.empty_like(room.late)).astype(float)


def _end(table: Tables, rows: Rows, now: ModalState, room: Workspace) -> ModalState:
    """The state at the last node, for the next stretch; this one began as `now`."""
    b = rows.bristles
    idle = np.zeros((now.g.shape[0] - table.acting, now.g.shape[1]))
    motion = np.empty_like(room.here.y)
    for which in (0, 1):
        _corrected(table, room, which, motion[which])
    return ModalState(
        motion=motion * np.array([[[1.0]], [[table.scale]]]),
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


def _force_error(weight: Working, dampers: int, forces: list[Working]) -> Array:
    """Estimated error (m,) at the probes, m, of interpolating forces (e, m) at the nodes: of dampers by
    parabolas, from third differences, and of elastic elements by cubics, from fourth."""
    force = np.array(forces)
    missed = [
        share * np.abs(np.diff(part, n=order, axis=0)).max(axis=0, initial=0.0)
        for part, order, share in ((force[:, :dampers], 3, THIRD), (force[:, dampers:], 4, FOURTH))
    ]
    return at_probes(np.abs(weight), np.concatenate(missed).astype(Real))


def at_probes(weight: Working, force: Working) -> Array:
    """The most that row forces (w, m) move any probe (m,), m."""
    probes = weight.shape[0] if weight.ndim == 2 else weight.shape[2]
    found = apply(weight, force, np.empty((probes, force.shape[1]), dtype=Real))
    return np.abs(found).max(axis=0, initial=0.0).astype(float)


def _path_error(rows: Rows, known: KnownForcing, weight: Working, room: Workspace, k: int) -> Array:
    """Estimated error (m,) of the last k steps' paths at the probes, m.

    Paths by Simpson's rule change by dX over two steps where the node between them is left out, and
    bristles by -phi dX; the steps themselves have `FINER` of that error.  Errors of opposite sign may
    cancel by chance: the estimate is the sum over the steps, or the root of the sum of squares if that is
    more.
    """
    if k % 2:
        return np.zeros(room.phi.shape[1])
    change = _path_change(rows, known, room, k)
    found = np.zeros(room.phi.shape[1])
    for path, power in ((change.sum(axis=0), 1), ((change * change).sum(axis=0), 2)):
        missed = np.zeros((weight.shape[1], path.shape[1]), dtype=Real)
        missed[: rows.bristles] = (FINER * room.phi) ** power * rows.every(path)
        np.maximum(found, at_probes(weight**power, missed) ** (1 / power), out=found)
    return found


def _path_change(rows: Rows, known: KnownForcing, room: Workspace, k: int) -> Working:
    """By how much paths (k/2, c, m) over two steps change if the node between them is left out."""
    b, c, half = rows.bristles, rows.contacts, k // 2
    square, work = room.coarse[:, : half + 1]
    speed = room.seen[: k + 1 : 2, 1, :b]
    np.multiply(speed, speed, out=square)
    length = room.coarse[1, : half + 1, :c]
    rows.lengths(square, length)
    path = 2 * (length[1:] + length[:-1]) - room.paths[:k:2] - room.paths[1:k:2]
    place = room.seen[: k + 1 : 2, 0, :b]
    middle = np.subtract(place[1:], place[:-1], out=square[1:])
    if known.move is not None:
        middle += known.slip[:k:2] + known.slip[1:k:2]
    middle -= np.multiply(2.0, speed[1:], out=work[1:])
    middle -= np.multiply(2.0, speed[:-1], out=work[1:])
    middle *= middle
    rows.lengths(middle, length[1:])
    path += length[1:]
    return path
