"""Tables of one step: what the modes answer to forces over it, and how rows see that."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import exponential
from bedsim.engines.modes import LayerModes, Real, Working

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tables:
    """Response of the modes to one step of `spacing` s, one or (m,); speeds count times spacing/6 =
    1/`scale`.

    The first w = `acting` rows act: bristles alone, or all z.
    """

    acting: int
    spacing: Array | float
    scale: Array | float
    move: Working  # (n, 2, 7), or (7, 2, n, m): to what a `Node` holds
    new: Working  # (2, 2, n, s): to what force and rate at the node ahead exceed their prediction by
    place: Working  # (z, n), or (m, n, z)
    push: Working  # (n, w), or (m, w, n)


def tables(layer: LayerModes, spacing: Array | float, acting: int) -> Tables:
    """Tables for steps of `spacing` s, one or (s,), in which the first `acting` rows act."""
    rows = layer.rows
    frequency, damping = layer.frequency, layer.damping
    length = np.asarray(spacing)[..., None]
    scale = 6 / length
    wd = exponential.damped(frequency, damping)
    power, hold, ramp, square, cube = exponential.step(frequency, damping, length)
    value, rate = 3 * square - 2 * cube, cube - square  # to what a cubic has at its end beyond a line

    def motion(u: NDArray[np.complex128]) -> Array:
        return _motion(layer, u, scale)

    new = np.stack([motion(value), motion(rate)])
    push = rows.push[:, :acting]
    to_eta, to_speed = motion(power * (1 - 1j * damping / wd)), motion(power * (-1j * scale / wd))
    now = [motion(hold), motion(ramp), motion(square) / 2]
    # a node's own forces are those predicted and what exceeds them
    move = np.stack([to_eta, to_speed, *(-x for x in now), -now[0], -now[1] - now[2]])
    one = frequency.shape[0] == 1
    return Tables(
        acting=acting,
        spacing=spacing,
        scale=6 / spacing,
        move=np.ascontiguousarray(np.transpose(move[:, :, 0], (2, 1, 0)), dtype=Real) if one else _last(move),
        new=_last(new),
        place=matrix(rows.place),
        push=matrix(push),
    )


def answers(layer: LayerModes, spacing: Array | float, spaces: int) -> Working:
    """Response of the modes (spaces+1, 2, n, s) over a step of `spacing` s, one or (s,), to known forces at
    equally spaced instants of it, by the parabola through each three of them.  `spaces` is even; speeds count
    as in `tables`."""
    pairs, length = spaces // 2, np.asarray(spacing)[..., None]
    power, hold, ramp, square, _ = exponential.step(layer.frequency, layer.damping, length / pairs)
    found = np.zeros((spaces + 1, *power.shape), dtype=complex)
    for pair in range(pairs):
        on = power ** (pairs - 1 - pair)
        found[2 * pair] += on * (hold - 3 * ramp + 2 * square)
        found[2 * pair + 1] += on * (4 * ramp - 4 * square)
        found[2 * pair + 2] += on * (2 * square - ramp)
    return _last(np.moveaxis(_motion(layer, found, 6 / length), 0, 1))


def _motion(layer: LayerModes, u: NDArray[np.complex128], scale: Array) -> Array:
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
