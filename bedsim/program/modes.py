"""What the words of a motion program do: modes in force, places, arcs (RS-274, ISO 6983, DIN 66025).

    state = ProgramState()
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

from bedsim.program.arcs import paths
from bedsim.program.lexer import Array, Index, Mask, TextBlock
from bedsim.program.word_rows import AXES, CLOCKWISE, LETTERS, NO_MOTION, WordRows, sorted_rows

INCH = 25.4  # mm
FARTHEST = 1e6  # mm
FASTEST = 1e6  # mm/s
LONGEST_WAIT = 1e6  # s


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgramState:
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
class ProgramRows:
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


def follow(block: TextBlock, state: ProgramState) -> tuple[ProgramRows, ProgramState]:
    """The rows of a block that begins in `state`, and the state after it.  Raises ProgramError."""
    lines = sorted_rows(block)
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
    last = ProgramState(
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


def _extruder(lines: WordRows) -> tuple[Mask, Mask]:
    """Where M82 and M83 stand: whether E is relative from there, and the rows that say so."""
    block = lines.block
    at = np.flatnonzero((block.letter == ord("M")) & ((block.value == 82) | (block.value == 83)))
    relative, said = np.zeros(lines.count, dtype=bool), np.zeros(lines.count, dtype=bool)
    relative[lines.row[at]], said[lines.row[at]] = block.value[at] == 83, True
    return relative, said


def _check_rows(lines: WordRows, motion: Index, moves: Mask, free: Mask) -> None:
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
    lines: WordRows,
    state: ProgramState,
    motion: Index,
    moves: Mask,
    scale: Array,
    relative: Mask,
    own_e: Mask,
    feed: Array,
) -> ProgramRows:
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
    centre, sweep, way = paths(lines, start, end, motion, moves, scale)
    return ProgramRows(
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


def _waits(lines: WordRows) -> Array:
    """Seconds of G4."""
    dwell = lines.g["owner"] == 40
    wait = np.where(dwell, lines.value("P") / 1000 + lines.value("S"), 0.0)
    lines.refuse(~((wait >= 0) & (wait <= LONGEST_WAIT)), "PS", "is no time to wait")
    return wait


def _none() -> ProgramRows:
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
    return ProgramRows(**shapes)
