"""Where a corrected program goes: every place of the original moved by its stretch's correction and
rounded to what can be written.

    x' = A + x cos w - y sin w     y' = B + x sin w + y cos w
    I' = I cos w - J sin w         J' = I sin w + J cos w

R, E, F and Z stand as they are: a shift and a turn keep every arc and every length.  In one stretch all is
moved alike, a helix too.  But the centre of an arc by R hangs on its ends, near half a circle without bound:
ends 0.1 um nearer than 2 R = 20 mm put it 30 um aside.  Where it would stand too far off, the arc is given by
I and J (`rewrite.py`), rather than by chords: it stays an arc.  A written place is a whole number of last
decimals from where the axes count from: under G91 differences of written places are written, so that nothing
drifts, and G92 counts from the place that was written.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from bedsim.program.lexer import Array, Index, Mask
from bedsim.program.modes import ProgramRows

OFF = 0.6
"""Last decimals by which a place must be off before a word is added for it."""
INCH_DECIMALS = 2
"""Decimals that inches have more: 25.4 mm."""


@dataclass(slots=True)
class WrittenState:
    """The machine's place (2,) mm and what it is more than the program's, as the copy has them."""

    place: Array = field(default_factory=lambda: np.zeros(2))
    offset: Array = field(default_factory=lambda: np.zeros(2))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WrittenRows:
    """What of rows (m,) that move in X and Y is to be written; `row`: which; `decimals` (m,); `place`,
    `centre`, `chord` (m, 2): X Y, I J and the way from start to end in last decimals; `moved` (m, 2):
    whether the place differs from the one before; `ahead`: whether a move to `start` (m, 2) has to come
    first; `largest` mm: longest move."""

    row: Index
    decimals: Index
    place: Array
    centre: Array
    chord: Array
    moved: Mask
    ahead: Mask
    start: Array
    largest: float


def turned(places: Array, by: tuple[Array, Array, Array]) -> Array:
    """Places (m, 2) mm moved by shifts and turns (m,)."""
    a, b, w = by
    c, s = np.cos(w), np.sin(w)
    x, y = places[:, 0], places[:, 1]
    return np.stack([a + c * x - s * y, b + s * x + c * y], axis=1)


def written(
    rows: ProgramRows, by: tuple[Array, Array, Array], state: WrittenState, decimals: int
) -> WrittenRows:
    """What is to be written of the rows of a block; `by`: shift and turn (r,) mm, rad of each.  `state`
    goes on."""
    goes = rows.moves & ((rows.word["X"] >= 0) | (rows.word["Y"] >= 0) | (rows.sweep != 0))
    at = np.flatnonzero(goes)
    own = tuple(v[at] for v in by)
    to, start, centre = (
        turned(p, (own[0], own[1], own[2])) for p in (rows.end[at, :2], rows.start[at, :2], rows.centre[at])
    )
    must = ((rows.extruded > 0) | (rows.sweep != 0))[at]  # what feeds where it stands must not begin to lay
    count = at.size
    digits = decimals + INCH_DECIMALS * (rows.scale[at] != 1.0)
    grid = rows.scale[at] / 10.0**digits
    found = WrittenRows(
        row=at,
        decimals=digits,
        place=np.zeros((count, 2)),
        centre=np.zeros((count, 2)),
        chord=np.zeros((count, 2)),
        moved=np.zeros((count, 2), dtype=bool),
        ahead=np.zeros(count, dtype=bool),
        start=np.zeros((count, 2)),
        largest=float(np.hypot(*(to - rows.end[at, :2]).T).max()) if count else 0.0,
    )
    for first, last in pairwise(_cuts(rows)):
        if rows.sets[first] or rows.homes[first]:
            _set(rows, first, state)
            continue
        low, high = np.searchsorted(at, (first, last))
        if low < high:
            part = slice(low, high)
            _fill(
                found,
                part,
                rows.relative[first],
                grid[part],
                to[part],
                start[part],
                centre[part],
                must[part],
                state,
            )
    return found


def _cuts(rows: ProgramRows) -> Index:
    """Where units, distances or what the axes count from change, with both ends."""
    own = rows.sets | rows.homes
    new = own | np.append(False, own[:-1])
    new[1:] |= (np.diff(rows.scale) != 0) | (np.diff(rows.relative.astype(np.int8)) != 0)
    new[0] = True
    return np.append(np.flatnonzero(new), rows.line.size)


def _set(rows: ProgramRows, k: int, state: WrittenState) -> None:
    """G92 counts from the written place, G28 brings axes to 0."""
    every = not any(rows.word[letter][k] >= 0 for letter in "XYZ")
    for axis, letter in enumerate("XY"):
        named = rows.word[letter][k] >= 0
        if rows.sets[k] and named:
            state.offset[axis] = state.place[axis] - rows.after[k, axis]
        if rows.homes[k] and (named or every):
            state.place[axis] = state.offset[axis] = 0.0


def _fill(
    found: WrittenRows,
    part: slice,
    relative: bool,
    grid: Array,
    to: Array,
    start: Array,
    centre: Array,
    must: Mask,
    state: WrittenState,
) -> None:
    """Rows of one unit and one kind of distance."""
    step = grid[:, None]
    zero = state.place if relative else state.offset
    n = np.rint((to - zero) / step)
    before = np.concatenate([(state.place - zero)[None] / step[:1], n[:-1]])
    begin = np.rint((start - zero) / step)
    ahead = must & (np.abs(begin - before) > OFF).any(axis=1)
    found.ahead[part] = ahead
    found.start[part] = begin - before if relative else begin
    before = np.where(ahead[:, None], begin, before)
    found.moved[part] = np.abs(n - before) > OFF
    found.place[part] = n - before if relative else n
    found.chord[part] = n - before
    found.centre[part] = np.rint((centre - zero) / step - before)
    state.place = np.asarray(zero + n[-1] * step[-1])
