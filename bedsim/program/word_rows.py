"""The words of a block sorted into lines and letters."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from bedsim.program.g_words import BARE, g_words
from bedsim.program.lexer import Array, Index, Mask, TextBlock

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
AXES = "XYZE"
RAPID, LINE, CLOCKWISE, COUNTER = range(4)
NO_MOTION = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WordRows:
    """Lines with words of a block while they are read: `row` (words,) of each; `g[group]` (r,) tenths of
    the G word of a group, -1: none; `word`, `line` as in `modes.ProgramRows`."""

    block: TextBlock
    line: Index
    row: Index
    word: Mapping[str, Index]
    g: Mapping[str, Index]

    @property
    def count(self) -> int:
        """Number of rows."""
        return self.line.size

    def has(self, letters: str) -> Mask:
        """Rows with any of these letters."""
        return np.any([self.word[letter] >= 0 for letter in letters], axis=0)

    def value(self, letter: str) -> Array:
        """Value of a letter's word, 0 where there is none."""
        index = self.word[letter]
        return np.where(index >= 0, self.block.value[index], 0.0) if self.block.value.size else np.zeros(0)

    def refuse(self, rows: Mask, letters: str, rule: str) -> None:
        """Refuse the first of some rows at the first of these letters that it holds."""
        found = np.flatnonzero(rows)
        if found.size:
            held = [int(self.word[letter][found[0]]) for letter in letters]
            raise self.block.fault(min((k for k in held if k >= 0), default=self.first(found[0])), rule)

    def first(self, row: int) -> int:
        """The first word of a row."""
        return int(np.searchsorted(self.row, row))


def sorted_rows(block: TextBlock) -> WordRows:
    """Words sorted into rows and letters; G words into their groups."""
    new = np.diff(block.line, prepend=-1) > 0
    row, line = np.cumsum(new) - 1, block.line[new]
    count = line.size
    is_g, is_m = block.letter == ord("G"), block.letter == ord("M")
    letter = block.letter.astype(np.int64) - ord("A")
    place = (row * 26 + letter)[~(is_g | is_m)]
    if place.size and np.bincount(place).max() > 1:
        order = np.argsort(place, kind="stable")
        twice = order[1:][np.diff(place[order]) == 0]
        raise block.fault(int(np.flatnonzero(~(is_g | is_m))[twice.min()]), "stands twice in its line")
    table = np.full(count * 26, -1, dtype=np.int64)
    table[place] = np.flatnonzero(~(is_g | is_m))
    words = table.reshape(count, 26)
    found = WordRows(
        block=block,
        line=line,
        row=row,
        word={letter: words[:, k] for k, letter in enumerate(LETTERS)},
        g=g_words(block, row, count, np.flatnonzero(is_g)),
    )
    loose = np.flatnonzero(block.bare & ~np.isin(found.g["owner"][row], BARE))
    if loose.size:
        raise block.fault(int(loose[0]), "has no number")
    return found
