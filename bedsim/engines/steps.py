"""Equal steps through a stretch of time: the modes exactly, every contact's force to a tolerance.

Over a step the forces g of the rows are a parabola through the corners p-1, p0 behind and p1 ahead, and what
the modes answer is exact (`exponential.step`):

    y1 = P y0 - hold p0 - ramp (p1 - p0) - bend (p1 - 2 p0 + p-1),      p = g @ push

At the corner ahead g is predicted on the line through the two behind.  What it then exceeds the prediction by
moves the rows (`Tables.answer`), of second order in the step, and is put back until no force changes by more
than the tolerance.  The bristle's law over one step, in breakaway travels, with the path X by Simpson's rule
on the speeds at both corners and at three places between them on the cubic through them:

    phi1 = phi0 exp(-X) + D (1 - exp(-X))/X

What rows cause within a stretch is worked out in single precision: it adds to a motion that is known in
double precision, and moves the outcome by less than 1e-4 um (tests/agreement).  Members stand on the last
axis, where arithmetic is quickest.  Matrix tables of members at layers of their own have an axis for them in
front.
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
# What X sums the lengths of, from the increment and the speeds at both corners, times spacing/6: at 1/4, 1/2
# and 3/4 of the step and half of that at its end.  The second where the later corner's speed stands first.
_WAY = np.array(
    [[0.375, 0.375, -0.625], [0.25, -0.25, -0.25], [0.375, -0.625, 0.375], [0, 0, 0.5]], dtype=Real
)
WAY = _WAY, np.ascontiguousarray(_WAY[:, [0, 2, 1]])
FINER = 1 / 4  # of what every other corner alone would miss, Simpson's rule on all corners and middles misses
CUBIC = 1 / 24  # of a third difference: what a parabola through the corners misses of a cubic at most
TRIES = 12  # most at one corner: contacts that need more want a shorter step
LEAST_PATH = Real(1e-9)  # breakaways: keeps (1 - exp(-X))/X defined where nothing moves


@dataclass(frozen=True, slots=True, kw_only=True)
class Tables:
    """Answers of the modes to one step of `spacing` s; speeds count times spacing/6 = 1/`scale`.

    The first w = `acting` rows act: bristles alone, or all z.
    """

    acting: int
    spacing: float
    scale: float
    move: Working  # (n, 2, 5), or (5, 2, n, m): to eta, speed, p0, the predicted p1 - p0, the last excess
    new: Working  # (2, n, s): to what p1 exceeds its prediction by
    place: Working  # (z, n), or (m, n, z)
    push: Working  # (n, w), or (m, w, n)
    answer: Working  # (n + w, w), or (m, w, n + w): to the excess of g: modal forces, and what rows see


def tables(layer: LayerModes, spacing: float, acting: int) -> Tables:
    """Tables for a spacing where the first `acting` rows act."""
    rows, b, d = layer.rows, layer.rows.bristles, layer.rows.dampers
    frequency, damping = layer.frequency, layer.damping
    scale = 6 / spacing
    wd = exponential.damped(frequency, damping)
    power, hold, ramp, bend = exponential.step(frequency, damping, spacing)

    def motion(u: NDArray[np.complex128]) -> Array:
        return _motion(layer, u, scale)

    one = frequency.shape[0] == 1

    new = motion(ramp + bend)
    push = rows.push[:, :acting]
    local = (push * new[0][:, None]) @ rows.place[..., :acting]
    if d and acting > b:
        local[..., b : b + d] = (push * (scale * new[1])[:, None]) @ rows.place[..., b : b + d]
    to_eta, to_speed = motion(power * (1 - 1j * damping / wd)), motion(power * (-1j * scale / wd))
    late = -(to_eta * new[0] + to_speed * new[1])  # the excess of a corner counts from the next one on
    move = np.stack([to_eta, to_speed, -motion(hold), -motion(ramp), late])
    return Tables(
        acting=acting,
        spacing=spacing,
        scale=scale,
        move=np.ascontiguousarray(np.transpose(move[:, :, 0], (2, 1, 0)), dtype=Real) if one else _last(move),
        new=_last(new),
        place=matrix(rows.place),
        push=matrix(push),
        answer=matrix(np.concatenate([push, local], axis=2)),
    )


def answers(layer: LayerModes, spacing: float, spaces: int) -> Working:
    """What modes answer (spaces+1, 2, n, s) over a step of `spacing` s to known forces at equally spaced
    instants of it: parabolas through three of them each.  `spaces` is even; speeds count as in `tables`."""
    pairs = spaces // 2
    power, hold, ramp, bend = exponential.step(layer.frequency, layer.damping, spacing / pairs)
    found = np.zeros((spaces + 1, *power.shape), dtype=complex)
    for pair in range(pairs):
        on = power ** (pairs - 1 - pair)
        found[2 * pair] += on * (hold - ramp + 4 * bend)
        found[2 * pair + 1] -= on * 8 * bend
        found[2 * pair + 2] += on * (ramp + 4 * bend)
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
class Known:
    """Known forcing of a stretch of t steps, for r computed ones that members are a `mix` (r, m) of, or for
    the members themselves.

    At rest nothing moves and one `offset` stands for all corners.
    """

    move: Working | None  # (t, 2, n, r): motion that known forces add over each step
    slip: Working  # (t, b, 1): commanded over each step, breakaways
    slip_speed: Working  # (t+1, b, 1): at the corners, in the tables' scale
    offset: Working  # (t+1, e, r), or (1, e, r): to what elastic rows see at the corners
    mix: Working | None


def still(bristles: int, offset: Array) -> Known:
    """Known forcing that does not change, with the `offset` (e, m) of elastic rows."""
    none = np.zeros((0, bristles, 1), dtype=Real)
    return Known(move=None, slip=none, slip_speed=none, offset=offset[None].astype(Real), mix=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """What one stretch hands to the next: `motion` (2, n, m) eta and eta', bristle deflections phi (b, m),
    row forces g (z, m) and their rate (z, m) 1/s."""

    motion: Array
    phi: Array
    g: Array
    rate: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """A stretch: `stored` eta (k, n, m) after the `kept` steps, counted as it began, and its end.

    `impulse` (n, m): modal forces of the rows integrated, N s; `path` (c, m) of the contacts, breakaways;
    `error` m: an estimate of what the steps miss at the probes; `touched`: whether elastic elements act;
    `taken`: steps, short of those asked for where contacts found no solution; `tries` at their forces.
    """

    stored: Working
    kept: list[int]
    end: Carried
    impulse: Array
    path: Working
    error: Array
    touched: bool
    taken: int
    tries: int


class Corner:
    """What is known of a corner: motion, modal forces of the rows, their change since the corner before,
    by what that exceeded its prediction, what rows see of the excess, and row forces g."""

    def __init__(self, n: int, z: int, members: int) -> None:
        self.n, self.all = n, np.zeros((5 * n + z, members), dtype=Real)
        self.motion = self.all[: 5 * n].reshape(5, n, -1)
        self.y, self.p, self.dp, self.excess = self.motion[:2], *self.motion[2:]
        self.by_mode, self.y_by_mode = self.motion.transpose(1, 0, 2), self.y.transpose(1, 0, 2)
        self.spread = self.motion[:, None]
        self.forces = np.zeros((z, members), dtype=Real)
        self.narrow(z)

    def narrow(self, w: int) -> None:
        """Let the first w rows act."""
        self.answer, self.moved = self.all[4 * self.n : 5 * self.n + w], self.all[5 * self.n : 5 * self.n + w]
        self.g = self.forces[:w]


class Desk:
    """Room for the steps of one stretch and the views that each step takes: fresh memory and fresh views cost
    more here than the arithmetic in them."""

    def __init__(self, members: int, steps: int, sizes: tuple[int, int, int, int]) -> None:
        c, b, z, n = sizes

        def room(*shape: int) -> Working:
            return np.zeros((*shape, members), dtype=Real)

        self.here, self.ahead = Corner(n, z, members), Corner(n, z, members)
        self.terms, self.summed, self.bend, self.late = room(5, 2, n), room(n), room(n), room(n)
        self.kept = room(steps, n)
        self.seen = room(steps + 1, 2, z)
        self.place, self.speed = list(self.seen[:, 0, :b]), list(self.seen[:, 1, :b])
        self.rows = room(4, z)
        self.narrow(z)
        self.found = room(b)
        # deflection, increment and the speeds at both corners; the last three make the path
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

    def narrow(self, w: int) -> None:
        """Let the first w rows act."""
        self.here.narrow(w)
        self.ahead.narrow(w)
        self.dg, self.excess, self.before, self.size = self.rows[:, :w]


@lru_cache(maxsize=16)
def desk(members: int, steps: int, sizes: tuple[int, int, int, int], thread: int) -> Desk:
    """Room for so many members and steps, (contacts, bristles, rows, modes); one for each `thread`."""
    return Desk(members, steps, sizes)


def march(
    table: Tables,
    rows: Rows,
    known: Known,
    now: Carried,
    count: int,
    stride: int,
    tolerance: float,
    weight: Working,
    room: Desk,
) -> Outcome:
    """`count` steps from `now`, whose motion counts from where known forces at the beginning would hold it;
    every `stride`-th corner is kept, the last among them.

    `tolerance`: of row forces, in breakaways (and 10 N); `weight` (p, z), or (m, z, p): what a unit of each
    moves the probes by at rest, m.
    """
    _set_out(table, rows, known, now, room)
    alone = table.acting == rows.bristles
    kept: list[int] = []
    others = [room.here.g[rows.bristles :].copy()]  # forces of dampers and elastic elements
    tries = k = 0
    while k < count:
        _predict(table, rows, known, room, k)
        tried, solved = _contacts(table, rows, known, room, k, tolerance)
        tries += tried
        if not solved:
            room.here.g -= room.dg
            break
        here = _accept(room, k)
        k += 1
        if not alone:
            others.append(here.g[rows.bristles :].copy())
        if (count - k) % stride == 0:
            late = np.multiply(table.new[0], here.excess, out=room.late)
            np.subtract(here.y[0], late, out=room.kept[len(kept)])
            kept.append(k)
    if rows.parts.present and alone:  # nobody has looked at elastic rows on the way
        offset = known.offset if known.move is None else known.offset[1 : k + 1]
        room.seen[1 : k + 1, 0, rows.bristles + rows.dampers :] += mixed(offset, known.mix)
    error = np.full(room.phi.shape[1], np.inf)
    if k == count:
        error = _missed(rows, known, weight[:, : table.acting], room, k)
    if k == count and not alone:
        error = np.maximum(error, _bent(weight[:, rows.bristles : table.acting], others))
    room.bend += room.here.dp
    return Outcome(
        stored=room.kept[: len(kept)],
        kept=kept,
        end=_end(table, rows, now, room) if k else now,
        # over a step a parabola covers a twelfth of its second difference less than its chord
        impulse=table.spacing * (room.summed - room.here.p / 2 - room.bend / 12),
        path=room.paths[:k].sum(axis=0),
        error=error,
        touched=not alone and (k == 0 or any(force[rows.dampers :].any() for force in others)),
        taken=k,
        tries=tries,
    )


def _set_out(table: Tables, rows: Rows, known: Known, now: Carried, room: Desk) -> None:
    """Everything at the first corner."""
    w, b = table.acting, rows.bristles
    room.narrow(w)
    here, phi = room.here, room.phi
    here.y[0], here.y[1] = now.motion[0], now.motion[1] / table.scale
    phi[:], here.g[:], room.dg[:] = now.phi, now.g[:w], now.rate[:w] * table.spacing
    apply(table.push, here.g, here.p)
    apply(table.push, room.dg, here.dp)
    np.negative(here.dp, out=room.bend)
    here.excess[:] = 0.0
    np.multiply(here.p, 0.5, out=room.summed)
    apply(table.place, here.y, room.seen[0])
    if known.move is not None:
        room.speed[0] += known.slip_speed[0]
    # where bristles stand at the beginning does not matter, only how far they move from there
    np.subtract(phi, room.place[0], out=here.g[:b])
    room.ends[0] = room.speed[0]
    np.multiply(room.speed[0], 0.5, out=room.way[3])
    room.way[3] *= room.way[3]
    rows.lengths(room.way[3], room.earlier[3])


def _predict(table: Tables, rows: Rows, known: Known, room: Desk, k: int) -> None:
    """Modes, and what rows see, one step ahead of corner k; row forces on the line through the last two."""
    here, ahead = room.here, room.ahead
    if table.place.ndim == 2:
        np.matmul(table.move, here.by_mode, out=ahead.y_by_mode)
    else:
        np.multiply(table.move, here.spread, out=room.terms)
        np.add.reduce(room.terms, axis=0, out=ahead.y)
    if known.move is not None:
        ahead.y += mixed(known.move[k], known.mix)
    apply(table.place, ahead.y, room.seen[k + 1])
    if known.move is not None:
        room.speed[k + 1] += known.slip_speed[k + 1]
    room.ends[(k + 1) % 2] = room.speed[k + 1]
    if table.acting > rows.bristles and rows.parts.present:
        offset = known.offset[0 if known.move is None else k + 1]
        room.seen[k + 1, 0, rows.bristles + rows.dampers :] += mixed(offset, known.mix)
    here.g += room.dg


def _contacts(
    table: Tables, rows: Rows, known: Known, room: Desk, k: int, tolerance: float
) -> tuple[int, bool]:
    """Find the row forces one step ahead of corner k: how many tries it took, and whether they are found."""
    b, here, ahead = rows.bristles, room.here, room.ahead
    seen, place, moved = room.seen[k + 1], room.place[k + 1], ahead.moved
    for attempt in range(TRIES):
        _bristles(rows, room, k, None if known.move is None else known.slip[k])
        np.subtract(room.found, place, out=ahead.g[:b])
        if table.acting > b:
            ahead.g[b:] = rows.others(seen, table.scale)
        np.subtract(ahead.g, here.g, out=room.excess)
        if attempt:
            room.before[:] = moved
        apply(table.answer, room.excess, ahead.answer)
        change = np.subtract(moved, room.before, out=room.before) if attempt else moved
        rows.shift(seen, change, table.scale)
        np.abs(change, out=room.size)
        if table.acting > b:
            room.size *= rows.steep
        if np.maximum.reduce(room.size, axis=None) <= tolerance:
            return attempt + 1, True
    return TRIES, False


def _accept(room: Desk, k: int) -> Corner:
    """Go on from corner k to the one ahead."""
    here, ahead = room.here, room.ahead
    room.phi[:] = room.found
    room.paths[k] = room.path
    room.lengths, room.earlier = room.earlier, room.lengths
    room.dg += room.excess
    np.add(here.dp, ahead.excess, out=ahead.dp)
    np.add(here.p, ahead.dp, out=ahead.p)
    room.summed += ahead.p
    room.here, room.ahead = ahead, here
    return ahead


def _end(table: Tables, rows: Rows, now: Carried, room: Desk) -> Carried:
    """What the last corner hands on to the next stretch, which began as `now`."""
    b, here = rows.bristles, room.here
    idle = np.zeros((now.g.shape[0] - table.acting, now.g.shape[1]))
    began = now.g[:b] - (now.phi.astype(Real) - room.place[0])
    return Carried(
        motion=(here.y - table.new * here.excess) * np.array([[[1.0]], [[table.scale]]]),
        phi=room.phi.astype(float),
        g=np.concatenate([here.g[:b] + began, here.g[b:], idle]),
        rate=np.concatenate([room.dg / table.spacing, idle]),
    )


def _bristles(rows: Rows, room: Desk, k: int, slip: Working | None) -> None:
    """Find the bristle deflections after the step from corner k; `slip` (b, 1) is commanded besides."""
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


def _bent(weight: Working, forces: list[Working]) -> Array:
    """An estimate (m,) of what parabolas miss of dampers and elastic elements, at the probes, m: `forces` (e,
    m) at the corners."""
    third = np.abs(np.diff(np.array(forces), n=3, axis=0)).max(axis=0, initial=0.0)
    return _at_probes(np.abs(weight), np.asarray(CUBIC * third, dtype=Real))


def _at_probes(weight: Working, force: Working) -> Array:
    """The most that row forces (w, m) move any probe (m,), m."""
    probes = weight.shape[0] if weight.ndim == 2 else weight.shape[2]
    found = apply(weight, force, np.empty((probes, force.shape[1]), dtype=Real))
    return np.abs(found).max(axis=0, initial=0.0).astype(float)


def _missed(rows: Rows, known: Known, weight: Working, room: Desk, k: int) -> Array:
    """An estimate (m,) of what the last k steps miss at the probes, m.

    Paths by Simpson's rule change by dX over two steps where the corner between them is left out, and
    bristles by -phi dX; in the steps themselves paths are taken closer.  What two steps miss may cancel by
    chance what two others miss: the estimate is the sum over the steps, or the root of the sum of squares if
    that is more.
    """
    if k % 2:
        return np.zeros(room.phi.shape[1])
    c, pairs = rows.contacts, rows.bristles - rows.contacts
    change = _path_change(rows, known, room, k)
    found = np.zeros(room.phi.shape[1])
    for path, power in ((change.sum(axis=0), 1), ((change * change).sum(axis=0), 2)):
        missed = np.zeros((weight.shape[1], path.shape[1]), dtype=Real)
        missed[:c] = (FINER * room.phi[:c]) ** power * path
        missed[c : c + pairs] = (FINER * room.phi[c:]) ** power * path[:pairs]
        np.maximum(found, _at_probes(weight**power, missed) ** (1 / power), out=found)
    return found


def _path_change(rows: Rows, known: Known, room: Desk, k: int) -> Working:
    """By how much paths (k/2, c, m) over two steps change if the corner between them is left out."""
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
