"""A corrected copy read again beside its original: whether every line that lays goes where it should."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import BinaryIO

import numpy as np

from bedsim.compensate.rewrite import Corrections
from bedsim.compensate.stretches import Stretches, laying
from bedsim.compensate.written_places import turned
from bedsim.errors import SolverError
from bedsim.program.lexer import Array, PassedOn, blocks
from bedsim.program.modes import ProgramState, follow

DIGITS_OFF = 3.0
"""Last decimals by which an end may be off: two roundings, and a word that was kept."""
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
    """`lines` that lay; `worst` mm: how far an end of one lies from where its correction puts it."""

    lines: int
    worst: float


def read_again(
    original: BinaryIO,
    copy: BinaryIO,
    stretches: Stretches,
    by: Corrections,
    progress: Callable[[int], None] = lambda done: None,
) -> ReadAgain:
    """Compare the two, laid line by laid line.  Raises SolverError where they differ in more than the
    correction."""
    ours, theirs = _Laying(_laid_rows(original, progress)), _Laying(_laid_rows(copy, lambda done: None))
    lines, worst = 0, 0.0
    while True:
        count = min(ours.have(), theirs.have())
        if count == 0:
            break
        one, other = ours.take(count), theirs.take(count)
        worst = max(worst, _farthest(one, other, stretches, by))
        lines += count
    if ours.have() or theirs.have():
        raise SolverError("the copy lays another number of lines than the program: it is not used")
    if worst > DIGITS_OFF * 10.0**-stretches.decimals:
        raise SolverError(f"the copy lays {worst:.4f} mm beside where it should: it is not used")
    return ReadAgain(lines=lines, worst=worst)


def _farthest(one: Array, other: Array, stretches: Stretches, by: Corrections) -> float:
    stretch = stretches.of_lines(one[:, 0].astype(np.int64))
    own = (by[0][stretch], by[1][stretch], by[2][stretch])
    off = [np.hypot(*(turned(one[:, k : k + 2], own) - other[:, k : k + 2]).T).max() for k in (1, 3)]
    if np.abs(one[:, 5:7] - other[:, 5:7]).max() > SAME:
        raise SolverError("the copy differs in heights or material from the program: it is not used")
    if np.abs(one[:, 7] - other[:, 7]).max() > FULL:
        raise SolverError("an arc of the copy turns by another angle than the program's: it is not used")
    return float(max(off))


class _Laying:
    """Rows that come in parts, taken in others."""

    def __init__(self, source: Iterator[Array]) -> None:
        self.source, self.rows = source, np.zeros((0, 8))

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
    """Laid lines (m, 8): line of the file, start, end, height, E, sweep."""
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
                ]
            )
        progress(passed.size)
