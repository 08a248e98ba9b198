"""The reader of motion programs against a scalar one, and what it refuses."""

import io

import numpy as np
import pytest
from generated_programs import random_program
from scalar_reader import moves

from bedsim.program.fault import ProgramError
from bedsim.program.lexer import PassedOn, blocks
from bedsim.program.modes import ProgramState, follow


def read(text: str | bytes, size: int = 256 * 1024):
    """ProgramRows of every block with the block, the counts and the last state."""
    data = text.encode() if isinstance(text, str) else text
    passed, state, found = PassedOn(), ProgramState(), []
    for block in blocks(io.BytesIO(data), passed, size):
        rows, state = follow(block, state)
        found.append((block, rows))
    return found, passed, state


def flat(text: str, size: int = 256 * 1024) -> dict[str, np.ndarray]:
    """What moves, as arrays."""
    found, _, _ = read(text, size)
    keys = ("start", "end", "extruded", "feed", "motion", "centre", "sweep", "way")
    every = {key: np.concatenate([getattr(rows, key)[rows.moves] for _, rows in found]) for key in keys}
    every["line"] = np.concatenate([b.first_line + rows.line[rows.moves] for b, rows in found])
    return every


def same(text: str, size: int) -> None:
    ours, theirs = flat(text, size), moves(text)
    assert ours["line"].tolist() == [m.line for m in theirs]
    assert ours["motion"].tolist() == [m.kind for m in theirs]
    for key in ("start", "end", "extruded", "feed", "sweep"):
        np.testing.assert_allclose(
            ours[key], [getattr(m, key) for m in theirs], atol=1e-9, rtol=0, err_msg=key
        )
    arcs = [k for k, m in enumerate(theirs) if m.centre]
    if arcs:
        # by R near half a turn a rounding of the chord moves the centre by its root
        np.testing.assert_allclose(ours["centre"][arcs], [theirs[k].centre for k in arcs], atol=1e-6)


@pytest.mark.parametrize("part", range(4))
def test_generated_programs_are_read_as_the_scalar_reader_reads_them(part):
    for seed in range(part * 50, part * 50 + 50):
        same(random_program(seed), size=(256 * 1024, 700)[seed % 2])


@pytest.mark.long
@pytest.mark.parametrize("part", range(20))
def test_ten_thousand_generated_programs(part):
    for seed in range(1000 + part * 500, 1500 + part * 500):
        same(random_program(seed, moves=40), size=(256 * 1024, 500)[seed % 2])


AWKWARD = """%
N10 g0x +0. 12 34y 7
( a comment ; with a semicolon ) G1 (x) X10. Y-.5 ; and (another
X 5
Y+.25*71
G1 F 600 X0
n20 G1 Z0.2 E1*9
G92 E0
G28 X Y
G28
G1 X1 Y1 G91
X1
G90 G21 X7 E2.5
G2 X17 Y1 I5 J0
G3 X7 R5 E3
G2 I5
G3 X7 Y1 Z1 I5 J0 F300
G1 X0 Y0
G1
M117 G is a letter (
M104 S200 T0 X5
PRINT_START BED=60 X9
G20 X1 Y1
G21
M3 S100 X9
G1 X12 M106 S128
G4 P100
G4 S1
G92 X0 Y0 Z0
G0 X1
G70
X0.1
G71
G10
G11
G29 P1 A
G17 G40 G49 G80
G1 X1234567.890123456E-3
G1 X00012.5000 Y-0 Z-0.0
M83
G1 E.5 X2
M82
G1 E1 X3
T0
S500
;
()

M2
anything at all $$$ after the end
"""


def test_awkward_lines_are_read_as_the_scalar_reader_reads_them():
    text = AWKWARD.replace("X1234567.890123456E-3", "X12345.67890123456789E-3")
    for end in ("\n", "\r\n"):
        same(text.replace("\n", end), size=100)
        same(text.replace("\n", end), size=1 << 18)
    counted = {"M117": 1, "M104": 1, "PRINT_START": 1, "M106": 1}
    assert dict(read(text)[1].words) == counted


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("G18", "line 3, G18: arcs are read in the plane of X and Y"),
        ("G55 X1", "line 3, G55: work offsets"),
        ("G68 R30", "line 3, G68: turned"),
        ("G1 X#101", "line 3, #101: parameters"),
        ("#101 = 5", "line 3, #101 = 5: parameters"),
        ("G1 X[1+2]", "line 3, [1+2]: expressions"),
        ("G41 D1", "line 3, G41: cutter"),
        ("G2 X5 Y5", "line 3, X5: an arc without I, J or R"),
        ("G2 X5 I1 J0 R3", "line 3, R3: an arc has I and J, or R"),
        ("G2 R5", "line 3, R5: a full circle by R"),
        ("G2 X9 Y0 R1", "line 3, R1: the arc's end is farther"),
        ("G2 X9 Y0 I1", "line 3, X9: the arc's end lies on another radius"),
        ("G3 I0 J0", "line 3, I0: an arc of radius 0"),
        ("G1 X5 I2", "line 3, I2: belongs to an arc"),
        ("G1 X1 X2", "line 3, X2: stands twice"),
        ("G0 G1 X1", "line 3, G1: does not go with another"),
        ("G1 X1 A3", "line 3, A3: only the axes"),
        ("G1 X", "line 3, X: has no number"),
        ("G1 X1.2.3", "line 3, X1.2.3: is no number"),
        ("G1 X1-2", "line 3, X1-2: is no number"),
        ("G1 X--2", "line 3, X--2: is no number"),
        ("12 X5", "line 3, 12 X5: a word is a letter and a number"),
        ("G1 X5 ?", "line 3, ?: a word"),
        ("G1 (X5", "line 3, (X5: a comment that is not closed"),
        ("GO X5", "line 3, G: has no number"),
        ("G1 \x01", "line 3, \\x01: a word"),
        ("G1 X5 \u20ac", "line 3, \\xe2\\x82\\xac: a word"),
        ("/G1 X5", "line 3, /: whether a line after a slash"),
        ("M117 G1 X5", "line 3, M117: a G word behind it"),
        ("M1.2.3", "line 3, M1.2.3: is no number"),
        ("G5 X1", "line 3, G5: splines"),
        ("G90.1", "line 3, G90.1: arc centres"),
        ("G92.1", "line 3, G92.1: of G92"),
        ("G92", "line 3, G92: names no axis"),
        ("G93", "line 3, G93: feed is read"),
        ("G123", "line 3, G123: is no G word"),
        ("G1.05 X3", "line 3, G1.05: is no G word"),
        ("O100", "line 3, O100: subroutines"),
        ("G1 X9999999999", "line 3, X9999999999: is farther"),
        ("G1 X1 F-5", "line 3, F-5: is no feed"),
        ("G4 P-1", "line 3, P-1: is no time"),
        ("G10 L2 P1 X5", "line 3, L2: offsets set by G10"),
        ("G1 X\r5", "line 3: holds a carriage return"),
        ("G80 X5", "line 3, X5: no word from G0 to G3"),
        ("G1 X" + "1" * 1_100_000, "line 3: is longer than 1 MB"),
    ],
)
def test_what_is_not_read_is_told_with_line_and_word(line, words):
    with pytest.raises(ProgramError) as fault:
        read(f"G21\nG90\n{line}\nG1 X7\n")
    assert str(fault.value).startswith(words) or words in str(fault.value), str(fault.value)
    assert fault.value.line == 3


def test_blocks_are_the_file_byte_for_byte_and_words_stand_where_they_say():
    for seed in range(20):
        data = random_program(seed).encode()
        found, passed, _ = read(data, size=300)
        assert b"".join(block.raw for block, _ in found) == data
        assert passed.size == len(data)
        for block, _ in found:
            for k in range(block.line.size):
                word = block.raw[block.begin[k] : block.end[k]].upper()
                assert word[0] == block.letter[k]
                line = block.line[k]
                assert block.line_begin[line] <= block.begin[k] < block.end[k] <= block.line_end[line]
                assert float(word[1:].replace(b" ", b"").replace(b"\t", b"") or b"0") == block.value[k]
