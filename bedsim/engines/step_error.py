"""Estimated errors of the steps of a stretch, at the probes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bedsim.engines.known_forcing import KnownForcing
from bedsim.engines.modes import Real, Rows, Working
from bedsim.engines.step_tables import apply
from bedsim.engines.workspace import Workspace

Array = NDArray[np.float64]

FINER = 1 / 4  # of what every other node alone would miss, Simpson's rule on all nodes and middles misses
THIRD = 1 / 24  # of a third difference: what a parabola through the nodes misses of a cubic at most
FOURTH = 1 / 384  # of a fourth: what the cubic with values and rates at both ends misses of a quartic at most


def of_forces(weight: Working, dampers: int, forces: list[Working]) -> Array:
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


def of_paths(rows: Rows, known: KnownForcing, weight: Working, room: Workspace, k: int) -> Array:
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
