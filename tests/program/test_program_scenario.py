"""A scenario that prints a program: what the machine gets of it, what is told, and the error where the part
is."""

import base64
import io
import os
import re
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from invented_part import LAYERS, PLATE_AT, program
from matplotlib import colormaps
from PIL import Image

from bedsim.analysis.travel import of_first_object
from bedsim.cli.common import progress_of
from bedsim.errors import InputError
from bedsim.model.build import build_machine
from bedsim.model.convert import pieces_of, stations_of
from bedsim.results.reload import scenario_of
from bedsim.results.store import read_run, write_run
from bedsim.scenario import part_program
from bedsim.scenario.load import load_scenario
from bedsim.simulation import make_job, simulate
from bedsim.views.report_unrolled import FOOT, LEFT, RIGHT, TOP, unrolled_section
from bedsim.wall.outlines import outline_walls, tried_places, worst_stretch
from bedsim.wall.program_told import printed_sentences, program_sentences

SHIPPED = Path(__file__).parents[2] / "scenarios" / "printed-program.toml"


@pytest.fixture(scope="module")
def printed():
    loaded = load_scenario(SHIPPED)
    return loaded, simulate(loaded, "equilibrium")


def test_layers_and_material_are_the_programs(printed):
    loaded, run = printed
    assert loaded.scenario.print.layers == LAYERS == stations_of(loaded.scenario).count
    mass, _ = pieces_of(loaded.scenario).weighed
    assert mass == pytest.approx(loaded.scenario.print.part_mass_kg)
    assert run.layers.pose_raw.shape[0] == LAYERS


def test_a_run_keeps_its_program(printed, tmp_path):
    loaded, run = printed
    write_run(run, tmp_path / "r.h5")
    again = scenario_of(read_run(tmp_path / "r.h5"), "r.h5")
    assert again.scenario.print.laid == loaded.scenario.print.laid


def test_the_wall_is_moved_by_a_rigid_bed(printed):
    """Relief against the bed's pose as a shift and a small rotation, w x r."""
    loaded, run = printed
    wall = max(outline_walls(run.layers, loaded), key=lambda w: w.way[-1])
    assert build_machine(loaded.scenario, loaded.tables).coordinates.bed_size == 6
    pose, width = run.layers.pose_raw, loaded.scenario.print.line_width_mm * 1e-3
    np.testing.assert_allclose(wall.place.mean(axis=(0, 1)), np.array(PLATE_AT) * 1e-3 - 0.15, atol=1e-3)
    for k in (0, 1, 19, 39):
        for s in (0, 30, 71):
            point = np.append(wall.place[k, s], wall.top[k])
            now, zero, before = (
                q[:3] + np.cross(q[3:6], point) for q in (pose[k], pose[0], pose[max(k - 1, 0)])
            )
            squeeze = width / 2 / wall.thickness[k] * (now - before)[2]
            sideways = wall.normal[k, s] @ (now - zero)[:2]
            assert wall.relief[k, s] == pytest.approx(squeeze - sideways, abs=1e-12)


def test_layers_without_a_hop_are_named_and_marked(printed):
    loaded, run = printed
    told = " ".join(program_sentences(loaded))
    assert "Layers 18, 19, 20 and 21 begin without a hop" in told
    assert "M104 (2)" in told
    found = worst_stretch(outline_walls(run.layers, loaded), 5e-3)
    assert 4.0e-3 < found.wall.top[found.first] < found.wall.top[found.last] < 6.0e-3
    assert "side facing" in " ".join(printed_sentences(run.layers, loaded))


def test_the_report_unrolls_the_wall_and_frames_its_worst_band(printed):
    loaded, run = printed
    section = unrolled_section([SimpleNamespace(whole=run, loaded=loaded, label="a")])
    assert section.drawn.count('role="img"') == 4
    found = worst_stretch(outline_walls(run.layers, loaded), 5e-3)
    x, y, tall = (
        float(v) for v in re.search(r'"worst" x="(.*?)" y="(.*?)" .*?height="(.*?)"', section.drawn).groups()
    )
    up = (FOOT - np.array([y + tall, y])) / (FOOT - TOP) * found.wall.top[-1]
    np.testing.assert_allclose(up, [found.wall.edges[found.first], found.wall.top[found.last]], atol=1e-5)
    around = (x + 10 - LEFT) / (RIGHT - LEFT) * found.wall.length
    assert around == pytest.approx(found.wall.way[found.around], abs=1e-4)
    assert f"facing {found.facing}" in section.drawn
    picture = re.search(r'base64,(.*?)"', section.drawn)[1]
    seen = np.asarray(Image.open(io.BytesIO(base64.b64decode(picture))), dtype=int)
    layer = (
        np.searchsorted(found.wall.edges, (np.arange(len(seen)) + 0.5) / len(seen) * found.wall.top[-1]) - 1
    )
    relief = found.wall.relief[layer[::-1]]
    asked = colormaps["cividis"]((relief / np.abs(relief).max() + 1) / 2, bytes=True)
    assert np.abs(seen - asked).max() <= 1


def test_nothing_is_unrolled_without_a_program(printed):
    loaded, run = printed
    plain = SimpleNamespace(
        scenario=SimpleNamespace(print=SimpleNamespace(laid=None), corner=loaded.scenario.corner)
    )
    assert unrolled_section([SimpleNamespace(whole=run, loaded=plain, label="a")]) is None


def test_where_a_part_would_show_least_it_shows_least(tmp_path):
    """A square of 60 mm on rigid joints, told from a corner of the bed, printed where it is told."""
    lines = ["G21 G90", "M83"]
    for k in range(1, 25):
        lines += [f"G1 Z{0.25 * k:.2f} F180", "G0 X-30 Y-30 F6000"]
        lines += [f"G1 X{x} Y{y} E2.4 F2400" for x, y in ((30, -30), (30, 30), (-30, 30), (-30, -30))]
    (tmp_path / "square.nc").write_text("\n".join(lines), "utf-8")
    text = SHIPPED.with_name("bent-rolled-rigid.toml").read_text("utf-8")
    text = re.sub(r"\nlayers = .*\nlayer_mm = .*", '\nprogram = "square.nc"', text, count=1)

    def told(x, y):
        places = [f"print.program_x_mm={x}", f"print.program_y_mm={y}"]
        (tmp_path / "s.toml").write_text(text, "utf-8")
        loaded = load_scenario(tmp_path / "s.toml", places)
        layers = simulate(loaded, "equilibrium").layers
        return tried_places(layers, loaded, outline_walls(layers, loaded))

    corner = told(105, -105)
    least = told(*(1e3 * v for v in corner.least_at))
    assert corner.least < 0.5 * corner.here < 0.6 * corner.most
    assert least.here == pytest.approx(corner.least, rel=0.01)  # its weight stands elsewhere


def _scenario(folder: Path, text: str) -> Path:
    (folder / "plate-and-post.nc").write_text(text, "utf-8")
    (folder / "s.toml").write_text(SHIPPED.read_text("utf-8"), "utf-8")
    return folder / "s.toml"


def test_a_fault_of_the_program_is_one_of_the_key(tmp_path):
    file = _scenario(tmp_path, program().replace("G91", "G18", 1))
    with pytest.raises(InputError, match=r"print\.program.*line \d+, G18: arcs are read in the plane"):
        load_scenario(file)


def test_z_has_limits_and_these_no_range(tmp_path):
    with pytest.raises(
        InputError, match=r"line \d+, Z5\.\d+: goes above .* 5 mm \(print\.program_z_most_mm\)"
    ):
        load_scenario(SHIPPED, ["print.program_z_most_mm=5"])
    file = _scenario(tmp_path, program())
    text = file.read_text("utf-8").replace(
        "[screw]", 'program_z_most_mm = {low = 50, likely = 80, high = 90, basis = "estimated"}\n[screw]', 1
    )
    file.write_text(text, "utf-8")
    with pytest.raises(InputError, match=r"print\.program_z_most_mm.*has no range"):
        load_scenario(file)


def test_the_bed_moves_at_the_programs_speeds_where_the_machine_lets_it(tmp_path):
    """Half of the layers at F60, 1 mm/s; the others, and hops back, ask for more than motion.speed_mm_s."""
    loaded = load_scenario(
        _scenario(tmp_path, re.sub(r"(Z1?\d\.\d\d\d) F180", r"\1 F60", program())), ["motion.speed_mm_s=2"]
    )
    job = make_job(loaded).program
    profiles = [job.layer_change(k) for k in (1, 2, 18, 30)]
    found = [np.abs(p.speed(p.time)).max() * 1e3 for p in profiles]
    assert found[2] == pytest.approx(1.0)  # without a hop
    np.testing.assert_allclose([found[0], found[1], found[3]], 2.0, rtol=1e-9)
    assert profiles[1].speed(profiles[1].time).min() == pytest.approx(-1e-3)  # there; back at 2
    for k, profile in zip((1, 2, 18, 30), profiles, strict=True):
        laid = loaded.scenario.print.laid
        rest = (laid.settle + laid.printing + laid.after)[k - 1]
        assert job.period(k) == pytest.approx(profile.duration + rest, abs=3e-6)
    told = " ".join(program_sentences(loaded))
    assert "Z moves at 1 mm/s, as its words F say (layers 18 to 21)" in told
    assert "Z moves at 2 mm/s at most, motion.speed_mm_s, where the program asks for up to 150" in told


def test_a_long_program_tells_how_far_it_is_on_a_terminal_alone(monkeypatch):
    monkeypatch.setattr(part_program, "LONG", 10_000)
    shown = {}
    for kind in ("terminal", "pipe"):
        master, end = os.openpty() if kind == "terminal" else os.pipe()
        with os.fdopen(end, "w") as stream, monkeypatch.context() as patch:
            patch.setattr("sys.stderr", stream)
            load_scenario(SHIPPED, stage=progress_of)
            print("done", file=stream, flush=True)
            shown[kind] = os.read(master, 100_000).decode()
        os.close(master)
    assert shown["pipe"] == "done\n"
    assert "bytes of plate-and-post.nc" in shown["terminal"]
    assert "100%" in shown["terminal"]


def test_what_the_program_says_is_not_said_again():
    with pytest.raises(InputError, match="the program has 40 layers"):
        load_scenario(SHIPPED, ["print.layers=41"])
    assert stations_of(load_scenario(SHIPPED, ["print.layers=5"]).scenario).count == 5


def test_keys_beside_a_program_are_refused(tmp_path):
    file = _scenario(tmp_path, program())
    file.write_text(file.read_text("utf-8").replace("[screw]", "settle_s = 0.5\n[screw]", 1), "utf-8")
    with pytest.raises(InputError, match=r"print\.settle_s.*does nothing.*the program says it"):
        load_scenario(file)


def test_the_first_of_two_objects_alone(tmp_path):
    body, end = program().split("G1 E-2 F2400")
    again = "G1 Z20 F600\n" + body.split("G28\n")[1]
    loaded = load_scenario(_scenario(tmp_path, f"{body}{again}G1 E-2 F2400{end}"))
    assert loaded.scenario.print.layers == 2 * LAYERS
    assert stations_of(of_first_object(loaded).scenario).count == LAYERS
    assert stations_of(loaded.scenario).count == 2 * LAYERS


def test_another_program_is_another_table(tmp_path):
    """What sweeps and runs know a scenario by."""
    one = load_scenario(_scenario(tmp_path, program())).tables
    slower = program().replace("E0.8 F2400\n", "E0.8 F2400\nG4 P50\n", 1)
    other = load_scenario(_scenario(tmp_path, slower)).tables
    assert one.keys() == other.keys()
    assert any(not np.array_equal(one[name], other[name]) for name in one)
