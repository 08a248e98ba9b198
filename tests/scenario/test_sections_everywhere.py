"""Prints of unequal layers in what is worked out of a print beside its run: by hand, and against the same
layers told without sections."""

from dataclasses import replace

import numpy as np
import pytest

from bedsim.analysis import travel
from bedsim.analysis.metrics import worst_wall
from bedsim.analysis.sizing_gather import gather
from bedsim.cli.main import main
from bedsim.clocking import unit_circles
from bedsim.clocking.response import extents, lateral_forms, response_of, screws_in_hand
from bedsim.comparison.break_even import followed_layers, visible_worth
from bedsim.diagnosis.response import once_per_turn_response
from bedsim.errors import InputError
from bedsim.improve.lever import Change
from bedsim.improve.steps import changed, every_step
from bedsim.learn.model import relief_waves
from bedsim.scenario.sections import section_of
from bedsim.shake.report import shake_scenario
from bedsim.simulation import make_job
from bedsim.sweep.figures import Bands
from bedsim.tilt.report import hanging
from bedsim.upkeep.use import use_of

NAME = "bent-rolled-rolling-joints"
ROWS = "[{layers=2,layer_mm=0.1,seconds_per_layer=10},{layers=4,layer_mm=0.3,z_hop_mm=0.4,hop_every=2}]"
UNEQUAL = ("print.layers=6", "print.layer_mm=0.2", "print.seconds_per_layer=40", f"print.section={ROWS}")
SAME = "print.section=[{layers=7,layer_mm=0.2,settle_s=0.5},{layers=9}]"
PLAIN = ("print.layer_mm=0.2", "print.settle_s=0.5")


def test_duty_and_use_follow_the_layers(shipped):
    """Two layers of 0.1 mm in 10 s, four of 0.3 mm in 40 s, every other of these with a hop of 0.4 mm."""
    loaded = shipped(NAME, *UNEQUAL)
    duty = gather(loaded).duty
    way = 2 * 0.1 + 4 * 0.3 + 2 * 0.4
    assert duty.layer == pytest.approx(0.1e-3)
    assert duty.way == pytest.approx(way / 6 * 1e-3)
    assert duty.seconds_per_layer == pytest.approx(30)
    use = use_of(loaded, duty)
    assert use.strokes == pytest.approx(6 + 2)
    assert use.travel == pytest.approx(2 * way * 1e-3)
    assert use.hours == pytest.approx(180 / 3600)
    assert use.longest_stroke == pytest.approx(0.4e-3)


def test_sections_that_say_nothing_new_change_no_answer(shipped):
    one, other = shipped(NAME, *PLAIN), shipped(NAME, *PLAIN, SAME)
    assert gather(one).duty == gather(other).duty
    assert followed_layers(one) == followed_layers(other)
    assert visible_worth(one) == pytest.approx(visible_worth(other))
    bands, same = (travel.travel_bands(travel.whole_travel(x), 8) for x in (one, other))
    np.testing.assert_allclose(bands.amplitude, same.amplitude, rtol=1e-9)
    assert travel.printed_between(one) == pytest.approx(travel.printed_between(other))


def test_an_object_that_is_not_printed_is_not_met_on_the_travel(shipped):
    """The print ends with its first section; as high as the screws allow it goes on as in [print]."""
    beyond = "print.section=[{layers=9,layer_mm=0.1},{layers=9,new_object=true}]"
    loaded, alone = (shipped(NAME, *PLAIN, "print.layers=6", rows) for rows in (beyond, beyond[:38] + "]"))
    tall, same = (travel.whole_travel(x) for x in (loaded, alone))
    np.testing.assert_array_equal(*(make_job(x).machine.stations.z for x in (tall, same)))
    assert len(tall.scenario.print.section) == 1


def test_bands_over_the_travel_do_not_hang_on_the_layers(shipped):
    """The error is one of height: its band at each place of the nut is that of equal layers."""
    rng = np.random.default_rng(2)
    rows = ",".join(f"{{layers=1,layer_mm={h:.3f}}}" for h in rng.uniform(0.1, 0.3, 400))
    unequal = shipped(NAME, "print.layers=400", "print.layer_mm=0.2", f"print.section=[{rows}]")
    one, other = (travel.travel_bands(travel.whole_travel(x), 12) for x in (shipped(NAME, *PLAIN), unequal))
    at = np.interp(other.nut[::-1], one.nut[::-1], one.amplitude[::-1])
    np.testing.assert_allclose(other.amplitude[::-1], at, rtol=0.02)
    np.testing.assert_allclose(other.wavelength, 5e-3)


def test_the_sweep_s_map_finds_a_band_in_unequal_layers(shipped):
    job = make_job(shipped(NAME, "print.layers=200", f"print.section={ROWS}"))
    bands = Bands(job, (5e-3,))
    wave = 2.0 * np.cos(2 * np.pi * job.machine.stations.z / 5e-3)
    assert abs(bands.rows[0] @ wave) == pytest.approx(2.0, rel=0.01)


@pytest.mark.parametrize(
    ("key", "to", "expected"),
    [
        ("print.layer_mm", 0.28, [0.28] * 5),
        ("motion.z_hop_mm", 1.0, [1.0] * 6),
        ("print.settle_s", 1.5, [1.5] * 6),
    ],
)
def test_levers_reach_the_sections(shipped, key, to, expected):
    """A print of 1.4 mm in layers of 0.28 mm has five."""
    rows = ROWS.replace("layer_mm=0.1", "layer_mm=0.1,settle_s=0.5")
    loaded = shipped(NAME, *UNEQUAL[:3], f"print.section={rows}", "print.settle_s=0.5")
    step = next(s for s in every_step(loaded) if any(c.key == key for c in s.option.changes))
    option = replace(step.option, changes=(Change(key=key, to=to),))
    step = replace(step, option=option)
    after = changed(loaded, [step]).scenario
    name = key.rsplit(".", maxsplit=1)[-1]
    found = [
        getattr(section_of(after.print, after.motion, k), name) for k in range(1, after.print.layers + 1)
    ]
    assert found == pytest.approx(expected)


def test_a_gauge_is_read_whatever_the_layers_and_a_wall_is_refused(shipped, tmp_path, capsys):
    start = "print.section=[{layers=1,layer_mm=0.2},{layers=5,layer_mm=0.3}]"
    one, other = (once_per_turn_response(shipped(NAME, *PLAIN, *x)) for x in ((), (start,)))
    # at layer 1 another share of the part stands on the bed
    np.testing.assert_allclose(one.response, other.response, rtol=1e-4, atol=1e-7)
    walls = tmp_path / "walls.csv"
    walls.write_text("wall,probe,wavelength_mm,amplitude_um,crest_mm\n+x,centre,5,3,1\n", encoding="utf-8")
    path = shipped(NAME).path
    assert main(["diagnose", str(walls), str(path), "--set", start]) == 2
    assert "print.section: bedsim diagnose takes layers of one height" in capsys.readouterr().err


OBJECTS = "[{layers=6,part_x_mm=40},{layers=3,layer_mm=0.1,new_object=true,part_x_mm=-40,part_mass_kg=1}]"
TWO = ("print.layers=9", f"print.section={OBJECTS}", "print.part_mass_kg=0.5")


def test_a_sweep_takes_one_object_and_says_why(shipped, tmp_path, capsys):
    (tmp_path / "two.toml").write_text(shipped(NAME, *TWO).resolved_toml(), encoding="utf-8")
    plan = tmp_path / "plan.toml"
    plan.write_text('title = "two"\nscenario = "two.toml"\nmembers = 4\n', encoding="utf-8")
    assert main(["sweep", str(plan)]) == 2
    assert "new_object = true: bedsim sweep takes one object only: its bands" in capsys.readouterr().err


def test_events_are_followed_where_the_bed_is_highest_lowest_and_heaviest(shipped):
    """The second object begins with the first, of 0.5 kg, on the bed."""
    loaded = shipped(NAME, *TWO)
    assert make_job(loaded).machine.stations.ends == (1, 6, 7, 9)
    assert make_job(shipped(NAME, *UNEQUAL)).machine.stations.ends == (1, 6)
    rows = shake_scenario(loaded).rows
    assert [row.layer for row in rows] == [1, 6, 7, 9]
    assert rows[0].frequency[0] > rows[1].frequency[0] > rows[3].frequency[0]
    weights, centres = hanging(loaded.scenario, 9)
    assert weights[1] == pytest.approx(1.5 * 9.80665)
    place = [(0.5 * 0.04 - 1 * 0.04) / 1.5, 0, (0.5 * 0.75e-3 + 1 * 0.15e-3) / 1.5]
    np.testing.assert_allclose(centres[1], place, atol=1e-12)


def test_each_object_is_a_wall_of_its_own(shipped):
    """Clocking's mean squares, and the layers between which an error is split, are of one object."""
    loaded = shipped(NAME, *TWO)
    response = response_of(loaded, screws_in_hand(loaded))
    lateral, height = response.errors([0, 1, 2], np.zeros(3))
    square = sum(lateral[part].var(axis=0).sum(axis=-1) * part_layers for part, part_layers in PARTS) / 9
    form = lateral_forms(response, [(0, 1, 2)], range(lateral.shape[1]))
    assert unit_circles.values(form, np.zeros((1, 1, 3)))[0, 0] == pytest.approx(square.mean(), rel=1e-9)
    assert extents((lateral, height), [0], response.walls)[1] == max(np.ptp(height[p, 0]) for p, _ in PARTS)
    lateral[6:] += [1e-3, 0.0]  # where the second one stands shows on no wall
    worst = worst_wall(lateral, response.walls)
    assert (worst.high < 6) == (worst.low < 6)


PARTS = ((slice(0, 6), 6), (slice(6, 9), 3))


def test_learn_reads_bands_of_unlike_layers_and_of_one_object(shipped):
    """A wave over the height that uneven layers sample, whole: amplitude and phase by hand, the wall facing
    +X moves against the bed."""
    rows = ROWS.replace("layers=2", "layers=20").replace("layers=4", "layers=20")
    loaded = shipped(NAME, "print.layers=60", "print.layer_mm=0.2", f"print.section={rows}")
    height = np.cumsum([0.1] * 20 + [0.3] * 20 + [0.2] * 20)
    wave = 3e-6 * np.cos(2 * np.pi * (height - height[0]) / 5.0 + 0.7)
    lateral = np.stack([wave, 0.0 * wave], axis=1)[None]
    found = relief_waves(loaded, lateral, 0.0 * wave[None], "+x", 5e-3)
    assert found[0] == pytest.approx(-3e-6 * np.exp(0.7j), rel=1e-9)
    early = relief_waves(loaded, lateral[:, :50], 0.0 * wave[None, :50], "+x", 5e-3)
    assert early == pytest.approx(found, rel=1e-9), "the first leads alone, as friction is worked out"
    with pytest.raises(InputError, match="bedsim learn takes one object only"):
        relief_waves(shipped(NAME, *TWO), lateral, 0.0 * wave[None], "+x", 5e-3)


def test_the_whole_travel_of_objects_is_that_of_the_first(shipped):
    alone = shipped(NAME, "print.part_x_mm=40", "print.part_mass_kg=0.5", "print.layers=6")
    two, one = (travel.whole_travel(x) for x in (shipped(NAME, *TWO, "output.trace_layers=[8]"), alone))
    assert two.scenario.print.layers == one.scenario.print.layers
    bands, same = travel.travel_bands(two, 8), travel.travel_bands(one, 8)
    np.testing.assert_allclose(bands.amplitude, same.amplitude, rtol=1e-9)
    two.with_values({"screw.lead_mm": 4.0})  # reads again what it prints
