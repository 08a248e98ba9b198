"""What a program lays: stations, times, hops, material, outlines, against its maker and scalar sums."""

import io
import math

import numpy as np
import pytest
from generated_programs import random_program
from invented_part import (
    CORNER,
    FILE,
    FIRST,
    HOP,
    LAYER,
    LAYERS,
    POST,
    POST_AT,
    SIZE,
    WIDTH,
    WITHOUT_HOP,
    program,
)
from scalar_reader import moves

from bedsim.program.fault import ProgramError
from bedsim.program.laid import FIRST_COLUMNS, Settings, from_tables, outline_name
from bedsim.program.lexer import blocks
from bedsim.program.modes import ProgramState, follow
from bedsim.program.reading import read_stream
from bedsim.program.times import durations

SETTINGS = Settings(acceleration=1500.0, corner=8.0, width=WIDTH, least=-2.0, most=50.0)


def laid(text: str):
    return read_stream(io.BytesIO(text.encode()), SETTINGS)


def test_the_shipped_program_is_what_its_maker_writes():
    assert FILE.read_text("utf-8") == program()


def test_heights_hops_and_material_of_the_invented_part():
    found = laid(program())
    top = FIRST + LAYER * np.arange(LAYERS)
    np.testing.assert_allclose(found.height, top, atol=1e-9)
    np.testing.assert_allclose(found.thickness, [FIRST] + [LAYER] * (LAYERS - 1), atol=1e-9)
    bare = np.isin(np.arange(1, LAYERS + 1), WITHOUT_HOP)
    np.testing.assert_allclose(found.hop[1:], np.where(bare, 0.0, HOP)[1:], atol=1e-9)
    assert found.first.tolist() == [1] * LAYERS
    sums = {}
    for move in moves(program()):
        if move.extruded > 0 and (move.start[:2] != move.end[:2] or move.sweep):
            sums[round(move.end[2], 6)] = sums.get(round(move.end[2], 6), 0.0) + move.extruded
    np.testing.assert_allclose(found.extruded, list(sums.values()), rtol=1e-12)
    assert found.passed == {"M104": 2}


def test_outlines_are_the_parts_two_walls():
    """Area of a plate with round corners and of a circle (geometry), at the middle of the outer line."""
    found = laid(program())
    for layer in (1, 2, 20, 40):
        areas = sorted(abs(area(points)) for points in found.loops(layer))
        w, d, r = SIZE[0] - WIDTH, SIZE[1] - WIDTH, CORNER - WIDTH / 2
        expected = [math.pi * (POST - WIDTH / 2) ** 2, w * d - (4 - math.pi) * r * r]
        np.testing.assert_allclose(
            areas, expected, rtol=3e-3
        )  # chords of 6 degrees: (2 - x^2/6)/2 of a circle
        post = min(found.loops(layer), key=lambda p: abs(area(p)))
        np.testing.assert_allclose((post.min(axis=0) + post.max(axis=0)) / 2, POST_AT, atol=0.02)


def area(points) -> float:
    x, y = points.T
    return float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)) / 2)


def square(x: float, y: float, side: float, e: float = 1.0) -> str:
    """A square from its front left corner, counter-clockwise."""
    corners = [(x + side, y), (x + side, y + side), (x, y + side), (x, y)]
    lines = [f"G1 X{a:.3f} Y{b:.3f} E{e} F1200\n" for a, b in corners]
    return f"G0 X{x} Y{y} F6000\n" + "".join(lines)


def test_objects_one_after_the_other_begin_again():
    text = "G21 G90\nM83\n"
    for x in (20, 80):
        text += "G1 Z5 F600\n" + "".join(f"G1 Z{0.2 * k:.2f} F600\n{square(x, 30, 10)}" for k in (1, 2, 3))
    found = laid(text)
    assert found.first.tolist() == [1, 1, 1, 4, 4, 4]
    np.testing.assert_allclose(found.thickness, 0.2, atol=1e-9)
    np.testing.assert_allclose(found.x, [25] * 3 + [85] * 3, atol=1e-9)


def test_a_skirt_is_no_wall_and_priming_no_layer():
    text = "G21 G90\nM83\nG1 Z0.4 F600\nG0 X5 Y5 F6000\nG1 X60 E1 F1200\nG1 Z0.2 F600\n" + square(10, 10, 60)
    text += square(30, 30, 20, 4)
    text += "".join(f"G1 Z{0.2 * k:.2f} F600\n{square(30, 30, 20, 4)}" for k in (2, 3))
    found = laid(text)
    assert found.primed == 1
    assert found.count == 3
    for layer in (1, 2, 3):
        assert [round(abs(area(p))) for p in found.loops(layer)] == [400]


def test_a_hole_is_no_wall_and_islands_are():
    text = "G21 G90\nM83\nG1 Z0.2 F600\n" + square(10, 10, 30) + square(15, 15, 20) + square(60, 10, 12)
    assert sorted(round(abs(area(p))) for p in laid(text).loops(1)) == [144, 900]


BACK, AGAIN = "G1 E-0.8 F2400\n", "G1 E0.8 F2400\n"
BREAKS = {
    "drawn back": BACK + AGAIN,
    "drawn back and wiped": BACK + "G1 X15 Y10 F6000\nG1 X20 Y10\n" + AGAIN,
    "parked meanwhile": BACK + "G1 Z3\nG0 X0 Y0\nG4 S1\nG0 X20 Y10\nG1 Z{z:.1f}\n" + AGAIN,
    "a stretch without material": "G1 X20 Y14 F1200\n",
}


@pytest.mark.parametrize("between", BREAKS.values(), ids=BREAKS)
def test_a_wall_that_is_broken_is_one_wall(between):
    """A square of 10 mm whose second side is begun anew or late, its end closed without material; comments
    cut the file into many blocks."""
    texts = []
    for behind in ("", "(" + 4000 * "-" + ")"):
        text = "G21 G90\nM83\n"
        for k in range(1, 21):
            text += f"G1 Z{0.2 * k:.1f} F600\n{square(40, 10, 8)}G0 X10 Y10 F6000\nG1 X20 Y10 E1 F1200\n"
            text += between.format(z=0.2 * k) + "G1 X20 Y20 E1 F1200\nX10 Y20 E1\nX10 Y12 E.8\nX10 Y10\n"
        texts.append(text.replace("\n", behind + "\n"))
    plain, cut = (laid(text) for text in texts)
    np.testing.assert_array_equal(plain.outlines, cut.outlines)
    for layer in (1, 10, 20):
        assert sorted(round(abs(area(p)), 6) for p in plain.loops(layer)) == [64, 100]


def test_a_travel_at_its_own_feed_breaks_a_wall():
    """An open U and another: no wall, whatever lies between."""
    text = "G21 G90\nM83\nG1 Z.2 F600\n"
    for x, to in ((10, 40), (40, 10)):
        text += f"G1 X{x} Y10 E1 F1200\nX{x} Y20 E1\nX{to} Y20 F6000\n"
    assert laid(text).loops(1) == []


def test_speeds_of_z_are_those_of_its_words():
    """There at F60, on to the hop at F120, back at F90; the last layer without a hop at F30."""
    text = "G21 G90\nM83\nG1 Z.2 F600\n" + square(10, 10, 10)
    text += "G1 Z.4 F60\nZ1.4 F120\nG0 X10 Y10\nG1 Z.4 F90\n" + square(10, 10, 10)
    text += "G1 Z.6 F30\n" + square(10, 10, 10)
    found = laid(text)
    np.testing.assert_allclose(found.speed, [10, 1.2 / (0.2 / 1 + 1 / 2), 0.5], atol=1e-6)
    np.testing.assert_allclose(found.back, [10, 1.5, 0.5], atol=1e-6)
    np.testing.assert_allclose(found.hop, [0, 1, 0], atol=1e-9)


def test_hops_between_the_lines_of_a_layer_are_counted():
    text = "G21 G90\nM83\n"
    for k in (1, 2, 3):
        text += f"G1 Z{0.2 * k:.1f} F600\n{square(10, 10, 10)}"
        text += f"G1 Z{0.2 * k + 0.4:.1f}\nG0 X40\nG1 Z{0.2 * k:.1f}\n" * 2 + square(40, 10, 10)
    found = laid(text)
    assert found.hops_inside.tolist() == [2, 2, 2]
    assert found.hop.tolist() == [0, 0, 0]


def test_units_and_increments_change_nothing():
    """The same squares in inches, by increments and with the axes set anew."""
    squares = (f"G1 Z{0.254 * k} F600\n{square(25.4, 25.4, 12.7)}" for k in (1, 2))
    plain = laid("G21 G90\nM83\n" + "".join(squares))
    text = "G20 G90\nM83\nG92 X2 Y3\n"  # 0 becomes (2, 3) inches
    e = f"{1 / 25.4:.9f}"
    for k in (1, 2):
        text += f"G90\nG1 Z{0.01 * k} F23.622047244\nG0 X3 Y4 F236.22047244\n"
        text += f"G91\nG1 X.5 E{e} F47.244094488\nY.5 E{e}\nX-.5 E{e}\nY-.5 E{e}\n"
    found = laid(text)
    for name in ("height", "thickness", "x", "y", "extruded", "settle", "printing", "hop"):
        np.testing.assert_allclose(getattr(found, name), getattr(plain, name), atol=1e-6, err_msg=name)


def test_times_by_two_running_minima_are_those_of_two_scalar_passes():
    for seed in range(12):
        for block in blocks(io.BytesIO(random_program(seed, moves=80).encode())):
            rows, _ = follow(block, ProgramState())
            np.testing.assert_allclose(durations(rows, 900.0, 6.0), scalar_times(rows, 900.0, 6.0), rtol=1e-9)


def scalar_times(rows, a: float, corner: float) -> list[float]:
    """Forward and backward, corner by corner."""
    found = [float(w) for w in rows.wait]
    path, stop, stops = [], False, []
    for k in range(rows.line.size):
        feed = rows.feed[k] or 50.0
        if rows.wait[k] > 0 or (rows.moves[k] and rows.way[k] == 0):
            stop = True
            found[k] += abs(rows.extruded[k]) / feed if rows.moves[k] else 0.0
        if rows.moves[k] and rows.way[k] > 0:
            path.append(k)
            stops.append(stop)
            stop = False
    v = [0.0] * (len(path) + 1)
    for i in range(1, len(path)):
        one, two = path[i - 1], path[i]
        lifted = any(rows.end[k][2] != rows.start[k][2] for k in (one, two))
        jump = math.dist(direction(rows, one, 1), direction(rows, two, 0))
        most = min(rows.feed[one] or 50.0, rows.feed[two] or 50.0, corner / max(jump, 1e-6))
        v[i] = 0.0 if stops[i] or lifted else most
    for i in range(len(path)):
        v[i + 1] = min(v[i + 1], math.sqrt(v[i] ** 2 + 2 * a * rows.way[path[i]]))
    for i in reversed(range(len(path))):
        v[i] = min(v[i], math.sqrt(v[i + 1] ** 2 + 2 * a * rows.way[path[i]]))
    for i, k in enumerate(path):
        feed, s = rows.feed[k] or 50.0, rows.way[k]
        top = min(feed, math.sqrt((v[i] ** 2 + v[i + 1] ** 2) / 2 + a * s))
        cruise = s - (top**2 - v[i] ** 2) / (2 * a) - (top**2 - v[i + 1] ** 2) / (2 * a)
        found[k] += (top - v[i]) / a + (top - v[i + 1]) / a + max(cruise, 0.0) / top
    return found


def direction(rows, k: int, end: int) -> tuple[float, float, float]:
    step = rows.end[k] - rows.start[k]
    if rows.sweep[k] == 0:
        return tuple(step / rows.way[k])
    out = complex(*(rows.end if end else rows.start)[k][:2]) - complex(*rows.centre[k])
    flat = out / abs(out) * (1j if rows.sweep[k] > 0 else -1j)
    rise = step[2] / rows.way[k]
    return flat.real * math.sqrt(1 - rise**2), flat.imag * math.sqrt(1 - rise**2), rise


def test_a_program_is_kept_as_tables_and_comes_back():
    found = laid(program())
    tables = found.tables("a.nc")
    assert from_tables(tables["a.nc"], tables[outline_name("a.nc")]) == found
    older = from_tables(tables["a.nc"][:, :FIRST_COLUMNS], tables[outline_name("a.nc")][[0, *range(2, 9)]])
    assert (older.speed == 0).all()
    np.testing.assert_array_equal(older.outlines, found.outlines[:7])


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("G1 X1 F100\n", "lays nothing"),
        ("M83\nG1 Z.2 F600\nG1 X5 E1 Z.3\n", "line 3, Z.3: lays while Z moves"),
        ("M83\nG1 Z.2\nG1 X5 E1\n", "line 3, E1: lays before the first feed"),
        ("M83\nG1 Z-1 F600\nG1 X5 E1\n", "line 3: lays at or below the bed"),
        (
            "M83\nG1 Z.2 F600\nX5 E1\nG91\nG0 Z-2.3\n",
            "line 5, Z-2.3: goes below the least that Z may have, -2",
        ),
        ("M83\nG1 Z.2 F600\nX5 E1\nG0 Z50.2\n", "line 4, Z50.2: goes above the most that Z may have, 50 mm"),
    ],
)
def test_programs_that_are_not_carried(text, words):
    with pytest.raises(ProgramError, match=words):
        laid(text)
