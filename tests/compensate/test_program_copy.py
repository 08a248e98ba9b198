"""What stands around the words of a copy: its comment, checksums, lines put ahead, and reading it again."""

import contextlib
import io
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from bedsim.cli.main import main
from bedsim.compensate.printed import silent
from bedsim.compensate.program_copy import copy_lines, write_copy
from bedsim.compensate.read_back import WrittenPieces, read_again
from bedsim.compensate.rewrite import RewriteCount, rewritten, with_comment
from bedsim.compensate.stretches import corrections, find_stretches
from bedsim.compensate.ways import base_run
from bedsim.errors import InputError, SolverError
from bedsim.scenario.load import load_scenario
from bedsim.simulation import make_job

TWO = "G21 G90\nG1 F1200 Z.2\nG1 X10 Y0 E1\nG1 X20 Y0 E2\nG0 Z.4\n{}G1 X10 E3\nM30\n"


def copied(text, *by):
    """With shifts (x, y) mm and turns rad of the second stretch."""
    raw = text.encode()
    stretches = find_stretches(io.BytesIO(raw))
    wanted = tuple(np.array([0.0, v, *[0.0] * (stretches.first.size - 1)]) for v in by)
    out = b"".join(rewritten(io.BytesIO(raw), stretches, wanted, RewriteCount()))
    return out.decode(), stretches, wanted


def test_a_shift_is_written_where_it_is_needed():
    out, _, _ = copied(TWO.format("G0 X5 Y7\n"), 0.01, -0.02, 0.0)
    assert out == TWO.format("G0 X5.0100 Y6.9800\n").replace("X10 E3", "X10.0100 E3")


def test_a_line_that_lays_first_gets_a_move_ahead():
    """From (20, 0) at the second height at once: to its shifted start, then on in the motion that held."""
    out, _, _ = copied(TWO.format(""), 0.01, -0.02, 0.0)
    assert out == TWO.format("G1 X20.0100 Y-0.0200\n").replace("X10 E3", "X10.0100 E3")
    modal = TWO.format("").replace("G1 X10 E3", "X10 E3").replace("G0 Z.4", "G1 Z.4")
    assert "G1 X20.0100 Y-0.0200\nG1 X10.0100 E3" in copied(modal, 0.01, -0.02, 0.0)[0]


def test_differences_are_of_written_places():
    out, _, _ = copied(TWO.format("G91 G0 X1 Y1\nG0 X1 Y1\n").replace("X10 E3", "X1 E3"), 0.00004, 0.01, 0.0)
    assert "G91 G0 X1 Y1.0100\nG0 X1 Y1\nG1 X1 E3" in out


def test_a_turn_turns_the_centre_of_an_arc():
    text = TWO.format("G0 X10 Y0\nG3 X-10 Y0 I-10 J0 E2.5\n")
    out, _, _ = copied(text, 0.0, 0.0, 1e-3)
    assert "G3 X-10.0000 Y-0.0100 I-10.0000 J-0.0100 E2.5" in out or "I-10 J-0.0100" in out


def test_comments_and_checksums():
    assert with_comment(b"%\r\nG1\r\n", "a (b) \u00b5") == b"%\r\n(a  b   )\r\nG1\r\n"
    assert with_comment(b"G1\n", "x") == b"(x)\nG1\n"
    line = "G0 X5 Y7"
    total = 0
    for byte in line.encode():
        total ^= byte
    out, _, _ = copied(TWO.format(f"{line}*{total}\n"), 0.01, 0.0, 0.0)
    new = 0
    for byte in b"G0 X5.0100 Y7":
        new ^= byte
    assert f"G0 X5.0100 Y7*{new}\n" in out
    assert "G0 X5.0100 Y7 ; X9\n" in copied(TWO.format("G0 X5 Y7 ; X9\n"), 0.01, 0.0, 0.0)[0]


def test_a_copy_is_read_again():
    text = TWO.format("G0 X5 Y7\n")
    out, stretches, by = copied(text, 0.01, -0.02, 1e-4)
    whole = WrittenPieces([out[:9].encode(), out[9:].encode()])
    again = read_again(io.BytesIO(text.encode()), whole, stretches, by, by)
    assert again.lines == 3 and again.worst < 1.5e-4 and again.left < 2e-4 < 0.02 < again.before
    for wrong, rule in (("E3", "material"), ("X5", "")):
        other = out.replace("E3", "E4") if rule else out.replace("X10.0", "X10.1")
        with pytest.raises(SolverError, match=rule or "beside where it should"):
            read_again(io.BytesIO(text.encode()), WrittenPieces([other.encode()]), stretches, by, by)
        assert wrong


def test_corrections_are_told_in_the_programs_own_coordinates():
    """A point of the bed, by bed coordinates and by the program's."""
    stretches = find_stretches(io.BytesIO(TWO.format("").encode()))
    a, b, w = np.array([0.0, 3e-5]), np.array([0.0, -2e-5]), np.array([0.0, 1e-4])
    origin = np.array([-150.0, -140.0])
    by = corrections(stretches, stretches.first, a, b, w, origin)
    x, y = 40.0 + origin[0], 30.0 + origin[1]
    bed = (a[1] * 1e3 + x * np.cos(w[1]) - y * np.sin(w[1]), b[1] * 1e3 + x * np.sin(w[1]) + y * np.cos(w[1]))
    own = (
        by[0][1] + 40 * np.cos(by[2][1]) - 30 * np.sin(by[2][1]),
        by[1][1] + 40 * np.sin(by[2][1]) + 30 * np.cos(by[2][1]),
    )
    assert np.add(own, origin) == pytest.approx(bed, abs=1e-12)
    with pytest.raises(InputError, match=r"print\.layers"):
        corrections(stretches, stretches.first[:1], a[:1], b[:1], w[:1], origin)


def test_a_scenario_without_a_program_has_none_to_copy(shipped, tmp_path, monkeypatch, capsys):
    file = shipped("ground-stiff").path.resolve()
    monkeypatch.chdir(tmp_path)
    assert main(["compensate", str(file), "--program", "copy.nc"]) == 2
    assert "--program copy.nc: " in capsys.readouterr().err and not list(tmp_path.iterdir())


HALVES = (
    "G1 Z{z:.1f} F600\nG0 X{x} Y90 F6000\nG1 X120 E1.5 F1200\nY110 E1.5\nG3 X100 Y110 R10 E1.1\n"
    "G0 Z{up:.1f}\n"
)


@pytest.fixture
def printed(tmp_path):
    """A machine that prints half a turn of its screws, in every layer half a circle by R."""
    layers = [HALVES.format(z=0.4 * k, x=100 + k, up=0.4 * k + 0.5) for k in range(1, 7)]
    (tmp_path / "part.nc").write_text("G21 G90\nM83\nG28\nG1 Z5 F600\n" + "".join(layers))
    shipped = Path(__file__).parents[2] / "scenarios" / "bent-rolled-rigid.toml"
    text = shipped.read_text().replace("[print]", '[print]\nprogram = "part.nc"', 1)
    kept = [x for x in text.splitlines() if x.split("=")[0].strip() not in ("layers", "layer_mm")]
    (tmp_path / "m.toml").write_text("\n".join(kept))
    return load_scenario(tmp_path / "m.toml")


def test_a_copy_is_printed_anew(printed, tmp_path):
    """Of what the bed does to all ends of laid lines the rounding is left: 0.1 um a word, on both sides."""
    base = base_run(printed, make_job(printed), 0.0, silent)
    found = SimpleNamespace(title="m", rows=SimpleNamespace(whole=base.whole))
    stages = []

    @contextlib.contextmanager
    def stage(total, what):
        stages.append(what)
        yield silent

    copy = write_copy(found, printed, tmp_path / "copy.nc", stage)
    assert copy.before > 5e-6 and copy.left < 0.3e-6 and copy.worst < 0.15e-6 and copy.lines == 18
    assert "printing the copy" in stages and "As written: " in copy_lines(copy)[0]


def test_half_a_circle_by_r_keeps_its_centre():
    """R 10 between ends 20 mm apart: rounded ends may lie 0.1 um nearer, and the centre 30 um aside."""
    text = TWO.format("G0 X106 Y8\nG3 X94 Y-8 R10 E2.5\n")
    out, stretches, by = copied(text, 0.01234, -0.02, 1.07e-4)
    assert "G3 X94.0132 Y-8.0099 I-5.9992 J-8.0006 E2.5" in out
    again = read_again(io.BytesIO(text.encode()), WrittenPieces([out.encode()]), stretches, by, by)
    assert again.worst < 1.5e-4
    kept = out.replace("I-5.9992 J-8.0006", "R10")
    with pytest.raises(SolverError, match="centre of an arc"):
        read_again(io.BytesIO(text.encode()), WrittenPieces([kept.encode()]), stretches, by, by)
