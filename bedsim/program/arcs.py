"""Arcs and the lengths of ways; lengths in mm.  Derivation: plane geometry."""

from __future__ import annotations

import numpy as np

from bedsim.program.lexer import Array, Index, Mask
from bedsim.program.word_rows import CLOCKWISE, COUNTER, WordRows

ARC_ABSOLUTE, ARC_SHARE = 0.02, 0.001  # mm and share of the radius by which start and end may differ from it
FULL_TURN = 1e-9  # mm: start and end of an arc that are nearer are one


def paths(
    lines: WordRows, start: Array, end: Array, motion: Index, moves: Mask, scale: Array
) -> tuple[Array, Array, Array]:
    """Centres (r, 2), sweeps (r,) and lengths (r,) of the ways in space."""
    step = end - start
    way = np.where(moves, np.sqrt(np.einsum("ij,ij->i", step, step)), 0.0)
    centre, sweep = np.zeros((lines.count, 2)), np.zeros(lines.count)
    arcs = np.flatnonzero(moves & (motion >= CLOCKWISE))
    if arcs.size == 0:
        return centre, sweep, way
    turn = np.where(motion[arcs] == COUNTER, 1.0, -1.0)
    a, b = start[arcs, :2], end[arcs, :2]
    to_centre = np.stack([lines.value("I")[arcs], lines.value("J")[arcs]], axis=1) * scale[arcs, None]
    by_radius = lines.word["R"][arcs] >= 0
    radius = lines.value("R")[arcs] * scale[arcs]
    to_centre[by_radius] = _from_radius(lines, arcs, b - a, radius, turn, by_radius)[by_radius]
    centre[arcs] = a + to_centre
    size, last = np.hypot(*to_centre.T), np.hypot(*(b - centre[arcs]).T)
    rows = np.zeros(lines.count, dtype=bool)
    rows[arcs] = size == 0
    lines.refuse(rows, "IJ", "an arc of radius 0")
    rows[arcs] = np.abs(last - size) > ARC_ABSOLUTE + ARC_SHARE * size
    lines.refuse(rows, "XYIJ", "the arc's end lies on another radius than its start")
    out, back = -to_centre, b - centre[arcs]
    angle = np.arctan2(out[:, 0] * back[:, 1] - out[:, 1] * back[:, 0], (out * back).sum(axis=1)) * turn
    angle = np.where(angle <= 0, angle + 2 * np.pi, angle)
    angle = np.where(np.hypot(*(b - a).T) < FULL_TURN, 2 * np.pi, angle)
    sweep[arcs] = angle * turn
    way[arcs] = np.hypot(angle * size, step[arcs, 2])
    return centre, sweep, way


def _from_radius(
    lines: WordRows, arcs: Index, chord: Array, radius: Array, turn: Array, by_radius: Mask
) -> Array:
    """Centres (arcs, 2) from the start, of arcs given by R: on the perpendicular through the chord's middle,
    left of it for a short counter-clockwise arc (geometry)."""
    length = np.hypot(*chord.T)
    rows = np.zeros(lines.count, dtype=bool)
    rows[arcs] = by_radius & (length < FULL_TURN)
    lines.refuse(rows, "R", "a full circle by R has no centre: give I and J")
    rows[arcs] = by_radius & (length > 2 * np.abs(radius) + ARC_ABSOLUTE)
    lines.refuse(rows, "R", "the arc's end is farther than its diameter")
    length = np.where(by_radius, length, 1.0)
    height = np.sqrt(np.maximum(radius**2 - length**2 / 4, 0.0)) * turn * np.sign(radius)
    left = np.stack([-chord[:, 1], chord[:, 0]], axis=1) / length[:, None]
    return np.asarray(chord / 2 + left * height[:, None])
