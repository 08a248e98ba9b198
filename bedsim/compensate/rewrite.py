"""A corrected copy of a motion program: words replaced where they stand, all else byte for byte as it
was.

Source of the rules of a line: `bedsim/program/lexer.py`.  A word that a line lacks is added behind its
last one; a move that must come first is a line of its own, and a line that relied on the motion in force
then says it itself.  A checksum behind a changed line is made anew where it was one (exclusive or of all
bytes before it: common practice, no source) and goes where it was none.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import reduce
from operator import xor
from typing import BinaryIO

import numpy as np

from bedsim.compensate.stretches import Stretches
from bedsim.compensate.written_places import WrittenRows, WrittenState, written
from bedsim.program.lexer import Array, Index, Mask, PassedOn, TextBlock, blocks
from bedsim.program.modes import ProgramRows, ProgramState, follow

_CHECKSUM = re.compile(rb"\*[ \t]*([0-9]+)[ \t]*$")
_COMMENTS = re.compile(rb"\([^)\n]*\)")
_LEADING = re.compile(rb"\A(?:\xef\xbb\xbf)?(?:[ \t\r]*\n)*[ \t]*%[^\n]*\n|\A\xef\xbb\xbf")

CENTRE_OFF = 5.0
"""Last decimals by which an arc by R may have its centre aside: 0.5 um, where it is 0.3 for I and J."""

Corrections = tuple[Array, Array, Array]


@dataclass(slots=True)
class RewriteCount:
    """What was done: lines that were changed, lines put ahead, and the longest move mm."""

    changed: int = 0
    added: int = 0
    largest: float = 0.0


@dataclass(slots=True)
class _Edits:
    """Replacements in the bytes of a block: raw[begin:end] becomes text."""

    begin: list[int] = field(default_factory=list)
    end: list[int] = field(default_factory=list)
    text: list[bytes] = field(default_factory=list)

    def add(self, begin: Sequence[int], end: Sequence[int], text: Sequence[bytes]) -> None:
        self.begin += begin
        self.end += end
        self.text += text


def rewritten(
    stream: BinaryIO,
    stretches: Stretches,
    by: Corrections,
    count: RewriteCount,
    progress: Callable[[int], None] = lambda done: None,
) -> Iterator[bytes]:
    """The copy, block by block; `by` (s+1,) mm and rad by stretch, as `stretches.corrections` gives them."""
    passed, modes, state = PassedOn(), ProgramState(), WrittenState()
    for block in blocks(stream, passed):
        rows, modes_after = follow(block, modes)
        yield block.raw if rows.line.size == 0 else _copy(block, rows, modes, stretches, by, state, count)
        modes = modes_after
        progress(passed.size)


def _copy(
    block: TextBlock,
    rows: ProgramRows,
    modes: ProgramState,
    stretches: Stretches,
    by: Corrections,
    state: WrittenState,
    count: RewriteCount,
) -> bytes:
    stretch = stretches.of_lines(block.first_line + rows.line)
    told = written(rows, (by[0][stretch], by[1][stretch], by[2][stretch]), state, stretches.decimals)
    count.largest = max(count.largest, told.largest)
    edits = _Edits()
    touched = [_moves_ahead(block, rows, modes, told, edits)]
    last = block.end[np.searchsorted(block.line, rows.line[told.row], side="right") - 1]
    turns = rows.sweep[told.row] != 0
    arcs = turns & (rows.word["R"][told.row] < 0)
    touched.append(_radii(block, rows, told, np.flatnonzero(turns & ~arcs), edits))
    for axis, letter in enumerate("XY"):
        touched.append(
            _words(block, rows, told, letter, told.place[:, axis], told.moved[:, axis], last, edits)
        )
    for axis, letter in enumerate("IJ"):
        values = told.centre[:, axis]
        touched.append(
            _words(block, rows, told, letter, values, arcs & (values != 0), last, edits, only=arcs)
        )
    count.added += int(np.count_nonzero(told.ahead))
    lines = np.unique(np.concatenate(touched))
    count.changed += lines.size
    if lines.size == 0 and not told.ahead.any():
        return block.raw
    if b"*" in block.raw:
        _checksums(block, lines, edits)
    return _applied(block.raw, edits)


def _words(
    block: TextBlock,
    rows: ProgramRows,
    told: WrittenRows,
    letter: str,
    whole: Array,
    needed: Mask,
    last: Index,
    edits: _Edits,
    only: Mask | None = None,
) -> Index:
    """Replace the words of a letter that differ, add those that are needed and lacking; lines that
    change."""
    index = rows.word[letter][told.row]
    has = index >= 0 if only is None else (index >= 0) & only
    value = whole / 10.0**told.decimals + 0.0
    old = np.where(has, block.value[index], 0.0) if block.value.size else value
    differs = np.flatnonzero(has & (np.abs(value - old) * 10.0**told.decimals > 0.25))
    begin, end = block.begin[index[differs]], block.end[index[differs]]
    texts = [
        b"%.*f" % pair for pair in zip(told.decimals[differs].tolist(), value[differs].tolist(), strict=True)
    ]
    raw = block.raw
    firsts = begin.tolist()
    new = [raw[b : b + 1] + text for b, text in zip(firsts, texts, strict=True)]
    if b"(" in raw:  # a comment inside a word stays behind it
        new = [
            text + b"".join(_COMMENTS.findall(raw[b:e]))
            for text, b, e in zip(new, firsts, end.tolist(), strict=True)
        ]
    edits.add(firsts, end.tolist(), new)
    lacking = np.flatnonzero((index < 0) & needed)
    name = letter.encode()
    edits.add(
        last[lacking].tolist(),
        last[lacking].tolist(),
        [
            b" %s%.*f" % (name, d, v)
            for d, v in zip(told.decimals[lacking].tolist(), value[lacking].tolist(), strict=True)
        ],
    )
    return np.concatenate([rows.line[told.row[differs]], rows.line[told.row[lacking]]])


def _radii(block: TextBlock, rows: ProgramRows, told: WrittenRows, by: Index, edits: _Edits) -> Index:
    """Give arcs by R (`by`, of those told) by I and J where R would put their centre elsewhere; lines that
    change.  Geometry as in `bedsim/program/arcs.py`."""
    word = rows.word["R"][told.row[by]]
    radius = block.value[word] * 10.0 ** told.decimals[by] if by.size else np.zeros(0)
    x, y = told.chord[by].T
    length = np.maximum(np.hypot(x, y), 1.0)
    height = np.sqrt(np.maximum(radius**2 - length**2 / 4, 0.0))
    height *= np.sign(rows.sweep[told.row[by]]) * np.sign(radius) / length
    centre = np.stack([x / 2 - y * height, y / 2 + x * height], axis=1)
    off = np.flatnonzero(np.hypot(*(centre - told.centre[by]).T) > CENTRE_OFF)
    for k, w in zip(by[off].tolist(), word[off].tolist(), strict=True):
        begin, end, d = int(block.begin[w]), int(block.end[w]), int(told.decimals[k])
        i, j = told.centre[k] / 10.0**d + 0.0
        comments = b"".join(_COMMENTS.findall(block.raw[begin:end]))
        edits.add([begin], [end], [b"I%.*f J%.*f%s" % (d, i, d, j, comments)])
    return np.asarray(rows.line[told.row[by[off]]])


def _moves_ahead(
    block: TextBlock, rows: ProgramRows, modes: ProgramState, told: WrittenRows, edits: _Edits
) -> Index:
    """Lines of their own ahead of lines that lay or turn from another place; the lines that then have to say
    their own motion."""
    said = []
    for k in np.flatnonzero(told.ahead).tolist():
        row = int(told.row[k])
        line = int(rows.line[row])
        begin = int(block.line_begin[line])
        head = b"G0" if _feed_before(rows, row, modes) == 0 else b"G1"
        if rows.relative[row] != (rows.relative[row - 1] if row else modes.relative):
            head = (b"G91 " if rows.relative[row] else b"G90 ") + head
        if rows.scale[row] != (rows.scale[row - 1] if row else modes.scale):
            head = (b"G21 " if rows.scale[row] == 1.0 else b"G20 ") + head
        x, y = told.start[k] / 10.0 ** told.decimals[k] + 0.0
        d = int(told.decimals[k])
        returned = block.raw[int(block.line_end[line]) : int(block.line_end[line]) + 1] == b"\r"
        text = b"%s X%.*f Y%.*f%s" % (head, d, x, d, y, b"\r\n" if returned else b"\n")
        edits.add([begin], [begin], [text])
        words = np.flatnonzero(block.line == line)
        own = (block.letter[words] == ord("G")) & (block.value[words] < 4)
        if not own.any():
            first = words[block.letter[words] != ord("N")][0]
            place = int(block.begin[first])
            edits.add([place], [place], [b"G%d " % int(rows.motion[row])])
            said.append(line)
    return np.array(said, dtype=np.int64)


def _feed_before(rows: ProgramRows, row: int, modes: ProgramState) -> float:
    return float(rows.feed[row - 1]) if row else modes.feed


def _applied(raw: bytes, edits: _Edits) -> bytes:
    """The bytes with all replacements; of those at one place in the order in which they came."""
    begin, end = np.array(edits.begin), np.array(edits.end)
    order = np.argsort(begin, kind="stable").tolist()
    starts, stops = [0, *end[order].tolist()], [*begin[order].tolist(), len(raw)]
    pieces: list[bytes] = [b""] * (2 * len(order) + 1)
    pieces[0::2] = [raw[a:b] for a, b in zip(starts, stops, strict=True)]
    pieces[1::2] = [edits.text[k] for k in order]
    return b"".join(pieces)


def _checksums(block: TextBlock, lines: Index, edits: _Edits) -> None:
    """Make checksums of changed lines anew."""
    for line in lines.tolist():
        begin, end = int(block.line_begin[line]), int(block.line_end[line])
        text = block.raw[begin:end]
        found = _CHECKSUM.search(text)
        if found is None or b";" in text:
            continue
        inside = [
            k for k, b in enumerate(edits.begin) if begin <= b <= end and not edits.text[k].endswith(b"\n")
        ]
        own = _Edits(
            begin=[edits.begin[k] - begin for k in inside],
            end=[edits.end[k] - begin for k in inside],
            text=[edits.text[k] for k in inside],
        )
        kept = reduce(xor, text[: found.start()], 0) == int(found[1])
        new = _applied(text[: found.start()], own)
        place = begin + found.start()
        edits.add([place], [begin + found.end()], [b"*%d" % reduce(xor, new, 0) if kept else b""])


def with_comment(first: bytes, words: str) -> bytes:
    """The first block with a comment of its own after any leading %, in the line ends that it has."""
    plain = re.sub(r"[^ -'*-~]", " ", words)  # no brackets inside, nothing but ASCII
    ends = b"\r\n" if b"\r\n" in first else b"\n"
    found = _LEADING.match(first)
    at = found.end() if found is not None else 0
    return first[:at] + b"(" + plain.encode("ascii") + b")" + ends + first[at:]
