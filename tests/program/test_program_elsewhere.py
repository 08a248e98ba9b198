"""A program in what is asked of a machine beside its run: as of the same layers written as sections."""

import re
from pathlib import Path

import numpy as np
import pytest

from bedsim.analysis import travel
from bedsim.analysis.move_speeds import speed_scenario
from bedsim.analysis.sizing_gather import gather
from bedsim.cli.main import main
from bedsim.clocking.response import response_of, screws_in_hand
from bedsim.comparison.break_even import followed_layers, visible_worth
from bedsim.improve.steps import every_step, values_of
from bedsim.model.convert import stations_of
from bedsim.power_loss.report import room_below
from bedsim.scenario.idle_rules import SAID_BY_PROGRAM
from bedsim.scenario.load import load_scenario
from bedsim.shake.report import shake_scenario
from bedsim.simulation import make_job
from bedsim.sweep.figures import Bands
from bedsim.tilt.report import hanging

NAME = Path(__file__).parents[2] / "scenarios" / "bent-rolled-rolling-joints.toml"
LAYERS = (0.2, 0.2, 0.3, 0.3, 0.3, 0.3)


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    """Six lines on each other, each after half a second of rest; and sections of as much in the same time."""
    folder = tmp_path_factory.mktemp("program")
    heights, lines = np.cumsum(LAYERS), ["G21 G90", "M83", "G0 X60 Y90 F6000"]
    for k, (thick, z) in enumerate(zip(LAYERS, heights, strict=True)):
        lines += [f"G1 Z{z:.1f} F600", "G4 P500", f"G1 X{60 if k % 2 else 100} E{10 * thick:.1f} F1200"]
    (folder / "part.nc").write_text("\n".join(lines), "utf-8")
    text = NAME.read_text("utf-8")
    plain = r"\nlayers = .*\nlayer_mm = .*"
    (folder / "program.toml").write_text(re.sub(plain, '\nprogram = "part.nc"', text, count=1), "utf-8")
    program = load_scenario(folder / "program.toml")
    job, stations = program.scenario.print, stations_of(program.scenario)
    keys = "\n".join(f"{key} = {getattr(job, key)!r}" for key in ("part_mass_kg", "part_x_mm", "part_y_mm"))
    rows = ", ".join(
        f"{{layers = 1, layer_mm = {h}, seconds_per_layer = {t!r}, settle_s = 0.5}}"
        for h, t in zip(LAYERS, stations.period.tolist(), strict=True)
    )
    same = f"\nlayers = 6\nlayer_mm = 0.3\n{keys}\nsection = [{rows}]"
    (folder / "sections.toml").write_text(re.sub(plain, same, text, count=1), "utf-8")
    return program, load_scenario(folder / "sections.toml")


ASKED = {
    "size": lambda x: [gather(x).duty.layer, gather(x).duty.way],
    "tilt": lambda x: np.concatenate([np.ravel(part) for part in hanging(x.scenario, 4)]),
    "shake": lambda x: [(r.peak_lateral, *r.dwell_change, r.frequency[0]) for r in shake_scenario(x).rows],
    "speeds": lambda x: speed_scenario(x).as_set.least,
    "power loss": lambda x: room_below(x, make_job(x).machine, 6),
    "clock": lambda x: response_of(x, screws_in_hand(x)).errors([0, 1, 2], np.zeros(3))[0],
    "break even": lambda x: [followed_layers(x), visible_worth(x)],
    "travel": travel.printed_between,
    "sweep": lambda x: np.abs(Bands(make_job(x), (5e-3,)).rows),
}


@pytest.mark.parametrize("ask", ASKED.values(), ids=ASKED)
def test_a_program_is_asked_as_its_layers_are(both, ask):
    program, sections = (np.asarray(ask(x), dtype=float) for x in both)
    np.testing.assert_allclose(program, sections, rtol=1e-6, atol=1e-13)


def test_the_whole_travel_of_a_program_is_that_of_its_layers(both):
    """Beyond its own layers it goes on in layers of the usual thickness, and weighs what it weighs."""
    one, other = (travel.whole_travel(x) for x in both)
    assert one.scenario.print.layers == other.scenario.print.layers > 500
    z, same = (stations_of(x.scenario).z for x in (one, other))
    np.testing.assert_allclose(z, same, atol=1e-12)
    bands, those = (travel.travel_bands(x, 8) for x in (one, other))
    np.testing.assert_allclose(bands.amplitude, those.amplitude, rtol=0.01)
    again = one.with_values({"guide.radial_n_per_um": 25.0}).scenario.print
    assert again.layers == one.scenario.print.layers and again.laid == one.scenario.print.laid


def test_what_a_program_says_is_no_lever(both):
    program, sections = (
        {key for step in every_step(x) for key in values_of([step], x) if key in SAID_BY_PROGRAM}
        for x in both
    )
    assert program == set()
    assert {"print.layer_mm", "motion.z_hop_mm"} <= sections


def test_a_wall_of_a_program_is_no_reading(both, tmp_path, capsys):
    walls = tmp_path / "walls.csv"
    walls.write_text("wall,probe,wavelength_mm,amplitude_um,crest_mm\n+x,centre,5,3,1\n", encoding="utf-8")
    assert main(["diagnose", str(walls), str(both[0].path)]) == 2
    assert "print.program: bedsim diagnose takes layers of one height" in capsys.readouterr().err
