"""Which stretch of a program lies at which height, line by line: what a correction of each layer belongs
to.

A stretch begins after the last line laid of the one before, so that travels carry the correction of where
they go.  What is laid ahead of the part (it primes the nozzle), and what comes after the last line, has
none.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import BinaryIO

import numpy as np

from bedsim.errors import InputError
from bedsim.program.lexer import Array, Index, Mask, PassedOn, TextBlock, blocks
from bedsim.program.modes import ProgramRows, ProgramState, follow
from bedsim.program.reading import LEVEL, STILL

FEWEST_DECIMALS, MOST_DECIMALS = 4, 7
"""Decimals that are written: 0.1 um of a mm, more where the program has more."""
ON_GRID = 1e-3
"""Share of the last decimal by which a number that has it may be off by its double."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stretches:
    """Stretches (s,) that lay at one height: `first`, `last` line of the file laid, `height` mm;
    `decimals` that X, Y, I and J are written with."""

    first: Index
    last: Index
    height: Array
    decimals: int

    def of_lines(self, line: Index) -> Index:
        """The stretch (r,) that lines of the file belong to; s after the last one laid."""
        return np.searchsorted(self.last, line)


def laying(rows: ProgramRows) -> Mask:
    """Rows (r,) that lay material, as the reader of stations counts them."""
    step = rows.end - rows.start
    plane = rows.moves & ((np.hypot(step[:, 0], step[:, 1]) > STILL) | (rows.sweep != 0))
    return np.asarray(plane & (rows.extruded > 0))


def find_stretches(stream: BinaryIO, progress: Callable[[int], None] = lambda done: None) -> Stretches:
    """Read a program once through.  Raises ProgramError."""
    passed, state = PassedOn(), ProgramState()
    lines: list[Array] = []
    decimals = FEWEST_DECIMALS
    for block in blocks(stream, passed):
        rows, state = follow(block, state)
        if rows.line.size:
            at = laying(rows)
            numbers = block.first_line + rows.line[at]
            lines.append(_ends(numbers, rows.end[at, 2]))
            decimals = _decimals(block, decimals)
        progress(passed.size)
    every = np.concatenate(lines) if lines else np.zeros((0, 3))
    new = np.flatnonzero(~(np.abs(np.diff(every[:, 2], prepend=np.nan)) < LEVEL))
    last = np.append(new[1:], len(every)) - 1 if new.size else new
    return Stretches(
        first=every[new, 0].astype(np.int64),
        last=every[last, 1].astype(np.int64),
        height=every[new, 2],
        decimals=decimals,
    )


def _ends(numbers: Index, height: Array) -> Array:
    """Runs (k, 3) of lines laid at one height: first line, last line, height."""
    new = np.flatnonzero(~(np.abs(np.diff(height, prepend=np.nan)) < LEVEL))
    last = np.append(new[1:], numbers.size) - 1 if new.size else new
    return np.stack([numbers[new], numbers[last], height[new]], axis=1).astype(float)


def _decimals(block: TextBlock, so_far: int) -> int:
    """Decimals that hold every place as it is written."""
    values = block.value[np.isin(block.letter, np.frombuffer(b"XYIJ", dtype=np.uint8))]
    for decimals in range(so_far, MOST_DECIMALS):
        scaled = np.abs(values) * 10.0**decimals
        if not np.any(np.abs(scaled - np.rint(scaled)) > ON_GRID):
            return decimals
    return MOST_DECIMALS


def corrections(
    found: Stretches, lines: Array, a: Array, b: Array, turn: Array, origin: Array
) -> tuple[Array, Array, Array]:
    """Corrections (s+1,) by stretch in the program's own mm: those of the stations that begin at `lines`
    (n,), and none for what primes the nozzle and after the end.

    `a`, `b` m, `turn` rad (n,) in coordinates of the bed, on which the program's X0 Y0 is at `origin`
    (2,) mm: x' = R x + (A + R o - o).  Raises InputError where stations and stretches do not belong
    together.
    """
    at = np.searchsorted(found.first, lines)
    fits = at.size > 0 and at[-1] < found.first.size and np.array_equal(found.first[at], lines)
    if not fits or not np.array_equal(np.diff(at), np.ones(at.size - 1)) or at[-1] != found.first.size - 1:
        raise InputError(
            "print.program: the layers that were computed are not all that the program lays: leave "
            "print.layers out"
        )
    moved = [np.zeros(found.first.size + 1) for _ in range(3)]
    c, s = np.cos(turn), np.sin(turn)
    moved[0][at] = a * 1e3 + c * origin[0] - s * origin[1] - origin[0]
    moved[1][at] = b * 1e3 + s * origin[0] + c * origin[1] - origin[1]
    moved[2][at] = turn
    return moved[0], moved[1], moved[2]
