"""Which G words are read, and which are refused with what words.

Groups: NIST RS274/NGC Interpreter 3, NISTIR 6556, 2000; of one group a line holds one word.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from bedsim.program.lexer import Index, TextBlock

_GROUPS = {  # RS-274's groups, and what of them is read; in tenths
    "motion": (0, 10, 20, 30, 800),
    "units": (200, 210, 700, 710),
    "distance": (900, 910),
    "owner": (40, 100, 110, 280, 290, 340, 920),  # the axis words of their line are theirs
    "no effect": (170, 400, 490, 610, 640, 911, 940),
}
_OFFSETS = "work offsets are not read: bedsim would not know where the part stands"
_CYCLE = "cycles are not read"
_REFUSED: Mapping[int, str] = {
    **dict.fromkeys((180, 190), "arcs are read in the plane of X and Y alone (G17)"),
    **dict.fromkeys((530, 540, 550, 560, 570, 580, 590, 591, 592, 593), _OFFSETS),
    **dict.fromkeys((520, 680, 690), "turned or moved coordinates are not read"),
    **dict.fromkeys((410, 420), "cutter compensation is not read"),
    **dict.fromkeys((430, 431, 440), "tool lengths are not read"),
    **dict.fromkeys((50, 51), "splines are not read"),
    **dict.fromkeys((930, 950), "feed is read in units per minute alone (G94)"),
    **dict.fromkeys((730, *range(810, 900, 10)), _CYCLE),
    **dict.fromkeys((921, 922, 923), "of G92 only the plain one is read"),
    901: "arc centres are read from the start point alone (G91.1)",
    300: "a second home is not read: its place stands nowhere in the program",
}
_GROUP = {number: group for group, numbers in _GROUPS.items() for number in numbers}
BARE = (280, 290, 340)  # their letters may stand without numbers


def g_words(block: TextBlock, row: Index, count: int, at: Index) -> dict[str, Index]:
    """The G word of each group (count,) in tenths, -1: none; `row` (words,) of every word, `at` the G words'
    indices.  Raises ProgramError."""
    tenths = np.rint(block.value[at] * 10).astype(np.int64)
    known = np.abs(block.value[at] * 10 - tenths) < 1e-6
    groups = {}
    rest = known.copy()
    for group, numbers in _GROUPS.items():
        here = known & np.isin(tenths, numbers)
        rest &= ~here
        rows = row[at[here]]
        if group != "no effect" and rows.size > 1 and np.any(rows[1:] == rows[:-1]):
            k = np.flatnonzero(rows[1:] == rows[:-1])[0] + 1
            raise block.fault(int(at[here][k]), "does not go with another G word of its line")
        groups[group] = np.full(count, -1, dtype=np.int64)
        groups[group][rows] = tenths[here]
    wrong = np.flatnonzero(rest | ~known)
    if wrong.size:
        k = int(wrong[0])
        raise block.fault(int(at[k]), _REFUSED.get(int(tenths[k]), "is no G word that is read"))
    return groups
