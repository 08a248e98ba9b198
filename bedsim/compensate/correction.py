"""How far the nozzle must go with the bed: the rigid body's six numbers turned into moves of a tool.

A bed off its commanded pose by t, w carries the point p = (x, y, z_top) of the part by d = t + w x p
(`components/frame.py`).  A nozzle that goes with it,

    x' = A + x cos w - y sin w      y' = B + x sin w + y cos w
    A = tx + wy z_top      B = ty - wx z_top      w = wz,

lays the line where the part wants it.  Poses count against that of the first station of the object: what
does not change from layer to layer shows nowhere.  Derived; d is of first order in w, and x cos w differs
from x by w^2 x/2: 1e-9 m at 120 urad and 150 mm.  Limits: a rigid bed; bent plates (four screws or more)
move sideways as a flat one does.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.analysis.metrics import widest

Array = NDArray[np.float64]

EVEN = 12
"""Places between two steps, along X and along Y, of which the middle is told."""
TURNS = (0.1, 0.3, 0.5, 0.7, 0.9)
"""Shares of the layers that lie on one side of a step where the worst place is sought: a line that
changes its step within the print shows a whole one, however small the move is."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Correction:
    """Moves of the nozzle (l,) by layer: `a`, `b` m along X and Y, then `turn` rad about the origin,
    counter- clockwise seen from above."""

    a: Array
    b: Array
    turn: Array

    def moves(self, places: Array) -> Array:
        """How far the nozzle goes (l, p, 2) m at places (p, 2) m of the bed."""
        x, y = places[:, 0], places[:, 1]
        c, s = np.cos(self.turn)[:, None] - 1.0, np.sin(self.turn)[:, None]
        return np.stack([self.a[:, None] + c * x - s * y, self.b[:, None] + s * x + c * y], axis=-1)

    def shift_at(self, place: Array) -> Correction:
        """The shift alone that is right at one place (2,) m."""
        moved = self.moves(place[None])[:, 0]
        return Correction(a=moved[:, 0], b=moved[:, 1], turn=np.zeros_like(self.turn))

    def largest(self, places: Array) -> float:
        """Longest move, m, at some places (p, 2) m."""
        return float(np.linalg.norm(self.moves(places), axis=-1).max())

    def __sub__(self, other: Correction) -> Correction:
        """What one has beyond another."""
        return Correction(a=self.a - other.a, b=self.b - other.b, turn=self.turn - other.turn)


def sideways(pose: Array, top: Array, zero: NDArray[np.intp]) -> Correction:
    """The three numbers of every layer that take a rigid bed's sideways motion off.

    `pose` (l, b) raw, m and rad; `top` (l,) m; `zero` (l,): where in it the zero of each layer stands.
    """
    own = pose - pose[zero]
    return Correction(
        a=own[:, 0] + own[:, 4] * top, b=own[:, 1] - own[:, 3] * top, turn=np.asarray(own[:, 5])
    )


def corner_heights(pose: Array, zero: NDArray[np.intp], mounts: Array) -> Array:
    """How far each corner of the bed (l, c) m stands above where it should, against the first layer: rows
    (1, y, -x) of its mount times (tz, wx, wy); motors go down by so much.

    `mounts` (c, 2) m.  A bed of more than three screws can bend besides; this is its plane.
    """
    own = pose - pose[zero]
    x, y = mounts[:, 0], mounts[:, 1]
    return np.asarray(own[:, 2:3] + own[:, 3:4] * y - own[:, 4:5] * x)


def in_steps(values: Array, step: float) -> Array:
    """Values rounded to whole steps; as they are for a step of 0."""
    return np.round(values / step) * step if step > 0 else values


def stepped_extents(top: Array, moved: Array, left: Array, step: float) -> tuple[float, float]:
    """Peak to valley m of what is left where the tool goes in whole steps, at the place that is worst: in
    the middle of where a line may lie between two steps, and at worst.

    `moved` (l, p, 2): how far the nozzle is to go; `left` (l, p, 2): what an exact move leaves.  A line
    of the part at u between two steps is laid at round((u + move)/step) step, layer by layer.  A flat
    wall along an axis has one u, a round one has all.
    """
    if step <= 0:
        whole = float(widest(top, left).max())
        return whole, whole
    told, _ = _between_steps(top, moved, left, step)
    turns = 0.5 * step - np.quantile(moved, TURNS, axis=0)  # (q, p, 2)
    worst = [widest(top, left - _laid_off(moved, u, step)) for u in _pairs(turns)]
    middle = np.take_along_axis(told, _middle(told)[None], axis=0)
    return float(middle.max()), max(float(np.max(worst)), float(np.max(told)))


def moves_in_steps(top: Array, moved: Array, left: Array, step: float) -> Array:
    """How far the nozzle goes (l, p, 2) m in whole steps, for the line at each place that shows the middle
    of what `stepped_extents` tells: no more than half of the lines there show more."""
    if step <= 0:
        return moved
    told, lines = _between_steps(top, moved, left, step)
    own = np.array(lines)[_middle(told), np.arange(told.shape[1])]  # (p, 2)
    return in_steps(own + moved, step) - in_steps(own, step)


def _between_steps(top: Array, moved: Array, left: Array, step: float) -> tuple[Array, list[Array]]:
    """Peak to valley (q, p) of lines evenly between two steps, and where each lies (p, 2)."""
    even = np.broadcast_to((np.arange(EVEN) + 0.5)[:, None, None] / EVEN * step, (EVEN, *moved.shape[1:]))
    lines = _pairs(even)
    return np.array([widest(top, left - _laid_off(moved, u, step)) for u in lines]), lines


def _middle(told: Array) -> NDArray[np.intp]:
    """Which of the lines (q, p) shows the middle at each place: the upper one of two."""
    return np.asarray(np.argsort(told, axis=0, kind="stable")[told.shape[0] // 2])


def _pairs(places: Array) -> list[Array]:
    """Every place (q, p, 2) along X with every one along Y: (p, 2) each."""
    return [np.stack([a[:, 0], b[:, 1]], axis=1) for a in places for b in places]


def _laid_off(moved: Array, u: Array, step: float) -> Array:
    """How much farther than it should the nozzle goes for a line at u."""
    return in_steps(u + moved, step) - u - moved
