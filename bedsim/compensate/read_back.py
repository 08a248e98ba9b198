"""A corrected copy read again beside its original: whether every line that lays goes where it should."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import BinaryIO

import numpy as np

from bedsim.compensate.rewrite import CENTRE_OFF, Corrections
from bedsim.compensate.stretches import Stretches, laying
from bedsim.compensate.written_places import turned
from bedsim.errors import SolverError
from bedsim.program.lexer import Array, Index, PassedOn, blocks
from bedsim.program.modes import ProgramState, follow

DIGITS_OFF = 3.0
"""Last decimals by which an end may be off: two roundings, and a word that was kept."""
CENTRE_DIGITS = CENTRE_OFF + DIGITS_OFF
"""Likewise the centre of an arc, by R or by I and J."""
DIRECTIONS = 36
"""Of half a turn in which an extent is sought: it is told 0.1 % short at most (cos of 2.5 degrees)."""
SAME = 1e-6  # mm of Z, mm or mm3 of E, summed over a program
FULL = 0.1  # rad: an arc's sweep changes by less where its ends are rounded


class WrittenPieces:
    """Bytes in pieces, read as a file is."""

    def __init__(self, pieces: Sequence[bytes]) -> None:
        self.pieces, self.at, self.place = pieces, 0, 0

    def read(self, size: int = -1) -> bytes:
        """The next bytes, of one piece at most."""
        while self.at < len(self.pieces):
            piece = self.pieces[self.at]
            found = piece[self.place : self.place + size] if size >= 0 else piece[self.place :]
            self.place += len(found)
            if found:
                return found
            self.at, self.place = self.at + 1, 0
        return b""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadAgain:
    """`lines` that lay; `worst` mm: how far an end of one, or an arc's centre, lies from where its correction
    puts it.  `left` mm, of `before`: peak to valley over all ends of laid lines against the bed as it moves
    under the copy, and what it would be without one."""

    lines: int
    worst: float
    left: float
    before: float


class _Extent:
    """Largest extent in the plane of all vectors that were added."""

    def __init__(self) -> None:
        angle = np.arange(DIRECTIONS) * np.pi / DIRECTIONS
        self.along = np.stack([np.cos(angle), np.sin(angle)])
        self.low, self.high = np.full(DIRECTIONS, np.inf), np.full(DIRECTIONS, -np.inf)

    def add(self, vectors: Array) -> None:
        """Count in vectors (m, 2)."""
        at = vectors @ self.along
        self.low, self.high = np.minimum(self.low, at.min(axis=0)), np.maximum(self.high, at.max(axis=0))

    @property
    def size(self) -> float:
        return float((self.high - self.low).max()) if np.isfinite(self.low[0]) else 0.0


def read_again(
    original: BinaryIO,
    copy: BinaryIO,
    stretches: Stretches,
    by: Corrections,
    bed: Corrections,
    progress: Callable[[int], None] = lambda done: None,
) -> ReadAgain:
    """Compare the two, laid line by laid line; `by`: the correction, `bed`: how the bed carries each stretch
    of the copy (alike in form).  Raises SolverError where they differ in more than the correction."""
    ours, theirs = _Laying(_laid_rows(original, progress)), _Laying(_laid_rows(copy, lambda done: None))
    lines, worst, left, before = 0, 0.0, _Extent(), _Extent()
    while True:
        count = min(ours.have(), theirs.have())
        if count == 0:
            break
        one, other = ours.take(count), theirs.take(count)
        worst = max(worst, _farthest(one, other, stretches, by))
        _against_bed(one, other, stretches.of_lines(one[:, 0].astype(np.int64)), bed, left, before)
        lines += count
    if ours.have() or theirs.have():
        raise SolverError("the copy lays another number of lines than the program: it is not used")
    if worst > DIGITS_OFF * 10.0**-stretches.decimals:
        raise SolverError(f"the copy lays {worst:.4f} mm beside where it should: it is not used")
    return ReadAgain(lines=lines, worst=worst, left=left.size, before=before.size)


def _farthest(one: Array, other: Array, stretches: Stretches, by: Corrections) -> float:
    stretch = stretches.of_lines(one[:, 0].astype(np.int64))
    own = (by[0][stretch], by[1][stretch], by[2][stretch])
    off = [np.hypot(*(turned(one[:, k : k + 2], own) - other[:, k : k + 2]).T).max() for k in (1, 3)]
    if np.abs(one[:, 5:7] - other[:, 5:7]).max() > SAME:
        raise SolverError("the copy differs in heights or material from the program: it is not used")
    if np.abs(one[:, 7] - other[:, 7]).max() > FULL:
        raise SolverError("an arc of the copy turns by another angle than the program's: it is not used")
    arcs = np.flatnonzero((one[:, 7] != 0) & (other[:, 7] != 0))
    if arcs.size:
        centre = turned(one[arcs, 8:10], (own[0][arcs], own[1][arcs], own[2][arcs]))
        shape = float(np.hypot(*(centre - other[arcs, 8:10]).T).max())
        if shape > CENTRE_DIGITS * 10.0**-stretches.decimals:
            raise SolverError(f"the copy has a centre of an arc {shape:.4f} mm aside: it is not used")
    return float(max(off))


def _against_bed(
    one: Array, other: Array, stretch: Index, bed: Corrections, left: _Extent, before: _Extent
) -> None:
    """Count in how far both ends of lines lie from where the moving bed wants them, and without a copy."""
    own = (bed[0][stretch], bed[1][stretch], bed[2][stretch])
    for k in (1, 3):
        wanted = turned(one[:, k : k + 2], own)
        left.add(other[:, k : k + 2] - wanted)
        before.add(one[:, k : k + 2] - wanted)


class _Laying:
    """Rows that come in parts, taken in others."""

    def __init__(self, source: Iterator[Array]) -> None:
        self.source, self.rows = source, np.zeros((0, 10))

    def have(self) -> int:
        while self.rows.shape[0] == 0:
            more = next(self.source, None)
            if more is None:
                return 0
            self.rows = more
        return self.rows.shape[0]

    def take(self, count: int) -> Array:
        found, self.rows = self.rows[:count], self.rows[count:]
        return found


def _laid_rows(stream: BinaryIO, progress: Callable[[int], None]) -> Iterator[Array]:
    """Laid lines (m, 10): line of the file, start, end, height, E, sweep, centre of an arc."""
    passed, state = PassedOn(), ProgramState()
    for block in blocks(stream, passed):
        rows, state = follow(block, state)
        if rows.line.size:
            k = laying(rows)
            yield np.column_stack(
                [
                    block.first_line + rows.line[k],
                    rows.start[k, :2],
                    rows.end[k, :2],
                    rows.end[k, 2],
                    rows.extruded[k],
                    rows.sweep[k],
                    rows.centre[k],
                ]
            )
        progress(passed.size)
