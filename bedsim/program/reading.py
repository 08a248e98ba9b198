"""A motion program in, its stations out: what lies at which height, when, and how the bed came there.

A station is a stretch that lays material at one height; it ends where the height laid changes.  Lengths in
mm, as in the program; places are the machine's, with G92 counted in.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

import numpy as np

from bedsim.errors import UnreadableError
from bedsim.files import reason
from bedsim.program.fault import ProgramError
from bedsim.program.laid import Laid, Settings, laid_of
from bedsim.program.lexer import Array, Index, Mask, PassedOn, TextBlock, blocks
from bedsim.program.modes import ProgramRows, ProgramState, follow
from bedsim.program.outlines import Lines, Loop, joined_lines, loops, outer
from bedsim.program.times import durations
from bedsim.program.word_rows import RAPID

LEVEL = 5e-4  # mm: heights that differ by less are one
STILL = 1e-7  # mm
MOST_STATIONS = 20_000
LONGEST_RUN = 200_000  # moves kept until a run of lines ends
LARGEST = 2_000_000_000  # bytes
BELOW = "goes below the least that Z may have, {:g} mm (print.program_z_least_mm)"
ABOVE = "goes above the most that Z may have, {:g} mm (print.program_z_most_mm)"


@dataclass(slots=True)
class _Found:
    """What is known so far: the clock, the height laid last, parts of stations and motions of Z by block,
    lines of runs that are not done, loops."""

    settings: Settings
    clock: float = 0.0
    rows: int = 0
    stations: int = 0
    height: float = np.nan
    parts: list[Array] = field(default_factory=list)
    lifts: list[Array] = field(default_factory=list)
    pending: list[Lines] = field(default_factory=list)
    loops: dict[int, list[Loop]] = field(default_factory=dict)


def read_program(path: Path, settings: Settings, progress: Callable[[int], None] = lambda done: None) -> Laid:
    """Read a program; `progress` is told how many bytes are done.

    Raises ProgramError (line, word, rule) and UnreadableError.
    """
    try:
        if path.stat().st_size > LARGEST:
            raise UnreadableError(path, f"cannot be read: it is larger than {LARGEST / 1e9:g} GB")
        with path.open("rb") as stream:
            return read_stream(stream, settings, progress)
    except OSError as fault:
        raise UnreadableError(path, f"cannot be read: {reason(fault)}") from None


def read_stream(
    stream: BinaryIO, settings: Settings, progress: Callable[[int], None] = lambda done: None
) -> Laid:
    """The same of an open binary file."""
    found, passed, state = _Found(settings), PassedOn(), ProgramState()
    for block in blocks(stream, passed):
        rows, state = follow(block, state)
        if rows.line.size:
            _add(found, block, rows)
        progress(passed.size)
    if not found.parts:
        raise ProgramError(0, "", "lays nothing: no move in the plane with more of E")
    _end_runs(found, everything=True)
    return laid_of(
        np.concatenate(found.parts),
        np.concatenate(found.lifts) if found.lifts else np.zeros((0, 6)),
        found.loops,
        passed=dict(passed.words),
        settings=settings,
    )


def _add(found: _Found, block: TextBlock, rows: ProgramRows) -> None:
    """Count in the rows of a block."""
    seconds = durations(rows, found.settings.acceleration, found.settings.corner)
    done = found.clock + np.cumsum(seconds)
    step = rows.end - rows.start
    plane = rows.moves & ((np.hypot(step[:, 0], step[:, 1]) > STILL) | (rows.sweep != 0))
    lays, lifted = plane & (rows.extruded > 0), rows.moves & (np.abs(step[:, 2]) > STILL)
    _check_rows(block, rows, lays, lifted, found.settings)
    number = found.rows + np.arange(rows.line.size)
    ids = _stations(found, rows, lays)
    if lays.any():
        found.parts.append(_parts(block, rows, lays, ids, number, done, seconds))
    k = lifted & ~lays
    speed = rows.feed[k] * np.abs(step[k, 2]) / rows.way[k]
    found.lifts.append(
        np.stack([number[k], done[k] - seconds[k], done[k], rows.end[k, 2], step[k, 2], speed], axis=1)
    )
    moving = plane | lifted
    found.pending.append(
        Lines(
            start=rows.start[moving, :2],
            end=rows.end[moving, :2],
            centre=rows.centre[moving],
            sweep=rows.sweep[moving],
            lays=lays[moving],
            station=ids[moving],
            feed=np.where((rows.motion == RAPID) | lifted, 0.0, rows.feed)[moving],
        )
    )
    _end_runs(found)
    found.clock, found.rows = float(done[-1]), found.rows + rows.line.size


def _check_rows(block: TextBlock, rows: ProgramRows, lays: Mask, lifted: Mask, settings: Settings) -> None:
    height = rows.end[:, 2]
    for wrong, letter, rule in (
        (lays & lifted, "Z", "lays while Z moves: prints that rise in a spiral are not carried"),
        (lays & (rows.feed == 0), "E", "lays before the first feed (F)"),
        (lays & (height <= 0), "Z", "lays at or below the bed"),
        (lifted & (height < settings.least - LEVEL), "Z", BELOW.format(settings.least)),
        (lifted & (height > settings.most + LEVEL), "Z", ABOVE.format(settings.most)),
    ):
        if wrong.any():
            k = int(np.argmax(wrong))
            word = int(rows.word[letter][k])
            line = block.first_line + int(rows.line[k])
            raise ProgramError(line, block.word(word) if word >= 0 else "", rule)


def _stations(found: _Found, rows: ProgramRows, lays: Mask) -> Index:
    """The station (r,) that each row stands in, from 0."""
    height = rows.end[:, 2]
    at = np.flatnonzero(lays)
    change = np.zeros(lays.size, dtype=np.int64)
    before = np.append(found.height, height[at[:-1]]) if at.size else np.zeros(0)
    change[at] = ~(np.abs(height[at] - before) < LEVEL)
    ids = found.stations - 1 + np.cumsum(change)
    if at.size:
        found.height = float(height[at[-1]])
        found.stations = int(ids[-1]) + 1
    if found.stations > MOST_STATIONS:
        raise ProgramError(0, "", f"lays at more than {MOST_STATIONS:,} heights one after the other")
    return ids


def _parts(
    block: TextBlock,
    rows: ProgramRows,
    lays: Mask,
    ids: Index,
    number: Index,
    done: Array,
    seconds: Array,
) -> Array:
    """Of each station in a block a row: station, height, E laid, its moments in x and y, rows and instants
    of the first and last line, first line of the file."""
    at = np.flatnonzero(lays)
    first = np.flatnonzero(np.diff(ids[at], prepend=-2) > 0)
    last = np.append(first[1:], at.size) - 1
    e = rows.extruded[at]
    middle = _centres(rows, at) * e[:, None]
    return np.stack(
        [
            ids[at[first]],
            rows.end[at[first], 2],
            np.add.reduceat(e, first),
            np.add.reduceat(middle[:, 0], first),
            np.add.reduceat(middle[:, 1], first),
            number[at[first]],
            number[at[last]],
            (done - seconds)[at[first]],
            done[at[last]],
            block.first_line + rows.line[at[first]],
        ],
        axis=1,
    )


def _centres(rows: ProgramRows, at: Index) -> Array:
    """Centres (m, 2) of laid lines; of an arc on its middle's radius, at r sin(a/2)/(a/2) (any table of
    centroids)."""
    found = (rows.start[at, :2] + rows.end[at, :2]) / 2
    arcs = np.flatnonzero(rows.sweep[at] != 0)
    half = rows.sweep[at[arcs]] / 2
    out = rows.start[at[arcs], :2] - rows.centre[at[arcs]]
    c, s, near = np.cos(half), np.sin(half), np.sinc(half / np.pi)
    found[arcs] = rows.centre[at[arcs]] + near[:, None] * np.stack(
        [out[:, 0] * c - out[:, 1] * s, out[:, 0] * s + out[:, 1] * c], axis=1
    )
    return np.asarray(found)


def _end_runs(found: _Found, everything: bool = False) -> None:
    """Take the loops out of the runs that are done; keep the last run while it may go on."""
    every = joined_lines(found.pending)
    done, keep = loops(every, found.settings.width, ended=everything)
    if every.lays.size - keep > LONGEST_RUN:
        done, keep = loops(every, found.settings.width)
    for loop in done:
        found.loops.setdefault(loop.station, []).append(loop)
    found.pending = [every.part(slice(keep, None))]
    last = max(found.loops, default=0)
    for station in [k for k in found.loops if 1 < k < last and len(found.loops[k]) > 1]:
        found.loops[station] = outer(found.loops[station])
