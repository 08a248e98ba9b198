"""What the words of a motion program do: modes in force, places, arcs (RS-274, ISO 6983, DIN 66025).

    state = State()
    for block in blocks(stream):
        rows, state = follow(block, state)

A row is a line that holds words.  Lengths are in mm as a program's are, whatever its own units;
`stations.py` turns them to metres.  Axes are ordered X Y Z E.

Order of execution (NIST RS274/NGC Interpreter 3, NISTIR 6556, 2000): units, distance mode and feed act
before the motion of their line wherever they stand in it.  A mode is the last word of its group up to and
with each line: positions of those words, carried forward by a running maximum.

    program place = value at the last word that sets the axis + sum of increments since
    machine place = program place + offset

G92 adds (place before - value) to the offset: the machine stands still.

Arcs: centre = start + (I, J) in G90 and G91 alike; by R the shorter arc, by -R the longer one; an arc that
ends where it starts is a full circle; with Z it is a helix.  A word of an arc is never modal.

Common practice, no source: G28 brings its axes (all without one named) to 0 and clears their offsets; E is
relative where G91 or M83 holds; G4 waits P milliseconds or S seconds; G0 keeps to F; inches hold for E too;
G10, G11, G29 and G34 are passed on.  G70 and G71 are the DIN words for G20 and G21.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.program.lexer import Array, Block, Index, Mask

INCH = 25.4  # mm
FARTHEST = 1e6  # mm
FASTEST = 1e6  # mm/s
LONGEST_WAIT = 1e6  # s
ARC_ABSOLUTE, ARC_SHARE = 0.02, 0.001  # mm and share of the radius by which start and end may differ from it
FULL_TURN = 1e-9  # mm: start and end of an arc that are nearer are one
AXES = "XYZE"
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
RAPID, LINE, CLOCKWISE, COUNTER = range(4)
NO_MOTION = 4

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
_BARE = (280, 290, 340)  # their letters may stand without numbers


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """Modes and places between two lines: motion in force, mm per unit, whether places and E are relative,
    feed mm/s (0: none yet), program place and offset (X, Y, Z, E) mm."""

    motion: int = NO_MOTION
    scale: float = 1.0
    relative: bool = False
    relative_e: bool = False
    feed: float = 0.0
    place: Array = field(default_factory=lambda: np.zeros(4))
    offset: Array = field(default_factory=lambda: np.zeros(4))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rows:
    """Lines that hold words (r,), in order.

    `line`: index in the block; `word[letter]`: index of that word in the block, -1 where there is none (not
    of G and M); `motion`: 0 to 3 in force, 4: none; `moves`: whether the line moves; `scale` mm per unit;
    `relative`, `relative_e`: X Y Z, and E, by increments; `sets`: G92; `homes`: G28; `wait` s; `feed` mm/s
    (0: none yet). `before`, `after` (r, 4): program place X Y Z E mm; `offset` (r, 4): what the machine's
    is more, after the line. `start`, `end` (r, 3): machine place; `extruded` mm of E (0 where nothing
    moves); `way` mm of the path; arcs: `centre` (r, 2) machine place, `sweep` rad, counter-clockwise
    positive (0: no arc).
    """

    line: Index
    word: Mapping[str, Index]
    motion: Index
    moves: Mask
    scale: Array
    relative: Mask
    relative_e: Mask
    sets: Mask
    homes: Mask
    wait: Array
    feed: Array
    before: Array
    after: Array
    offset: Array
    start: Array
    end: Array
    extruded: Array
    way: Array
    centre: Array
    sweep: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Lines:
    """Rows of a block while they are read: `row` (words,) of each; `g[group]` (r,) tenths of the G word of
    a group, -1: none; `word`, `line` as in `Rows`."""

    block: Block
    line: Index
    row: Index
    word: Mapping[str, Index]
    g: Mapping[str, Index]

    @property
    def count(self) -> int:
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


def follow(block: Block, state: State) -> tuple[Rows, State]:
    """The rows of a block that begins in `state`, and the state after it.  Raises ProgramError."""
    lines = _read(block)
    if lines.count == 0:
        return _none(), state
    motion = _carry(lines.g["motion"], lines.g["motion"] >= 0, state.motion * 10 if state.motion < 4 else 800)
    motion = np.where(motion == 800, NO_MOTION, motion // 10)
    units = lines.g["units"]
    scale = _carry(np.where(np.isin(units, (200, 700)), INCH, 1.0), units >= 0, state.scale)
    distance = lines.g["distance"]
    relative = _carry(distance == 910, distance >= 0, state.relative)
    own_e, said = _extruder(lines)
    own_e = _carry(own_e, said, state.relative_e)
    owner = lines.g["owner"]
    free = owner < 0
    moves = free & (lines.has(AXES) | (lines.has("IJR") & (motion >= CLOCKWISE) & (motion < NO_MOTION)))
    _check_rows(lines, motion, moves, free)
    feed = _carry(lines.value("F") * scale / 60, free & (lines.word["F"] >= 0), state.feed)
    rows = _places(lines, state, motion, moves, scale, relative, own_e, feed)
    last = State(
        motion=int(motion[-1]),
        scale=float(scale[-1]),
        relative=bool(relative[-1]),
        relative_e=bool(own_e[-1]),
        feed=float(feed[-1]),
        place=rows.after[-1].copy(),
        offset=rows.offset[-1].copy(),
    )
    return rows, last


def _carry(values: NDArray[Any], given: Mask, before: float) -> NDArray[Any]:
    """Each row's value in force: of the last row up to and with it that gives one, `before` ahead of the
    first."""
    last = np.maximum.accumulate(np.where(given, np.arange(1, given.size + 1), 0))
    return np.append(np.asarray([before], dtype=values.dtype), values)[last]


def _read(block: Block) -> _Lines:
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
    found = _Lines(
        block=block,
        line=line,
        row=row,
        word={letter: words[:, k] for k, letter in enumerate(LETTERS)},
        g=_g_words(block, row, count, np.flatnonzero(is_g)),
    )
    loose = np.flatnonzero(block.bare & ~np.isin(found.g["owner"][row], _BARE))
    if loose.size:
        raise block.fault(int(loose[0]), "has no number")
    return found


def _g_words(block: Block, row: Index, count: int, at: Index) -> dict[str, Index]:
    """The G word of each group, by row."""
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


def _extruder(lines: _Lines) -> tuple[Mask, Mask]:
    """Where M82 and M83 stand: whether E is relative from there, and the rows that say so."""
    block = lines.block
    at = np.flatnonzero((block.letter == ord("M")) & ((block.value == 82) | (block.value == 83)))
    relative, said = np.zeros(lines.count, dtype=bool), np.zeros(lines.count, dtype=bool)
    relative[lines.row[at]], said[lines.row[at]] = block.value[at] == 83, True
    return relative, said


def _check_rows(lines: _Lines, motion: Index, moves: Mask, free: Mask) -> None:
    """Refuse words that do not belong where they stand, and numbers that no machine has."""
    arc = moves & (motion >= CLOCKWISE) & (motion < NO_MOTION)
    has = lines.has
    lines.refuse(free & has("ABCUVW"), "ABCUVW", "only the axes X, Y and Z, and E, are read")
    lines.refuse(has("O"), "O", "subroutines are not read")
    lines.refuse(moves & has("DHQK"), "DHQK", "does not belong to a move in the plane of X and Y")
    lines.refuse(moves & (motion == NO_MOTION), AXES, "no word from G0 to G3 holds here")
    lines.refuse(moves & ~arc & has("IJR"), "IJR", "belongs to an arc (G2, G3)")
    lines.refuse(arc & ~has("IJR"), AXES, "an arc without I, J or R")
    lines.refuse(arc & has("IJ") & has("R"), "R", "an arc has I and J, or R")
    lines.refuse(arc & has("P") & (lines.value("P") != 1), "P", "an arc of several turns is not read")
    lines.refuse((lines.g["owner"] == 100) & has("XYZLPR"), "LPXYZR", "offsets set by G10 are not read")
    lines.refuse((lines.g["owner"] == 920) & ~has(AXES), "", "names no axis")
    lines.refuse(has("F") & free & (lines.value("F") < 0), "F", "is no feed")
    for letter in "XYZIJRE":
        far = np.abs(lines.value(letter)) > FARTHEST / INCH * (100 if letter == "E" else 1)
        lines.refuse(far, letter, "is farther than any machine")
    lines.refuse(has("F") & (lines.value("F") > FASTEST), "F", "is faster than any machine")


def _places(
    lines: _Lines,
    state: State,
    motion: Index,
    moves: Mask,
    scale: Array,
    relative: Mask,
    own_e: Mask,
    feed: Array,
) -> Rows:
    """Where every row ends, in the program's own and the machine's coordinates."""
    sets, homes = lines.g["owner"] == 920, lines.g["owner"] == 280
    all_axes = homes & ~lines.has("XYZ")
    before, after, offset = (np.empty((lines.count, 4)) for _ in range(3))
    for k, letter in enumerate(AXES):
        has, value = lines.word[letter] >= 0, lines.value(letter) * scale
        by = moves & has & (relative | own_e if letter == "E" else relative)
        home = homes & (has | all_axes) & (letter != "E")
        given = (moves & has & ~by) | (sets & has) | home
        after[:, k] = _place(np.where(home, 0.0, value), given, np.where(by, value, 0.0), state.place[k])
        before[:, k] = np.append(state.place[k], after[:-1, k])
        step = np.where(sets & has, before[:, k] - after[:, k], 0.0)
        offset[:, k] = _place(np.zeros(lines.count), home, step, state.offset[k])
    offset_before = np.concatenate([state.offset[None, :3], offset[:-1, :3]])
    start, end = before[:, :3] + offset_before, after[:, :3] + offset[:, :3]
    start, end = np.where(moves[:, None], start, end), end
    centre, sweep, way = _paths(lines, start, end, motion, moves, scale)
    return Rows(
        line=lines.line,
        word=lines.word,
        motion=motion,
        moves=moves,
        scale=scale,
        relative=relative,
        relative_e=relative | own_e,
        sets=sets,
        homes=homes,
        wait=_waits(lines),
        feed=feed,
        before=before,
        after=after,
        offset=offset,
        start=start,
        end=end,
        extruded=np.where(moves, after[:, 3] - before[:, 3], 0.0),
        way=way,
        centre=centre,
        sweep=sweep,
    )


def _place(values: Array, given: Mask, steps: Array, before: float) -> Array:
    """The value at the last row that gives one, and the steps since."""
    total = np.cumsum(steps)
    return np.asarray(_carry(values - total, given, before) + total)


def _waits(lines: _Lines) -> Array:
    """Seconds of G4."""
    dwell = lines.g["owner"] == 40
    wait = np.where(dwell, lines.value("P") / 1000 + lines.value("S"), 0.0)
    lines.refuse(~((wait >= 0) & (wait <= LONGEST_WAIT)), "PS", "is no time to wait")
    return wait


def _paths(
    lines: _Lines, start: Array, end: Array, motion: Index, moves: Mask, scale: Array
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
    lines: _Lines, arcs: Index, chord: Array, radius: Array, turn: Array, by_radius: Mask
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


def _none() -> Rows:
    """No rows."""
    shapes: dict[str, Any] = {
        "before": np.zeros((0, 4)),
        "after": np.zeros((0, 4)),
        "offset": np.zeros((0, 4)),
        "start": np.zeros((0, 3)),
        "end": np.zeros((0, 3)),
        "centre": np.zeros((0, 2)),
        "word": dict.fromkeys(LETTERS, np.zeros(0, dtype=np.int64)),
        **dict.fromkeys(("line", "motion"), np.zeros(0, dtype=np.int64)),
        **dict.fromkeys(("scale", "wait", "feed", "extruded", "way", "sweep"), np.zeros(0)),
        **dict.fromkeys(("moves", "relative", "relative_e", "sets", "homes"), np.zeros(0, dtype=bool)),
    }
    return Rows(**shapes)
