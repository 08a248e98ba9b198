"""Words of a motion program (ISO 6983, DIN 66025, RS-274), read in blocks as numpy arrays.

    for block in blocks(stream):        # stream: a binary file; blocks of some 256 KiB, whole lines
        block.raw                       # the bytes as they stand, with their line ends
        block.first_line                # number of its first line in the file, from 1
        block.line_begin, .line_end     # (lines,) offsets in raw, line ends not included
        block.line, .letter, .value     # (words,) index of the line in the block, capital as a byte, number
        block.bare                      # (words,) a letter without a number; its value is 0
        block.begin, .end               # (words,) raw[begin:end] is the word as it stands, letter first

Joined, the `raw` of all blocks are the file, byte for byte.  A rewriter replaces raw[begin:end] of words
and adds new ones after the last `end` of a line, or at `line_begin` where it has none: comments and
checksums stand behind or between words and are no words.  A word may hold blanks ("X 1 . 5"), and comments
between its characters.

What gives no words: comments "(...)" and from ";" on, "%" lines, a checksum "*nn" at the end of a line,
names of three or more letters with all that follows them, and M words that are not the standard's own with
all that follows (`PassedOn` counts them).  After M2 or M30 nothing is read: `TextBlock.ended`, the rest
gives no words.

Refused with line and word (`ProgramError`): what is neither word nor number, "/" (whether such a line runs
is set by a switch), a carriage return that ends no line, a line above 1 MB.

Line format: NIST RS274/NGC Interpreter 3, NISTIR 6556, 2000: case does not matter, blanks outside comments
mean nothing, "10.", "+.25" and "-.5" are numbers.  ";", "*" and names are common practice, no source.
Numbers of up to 15 digits are correctly rounded: whole number and power of ten are exact, and one division
rounds once.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from bedsim.program.fault import ProgramError, shown

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Bytes = NDArray[np.uint8]
Mask = NDArray[np.bool_]

BLOCK = 256 * 1024  # bytes: larger ones leave the cache and are slower
LONGEST_LINE = 1_000_000  # bytes
EXACT_DIGITS = 15  # of a whole number that a double holds for certain
NEWLINE, BLANK, DOT, PLUS, MINUS = b"\n .+-"
STANDARD_M = frozenset([*range(10), 30, 48, 49, 60])  # RS-274: they own no word but P, S and T
EXTRUDER_M = frozenset([82, 83])  # E absolute, E relative: common practice
ENDS = frozenset([2, 30])

_UPPER = bytes(BLANK if c in b"\t\r" else c for c in range(256)).upper()
_POWERS = 10.0 ** np.arange(23)
_COMMENT = re.compile(rb"\([^)\n]*\)|;[^\n]*|\*[ \t]*[0-9]+[ \t\r]*(?=\n)")
# the lines that begin with another thing than a word of G, axis or feed
_LED = re.compile(
    rb"\n[ \t]*(?:[Nn][ \t]*[0-9]+[ \t]*)?(?:(?P<m>[Mm][ \t]*[0-9.]+)|(?P<other>[%/]|[A-Za-z_]{3}))[^\n]*"
)
_MORE_G = re.compile(rb"[Gg][ \t]*[0-9]")
_WORDS = re.compile(rb"(?:[ \t\r]*[A-Za-z][ \t]*[+-]?[ \t]*[0-9. \t]*)*[ \t\r]*")
_LONE_RETURN = re.compile(rb"\r(?!\n)")


@dataclass(slots=True)
class PassedOn:
    """Lines that are passed on as they stand, counted by their first word, and the lines and bytes read so
    far."""

    words: Counter[str] = field(default_factory=Counter)
    lines: int = 0
    size: int = 0
    ended: bool = False

    def count(self, word: bytes) -> None:
        """One more of a word that is passed on."""
        self.words[shown(word)] += 1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TextBlock:
    """Whole lines of a program with their words, as the module's text tells."""

    raw: bytes
    first_line: int
    line_begin: Index
    line_end: Index
    line: Index
    letter: Bytes
    value: Array
    bare: Mask
    begin: Index
    end: Index
    ended: bool

    def word(self, index: int) -> str:
        """A word as it stands, for messages."""
        return shown(self.raw[int(self.begin[index]) : int(self.end[index])])

    def fault(self, index: int, rule: str) -> ProgramError:
        """That a word is not taken."""
        return ProgramError(self.first_line + int(self.line[index]), self.word(index), rule)


def blocks(stream: BinaryIO, passed: PassedOn | None = None, size: int = BLOCK) -> Iterator[TextBlock]:
    """Blocks of whole lines; `passed` is counted on while they come.  Raises ProgramError."""
    passed = passed if passed is not None else PassedOn()
    for raw in _whole_lines(stream, size):
        block = _rest(raw, passed) if passed.ended else _block(raw, passed)
        passed.lines += block.line_begin.size
        passed.size += len(raw)
        passed.ended = block.ended
        yield block


def _whole_lines(stream: BinaryIO, size: int) -> Iterator[bytes]:
    """The file cut after line ends."""
    kept, line = b"", 1
    while data := stream.read(size):
        cut = data.rfind(b"\n") + 1
        if cut == 0:
            kept += data
            if len(kept) > LONGEST_LINE:
                raise ProgramError(line, "", f"is longer than {LONGEST_LINE / 1e6:g} MB")
            continue
        whole, kept = kept + data[:cut], data[cut:]
        line += whole.count(b"\n")
        yield whole
    if kept:
        yield kept


def _rest(raw: bytes, passed: PassedOn) -> TextBlock:
    """A block after the end of the program: lines without words."""
    begin, end = _lines(raw)
    none = np.zeros(0, dtype=np.int64)
    return TextBlock(
        raw=raw,
        first_line=passed.lines + 1,
        line_begin=begin,
        line_end=end,
        line=none,
        letter=none.astype(np.uint8),
        value=none.astype(float),
        bare=none.astype(bool),
        begin=none,
        end=none,
        ended=True,
    )


def _lines(raw: bytes) -> tuple[Index, Index]:
    """Where lines begin and where their text ends, without line ends."""
    text = np.frombuffer(raw, dtype=np.uint8)
    end = np.flatnonzero(text == NEWLINE)
    if text[-1] != NEWLINE:
        end = np.append(end, text.size)
    begin = np.append(0, end[:-1] + 1)
    returns = (end > begin) & (text[np.maximum(end - 1, 0)] == ord("\r"))
    return begin, end - returns


def _block(raw: bytes, passed: PassedOn) -> TextBlock:
    first_line = passed.lines + 1
    text, ended = _bare_text(raw, first_line, passed)
    kept = np.flatnonzero(text != BLANK)
    text = text[kept]
    new_line = text == NEWLINE
    letters = (text - np.uint8(65)) < 26
    marks = np.flatnonzero(letters | new_line)
    _check_letters(raw, first_line, text, letters, new_line, kept)
    value, digits, bad = _numbers(text, marks)
    is_word = letters[marks]
    starts, stops = marks[is_word], np.append(marks[1:], text.size)[is_word]
    begin, end = _lines(raw)
    block = TextBlock(
        raw=raw,
        first_line=first_line,
        line_begin=begin,
        line_end=end,
        line=np.cumsum(~is_word, dtype=np.int64)[is_word],
        letter=text[starts],
        value=value[is_word],
        bare=stops == starts + 1,
        begin=kept[starts],
        end=kept[stops - 1] + 1,
        ended=ended,
    )
    wrong = np.flatnonzero(bad[is_word] & ~block.bare)
    if wrong.size:
        raise block.fault(int(wrong[0]), "is no number: digits with one point and one sign at most")
    for k in np.flatnonzero(digits[is_word] > EXACT_DIGITS):
        block.value[k] = float(bytes(text[starts[k] + 1 : stops[k]]))
    for k in np.flatnonzero(block.letter == ord("M")):
        if block.value[k] not in STANDARD_M | EXTRUDER_M:  # behind a G word, with words of its own
            passed.count(f"M{block.value[k]:g}".encode())
    return block


def _bare_text(raw: bytes, first_line: int, passed: PassedOn) -> tuple[Bytes, bool]:
    """Words alone, in capitals, every other byte a blank; whether the program ends here.  As long as
    `raw`."""
    if raw.count(b"\r") != raw.count(b"\r\n"):
        at = _LONE_RETURN.search(raw)
        if at is not None and at.end() < len(raw):  # the last line of a file may end so
            raise ProgramError(
                first_line + raw.count(b"\n", 0, at.start()), "", "holds a carriage return that ends no line"
            )
    clean = b"\n" + (raw if raw.endswith(b"\n") else raw + b"\n")
    if passed.lines == 0 and clean.startswith(b"\n\xef\xbb\xbf"):
        clean = b"\n   " + clean[4:]
    if b";" in clean or b"(" in clean or b"*" in clean:
        clean = _COMMENT.sub(lambda m: b" " * len(m[0]), clean)
    led = _Led(clean, first_line, passed)
    clean = _LED.sub(led.kept, clean)
    if led.ended is not None:
        clean = clean[: led.ended] + re.sub(rb"[^\n]", b" ", clean[led.ended :])
    found = np.frombuffer(clean.translate(_UPPER), dtype=np.uint8)[1:]
    return found[: len(raw)], led.ended is not None


class _Led:
    """Lines that begin with M, a name or a sign, one after the other."""

    def __init__(self, text: bytes, first_line: int, passed: PassedOn) -> None:
        self.text, self.first_line, self.passed = text, first_line, passed
        self.ended: int | None = None  # where the text after the program's end begins

    def kept(self, found: re.Match[bytes]) -> bytes:
        """What of the line is words: all of it, or blanks."""
        line, nothing = found[0], b"\n" + b" " * (len(found[0]) - 1)
        if self.ended is not None:
            return nothing
        if found["m"]:
            return self._of_m(found, nothing)
        if found["other"] == b"/":
            raise self._fault(
                found, "/", "whether a line after a slash runs is set by a switch: take one away"
            )
        if found["other"] != b"%":
            self.passed.count(line[found.start("other") - found.start() :].split()[0])
        return nothing

    def _of_m(self, found: re.Match[bytes], nothing: bytes) -> bytes:
        rest, name = found[0][found.end("m") - found.start() :], shown(found["m"].upper().replace(b" ", b""))
        try:
            number = float(name[1:])
        except ValueError:
            raise self._fault(found, name, "is no number") from None
        words = _WORDS.fullmatch(rest) is not None
        if words and number in ENDS:  # M30 with a name behind it deletes a file: common practice
            self.ended = found.end()
            return nothing
        if words and number in EXTRUDER_M | STANDARD_M:
            return found[0]
        if words and _MORE_G.search(rest):
            raise self._fault(
                found, name, "a G word behind it may be text or motion: give it a line of its own"
            )
        self.passed.count(name.encode())
        return nothing

    def _fault(self, found: re.Match[bytes], word: str, rule: str) -> ProgramError:
        return ProgramError(self.first_line + self.text.count(b"\n", 1, found.start() + 1), word, rule)


def _check_letters(
    raw: bytes, first_line: int, text: Bytes, letters: Mask, new_line: Mask, kept: Index
) -> None:
    """Refuse what is neither letter, number nor line end, and numbers that follow no letter."""
    known = letters | new_line | ((text - np.uint8(48)) < 10)
    known |= (text == DOT) | (text == PLUS) | (text == MINUS)
    first = np.append(True, new_line[:-1])
    wrong = np.flatnonzero(~known | (first & ~(letters | new_line)))
    if wrong.size == 0:
        return
    at = int(kept[wrong[0]])
    end = raw.find(b"\n", at)
    word = shown(raw[at : min(at + 40, end if end >= 0 else len(raw))])
    rules = {
        ord("#"): "parameters are not read",
        ord("["): "expressions are not read",
        ord("="): "parameters are not read",
        ord("("): "a comment that is not closed",
    }
    usual = "a word is a letter and a number"
    raise ProgramError(first_line + raw.count(b"\n", 0, at), word, rules.get(int(text[wrong[0]]), usual))


def _numbers(text: Bytes, marks: Index) -> tuple[Array, Index, Mask]:
    """Of what stands between letters and line ends: the number, how many digits it has, whether it is
    none."""
    if marks.size == 0:
        return np.zeros(0), np.zeros(0, dtype=np.int64), np.zeros(0, dtype=bool)
    digit = text - np.uint8(48)
    is_digit = digit < 10
    before = np.cumsum(is_digit, dtype=np.int32)  # digits up to and with each byte
    length = np.diff(np.append(marks, text.size))
    last = before[np.append(marks[1:], text.size) - 1]
    digits = last - before[marks]
    places = np.repeat(last, length)[is_digit[marks[0] :]] - before[is_digit]
    part = np.zeros(text.size)
    part[is_digit] = digit[is_digit] * _POWERS[np.minimum(places, 22)]
    whole = np.add.reduceat(part, marks)
    point = np.flatnonzero(text == DOT)
    sign = np.flatnonzero((text == MINUS) | (text == PLUS))
    of_point, of_sign = (np.searchsorted(marks, at, side="right") - 1 for at in (point, sign))
    bad = digits == 0
    bad[of_point[1:][np.diff(of_point) == 0]] = True
    bad[of_sign[sign != marks[of_sign] + 1]] = True
    decimals = np.zeros(marks.size, dtype=np.int64)
    decimals[of_point] = last[of_point] - before[point]
    value = whole / _POWERS[np.minimum(decimals, 22)]
    minus = of_sign[text[sign] == MINUS]
    value[minus] = -value[minus]
    return value, digits.astype(np.int64), bad
