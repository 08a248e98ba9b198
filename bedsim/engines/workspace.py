"""Preallocated arrays for the steps of a stretch."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from bedsim.engines.modes import Real, Working

Array = NDArray[np.float64]


class Node:
    """A node as the step before predicted it: motion `y`; modal `forces`, their change over a step at
    their rate there, and how that changed since the node before; `excess` of forces and rate over the
    prediction."""

    def __init__(self, n: int, members: int) -> None:
        self.all = np.zeros((7, n, members), dtype=Real)
        self.y, self.forces, self.excess = self.all[:2], self.all[2:5], self.all[5:]
        self.by_mode, self.y_by_mode = self.all.transpose(1, 0, 2), self.y.transpose(1, 0, 2)
        self.flat, self.flat_forces = self.all[2:].reshape(5, -1), self.forces.reshape(3, -1)


class Workspace:
    """Preallocated arrays for the steps of one stretch and the views that each step takes: fresh memory
    and fresh views cost more here than the arithmetic in them."""

    def __init__(self, members: int, steps: int, sizes: tuple[int, int, int, int]) -> None:
        c, b, z, n = sizes

        def room(*shape: int) -> Working:
            return np.zeros((*shape, members), dtype=Real)

        self.here, self.ahead = Node(n, members), Node(n, members)
        self.late = room(2, n)  # what the excess of forces and rate moves the modes by
        self.kept, self.motions = room(steps, n), room(steps + 1, n)  # eta stored, and at all nodes
        self.seen = room(steps + 1, 2, z)
        self.steep = np.ones((z, 1), dtype=Real)
        self.place, self.speed = list(self.seen[:, 0, :b]), list(self.seen[:, 1, :b])
        self.found, self.turn, self.began = room(b), room(c), room(b)
        self.moved, self.before = room(2, z), room(2, z)  # what rows see of that, and saw a try before
        self.rows = room(9 * z)
        self.narrow(z)
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

    def narrow(self, w: int) -> None:
        """Let the first w rows act."""
        # forces, their change over a step at their rate now, and by how much that changed; the first two as
        # predicted ahead, and by how much they exceed that; forces summed; by how much places change
        room = self.rows[: 9 * w].reshape(9, w, -1)
        self.state, self.predicted, self.excess = room[:3], room[3:5], room[5:7]
        self.summed, self.size = room[7:]
        self.g, self.dg, _ = self.state
        self.flat_state, self.flat_predicted = self.state.reshape(3, -1), self.predicted.reshape(2, -1)


@lru_cache(maxsize=16)
def workspace(members: int, steps: int, sizes: tuple[int, int, int, int], thread: int) -> Workspace:
    """Arrays for so many members and steps, (contacts, bristles, rows, modes); one set for each `thread`."""
    return Workspace(members, steps, sizes)
