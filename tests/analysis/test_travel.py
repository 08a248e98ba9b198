"""Bands over the machine's whole travel."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from bedsim.analysis.travel import printed_between, tallest, travel_bands, whole_travel
from bedsim.cli.main import main
from bedsim.comparison.travel import left_of
from bedsim.ranges.draws import draws
from bedsim.ranges.split import split_of_travel
from bedsim.ranges.travel import travel_range, travel_sentence
from bedsim.scenario.load import load_scenario
from bedsim.simulation import simulate
from bedsim.units import MM

SCENARIOS = Path(__file__).parents[2] / "scenarios"
NO_FRICTION = [
    f"{k}=0" for k in ("joint.friction_coefficient", "mount.friction_coefficient", "guide.friction_n")
]
NO_FRICTION += ["nut.drag_torque_n_mm=0", "joint.magnet_force_n=0"]


def machine(name, *keys):
    return load_scenario(SCENARIOS / f"{name}.toml", [*NO_FRICTION, "print.layer_mm=0.5", *keys])


@pytest.fixture(scope="module")
def rolling():
    return machine("bent-rolled-rolling-joints", "print.layers=30")


@pytest.fixture(scope="module")
def bands(rolling):
    return travel_bands(whole_travel(rolling))


def test_the_tallest_print_is_the_last_that_a_scenario_may_have(rolling):
    layers = tallest(rolling)
    assert whole_travel(rolling).scenario.print.layers == layers > 30
    with pytest.raises(Exception, match="the nut runs off the screw"):
        rolling.with_values({"print.layers": layers + 1})
    assert tallest(rolling.with_values({"print.layers": layers})) == layers


def test_a_machine_with_play_is_followed_as_far():
    """Its nuts are taken as fitting, which sets keys of the tall machine: the height of the print stays."""
    plain = machine("plain-lead-screws", "print.layers=20")
    found = travel_bands(whole_travel(plain))
    assert np.ptp(found.nut) > 150 * MM
    assert split_of_travel(plain).whole > 0.5e-6


def test_bands_are_those_of_a_run_that_is_as_tall(rolling, bands):
    """Against the equilibrium engine on the same machine: the sine in every three waves of the worst corner,
    by an even fit written out here."""
    tall = whole_travel(rolling)
    run = simulate(tall, engine="equilibrium").layers
    z, lateral = run.print_height, run.lateral_error
    for k in (8, 20, 39):  # beyond mid-screw, where the band does not change within three waves
        middle = float(run.nut_position.mean(axis=1)[0] + z[0] - bands.nut[k])
        part = np.abs(z - middle) < 7.5 * MM - 1e-9
        wave = np.exp(2j * np.pi * z[part] / (5 * MM))
        fit = np.column_stack([wave.real, wave.imag, np.ones(part.sum()), z[part] - middle])
        found = np.linalg.lstsq(fit, lateral[part].reshape(part.sum(), -1), rcond=None)[0][:2]
        size = [np.linalg.norm(m, 2) for m in found.reshape(2, -1, 2).swapaxes(0, 1)]
        assert max(size) == pytest.approx(bands.amplitude[k], rel=0.03)


def test_a_bolted_machine_loses_to_a_joint_mid_screw_and_less_at_the_end(bands):
    """A bow's offset is largest at half the screw and its slope there nothing: what a joint leaves is the
    slope's, least where the nut passes mid-screw (420/2 mm) and more beyond."""
    rigid = travel_bands(whole_travel(machine("bent-rolled-rigid", "print.layers=30")))
    ratio = bands.amplitude / rigid.amplitude
    assert abs(bands.nut[np.argmin(ratio)] - 210 * MM) < 25 * MM
    low, high = left_of(rigid, bands)
    assert low == pytest.approx(ratio.min(), rel=1e-9) and high == pytest.approx(ratio.max(), rel=1e-9)
    assert high > 10 * low


def test_amplitude_grows_with_the_bow(rolling, bands):
    """The frictionless machine is linear in its run-outs."""
    keys = {
        f"corner.{c.name}.screw.run_out.bow_tir_um": 2 * c.screw.run_out.bow_tir_um
        for c in rolling.scenario.corner
    }
    twice = travel_bands(whole_travel(rolling.with_values(keys)))
    assert twice.amplitude == pytest.approx(2 * bands.amplitude, rel=1e-6)


def test_the_stretch_of_this_print_is_found(rolling, bands):
    low, high = printed_between(rolling)
    assert high == pytest.approx(230 * MM) and low == pytest.approx(230 * MM - 29 * 0.5 * MM)
    assert set(bands.within(low, high)) < set(bands.amplitude)
    assert bands.within(0.0, 1e-9).size == 1


def test_ranges_are_those_of_drawn_machines(rolling, bands):
    """One draw: the drawn machine itself, on the likely machine's places."""
    found = travel_range(rolling, 1)
    drawn = travel_bands(whole_travel(rolling.with_values(draws(1)[0].values(rolling.ranges))))
    own = np.interp(bands.nut[::-1], drawn.nut[::-1], drawn.amplitude[::-1])[::-1]
    assert found.low == pytest.approx(own) and found.high == pytest.approx(own)
    assert "seen (smallest visible" in travel_sentence(found)
    assert "this print's stretch" in travel_sentence(found)
    assert travel_sentence(replace(found, bands=replace(bands, amplitude=0 * bands.amplitude))) == ""


def test_walls_and_probes_that_are_not_there_are_refused_before_the_work(tmp_path, monkeypatch, capsys):
    """In every command that draws walls; nothing is written."""
    monkeypatch.chdir(tmp_path)
    for wrong, told in (
        (["--wall", "x"], "Did you mean +X?"),
        (["--probe", "frnt left"], "Did you mean front left?"),
    ):
        for command in (["run"], ["compare", "--vary", "joint.kind=rigid,rolling"]):
            assert main([*command, str(SCENARIOS / "bent-rolled-rigid.toml"), *wrong]) == 2
            error = capsys.readouterr().err
            assert told in error and error.count("\n") == 1
    assert not any(tmp_path.iterdir())
