"""One invented machine, read with friction on: what is learnt, kept and told of it."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner
from learnt import SIGMA, told_scenario
from read_world import UNGAUGED, gauged_rows, written

from bedsim.answers.made import of_learned
from bedsim.cli.learn import command
from bedsim.errors import InputError
from bedsim.learn.answers import answer_of
from bedsim.learn.faults import Fault, faults_of, flips_of, mended, stand_of, unseen_signs
from bedsim.learn.keep import key_values
from bedsim.learn.learned import fitted, without_faults
from bedsim.learn.reading_files import read_files
from bedsim.learn.text import lines, screw_lines
from bedsim.learn.unknowns import unknowns_of
from bedsim.ranges.alone import linear_values
from bedsim.ranges.known import known_machines
from bedsim.scenario.load import load_scenario


def test_two_series_narrow_the_answer_about_the_truth(made, found):
    """Truth by `ranges`, readings by the propagator: neither is of the room that learns."""
    before, after = (np.std(np.log(x.lateral)) for x in (found.before, found.after))
    assert after < 0.6 * before
    low, _, high = found.after.ends("lateral")
    assert low < made.lateral < high


def test_shares_of_all_screws_with_their_machine_add_up(found):
    assert np.all(np.abs(found.after.shares.sum(axis=1) - 1) < 0.25)  # the rest: heat, weight, motors


def test_shares_are_told_in_percent(found):
    told = [line for line in screw_lines(found.unknowns.loaded, found.after) if line.startswith("  ")]
    middles = [float(line.split(" %")[0].split()[-1]) for line in told]
    assert middles == pytest.approx(sorted(100 * found.after.share_ends()[1], reverse=True), abs=0.51)


def test_shares_as_data_are_parts_of_one(found):
    own = [screw.middle for screw in of_learned(found).screws]
    assert own == pytest.approx(found.after.share_ends()[1], rel=1e-3) and sum(own) > 0.5


def test_the_next_reading_is_not_the_one_just_taken(found):
    worth = [one.worth for one in found.following]
    assert worth == sorted(worth, reverse=True)
    first = next(one for one in found.following if one.name.startswith("gauge y at front right"))
    assert found.following[0].narrows < first.narrows


def learnt_from(folder, rows):
    loaded = load_scenario(folder / "machine.toml")
    read = read_files([written(folder / "odd.csv", rows)], loaded, SIGMA)
    result = fitted(unknowns_of(loaded, UNGAUGED), read.observations)[0]
    return faults_of(result, flips_of(result))


@pytest.mark.long
def test_a_spike_of_30_um_is_named_by_its_line_and_does_no_harm(folder, rows, found):
    """The answer without the named reading against that of sound readings."""
    odd = [row[:] for row in rows]
    odd[5][3] += 30.0
    loaded = load_scenario(folder / "machine.toml")
    read = read_files([written(folder / "odd.csv", odd)], loaded, SIGMA)
    result, _, (fault,), _ = without_faults(found.unknowns, read.observations)
    assert (fault.kind, fault.where) == ("reading", f"{folder / 'odd.csv'}: line 7")
    assert fault.size == pytest.approx(30e-6, rel=0.2)
    sound, without = (answer_of(found.unknowns, u).lateral for u in (found.fit.u, result.u))
    assert without == pytest.approx(sound, rel=0.05)


def test_a_slipped_series_counts_as_two_and_a_wrong_sign_turns_round(folder, rows):
    loaded = load_scenario(folder / "machine.toml")
    observations = read_files([folder / "bed.csv"], loaded, SIGMA).observations

    def without(kind, reading=0):
        fault = Fault(kind=kind, where="", size=0.0, chance=0.0, observation=1, reading=reading)
        return mended(observations, fault)

    first, second = without("slip", 4)[1:]
    assert np.array_equal(np.concatenate([first.value, second.value]), observations[1].value)
    assert (first.lines[-1], second.lines[0]) == (14, 15)
    assert np.array_equal(without("wrong sign")[1].value, -observations[1].value)
    assert without("series") is None


def test_a_slip_of_5_um_is_named_by_its_lines(folder, rows):
    odd = [row[:] for row in rows]
    for row in odd[13:]:
        row[3] += 5.0
    (fault,) = learnt_from(folder, odd)
    assert (fault.kind, fault.where) == ("slip", f"between {folder / 'odd.csv'}: line 14 and line 15")
    assert fault.size == pytest.approx(5e-6, rel=0.4)


@pytest.mark.long
def test_a_wrong_sign_is_named_by_its_series(folder, made):
    """At the front edge x is one motion read twice: a sign that differs cannot hide."""
    places = [(place, axis) for place in ("front right", "front left") for axis in "xy"]
    four = gauged_rows(made.true, np.random.default_rng(2), places)
    odd = [[*row[:3], -row[3] if row[:2] == ["front left", "x"] else row[3]] for row in four]
    loaded = load_scenario(folder / "machine.toml")
    read = read_files([written(folder / "odd.csv", odd)], loaded, SIGMA)
    result = fitted(unknowns_of(loaded, UNGAUGED), read.observations)[0]
    flips = flips_of(result)
    (fault,) = faults_of(result, flips)
    assert fault.kind == "wrong sign" and "gauge x at front" in fault.where
    assert not any(" x " in name for name in unseen_signs(flips))


def test_one_series_an_axis_fits_with_either_sign_and_it_is_known(found):
    """Other screws make the mirrored motion, if nobody knows the screws."""
    assert "gauge x at front left" in unseen_signs(found.flips)


def test_a_control_series_tells_whether_the_stand_moves(folder, rows, found):
    """Amplitudes by hand: 0.3 and 4 um about an unknown zero; noise of one reading of 1 um is 0.47 of a
    wave's part over nine eighths (an eighth twice at the start: 0.45 and 0.5)."""
    loaded = load_scenario(folder / "machine.toml")
    own = [
        ["frame", axis, k, 7 + size * np.cos(k * np.pi / 4 - 0.6)]
        for axis, size in (("x", 0.3), ("y", 4.0))
        for k in range(9)
    ]
    read = read_files([written(folder / "control.csv", [*rows, *own])], loaded, SIGMA)
    assert len(read.observations) == 2
    still, moving = (stand_of(one) for one in read.controls)
    assert (still.moves, moving.moves) == (False, True)
    assert moving.amplitude == pytest.approx(4e-6, rel=1e-3)
    assert moving.sigma == pytest.approx(0.47e-6, rel=0.1)
    told = " ".join(lines(replace(found, stands=(still, moving))))
    assert "the stand itself moves 4.0 µm once per turn along y" in told or "4 µm once per turn" in told
    assert "Control along x: the stand moves less than" in told and "Not seen" not in told


def test_sound_readings_are_not_blamed(folder, rows):
    assert learnt_from(folder, rows) == []


def test_knowledge_gives_the_likeliest_machine_to_whoever_loads_it(folder, found, kept):
    told = load_scenario(told_scenario(folder))
    likely = key_values(found.unknowns, found.fit.u)
    assert told.scenario.corner[0].guide.radial_n_per_um == pytest.approx(likely["guide.radial_n_per_um"])
    bow = told.scenario.corner[1].screw.run_out
    assert bow.bow_tir_um == pytest.approx(likely["corner.front right.screw.run_out.bow_tir_um"], rel=1e-6)
    assert bow.bow_deg == pytest.approx(likely["corner.front right.screw.run_out.bow_deg"], rel=1e-6)
    assert told.knowledge.dropped == ()


def test_machines_that_agree_come_through_the_file_unchanged(folder, found, kept):
    """Their figures from the file against those they were learnt with: by other code."""
    values = known_machines(load_scenario(told_scenario(folder))).values[1:]
    assert [v["lateral_pv"] for v in values] == pytest.approx(list(found.after.lateral), rel=1e-3)


def test_covariance_in_the_file_is_that_of_the_fit(found, kept):
    file = json.loads(kept.read_text())
    D, left = np.array(file["directions"]), np.array(file["left"])
    whole = np.eye(found.unknowns.count) - D.T @ ((1 - left**2)[:, None] * D)
    assert np.abs(whole - found.fit.P).max() < 1 - 0.97**2 + 1e-6
    assert len(file["columns"]) == found.unknowns.count


def test_keys_that_changed_since_are_dropped_by_name(folder, kept):
    told = told_scenario(folder)
    text = told.read_text().replace(
        "low = 0.7, likely = 1.0, high = 1.4", "low = 0.8, likely = 1.0, high = 1.4"
    )
    told.write_text(text)
    loaded = load_scenario(told)
    assert loaded.knowledge.dropped == ("frame.radial_n_per_um",)
    assert loaded.knowledge.sentences[1].endswith("not taken from it: frame.radial_n_per_um.")
    assert loaded.scenario.corner[0].frame.radial_n_per_um == 1.0


def test_what_the_command_line_sets_wins(folder, kept):
    loaded = load_scenario(told_scenario(folder), ["guide.radial_n_per_um=33"])
    assert loaded.scenario.corner[2].guide.radial_n_per_um == 33
    assert "guide.radial_n_per_um" not in loaded.knowledge.machines[0]


@pytest.mark.parametrize(
    ("change", "rule"),
    [
        (lambda text: text.replace('"bed 300 x 300 mm"', '"bed 400 x 300 mm"'), "is of another machine than"),
        (lambda text: text[: len(text) // 2], "is no knowledge that bedsim learn wrote"),
        (
            lambda text: text.replace("knowledge 1", "knowledge 9"),
            "is no knowledge that bedsim learn wrote: format",
        ),
        (
            lambda text: re.sub(r'"likely": \[\s*[-0-9.e]+,', '"likely": [', text, count=1),
            "as many numbers as keys",
        ),
    ],
)
def test_a_file_that_cannot_be_used_is_refused_by_name(folder, kept, change, rule):
    sound = kept.read_text()
    try:
        kept.write_text(change(sound))
        with pytest.raises(InputError, match=rule) as fault:
            load_scenario(told_scenario(folder))
        assert "machine.json" in str(fault.value)
    finally:
        kept.write_text(sound)


def test_a_missing_file_is_told(folder):
    with pytest.raises(InputError, match=r"learnt\.file = \"elsewhere\.json\": no such file"):
        load_scenario(folder / "machine.toml", ["learnt.file=elsewhere.json"])


def test_a_file_elsewhere_is_not_read(folder):
    with pytest.raises(InputError, match="must name a file in the scenario's folder or below it"):
        load_scenario(folder / "machine.toml", ["learnt.file=../elsewhere.json"])


def test_the_changed_machine_keeps_what_it_shares(folder, found):
    """Screws carry over; the figures of the same machine without a change are its own."""
    loaded = load_scenario(folder / "machine.toml")
    values = key_values(found.unknowns, found.machines[0])
    direct = linear_values(loaded.with_values(values))["lateral_pv"]
    assert direct == pytest.approx(found.after.lateral[0], rel=1e-3)


def test_the_command_says_it_all(folder, monkeypatch):
    monkeypatch.setattr("bedsim.learn.learned.DRAWS", 6)
    arguments = [str(folder / "bed.csv"), str(folder / "machine.toml"), "--screws", "unknown"]
    picture = str(folder / "picture.png")
    said = CliRunner().invoke(command, [*arguments, "--output", picture], catch_exceptions=False)
    for words in (
        "The bed strays",
        "before these readings",
        "Not seen along x and y: a stand",
        "Next, by what",
        "Picture:",
    ):
        assert words in said.output
    assert (folder / "picture.png").stat().st_size > 10_000


@pytest.mark.parametrize(
    ("header", "row", "words"),
    [
        ("probe,axis,eighth,reading_um", "centr,x,0,1", "line 2: probe = 'centr': must be one of"),
        ("key,height_mm", "guide.hight_mm,-40", "line 2: key = 'guide.hight_mm': must be one of"),
        ("key,height_mm,sigma_mm", "guide.height_mm,-40,0", "line 2, sigma_mm = 0: must be above 0"),
    ],
)
def test_a_wrong_cell_is_one_sentence(folder, header, row, words):
    path = folder / "wrong.csv"
    path.write_text(f"{header}\n{row}\n")
    with pytest.raises(InputError) as fault:
        read_files([path], load_scenario(folder / "machine.toml"), SIGMA)
    assert words in str(fault.value) and str(path) in str(fault.value)


def test_a_height_by_ruler_pins_its_key(folder):
    """One number alone: posterior of a normal law by hand, prior spread of the triangle (3, 22 mm wide)."""
    path = folder / "heights.csv"
    path.write_text("# sigma_mm = 0.5\nkey,height_mm\nguide.height_mm,-30\n")
    loaded = load_scenario(folder / "machine.toml")
    read = read_files([path], loaded, SIGMA)
    unknowns = unknowns_of(loaded, UNGAUGED)
    result = fitted(unknowns, read.observations)[0]
    assert unknowns.values(result.u)["guide.height_mm"] == pytest.approx(-30, abs=0.1)


def test_push_and_pull_of_a_carriage_is_guide_and_frame_in_series(folder):
    """Hooke by hand: 40 and 1 N/um in series are 0.9756."""
    path = folder / "push.csv"
    force = [0, 10, 20, 30, 20, 10, 0, -10, -20, -30, -20, -10, 0]
    lines = [f"carriage,radial,{f},{f / 0.9}" for f in force]
    path.write_text(
        "\n".join(["# resolution_um = 1", "place,direction,force_n,displacement_um", *lines]) + "\n"
    )
    loaded = load_scenario(folder / "machine.toml")
    (one,) = read_files([path], loaded, SIGMA).observations
    assert one.of(loaded.scenario) == pytest.approx(40 / 41)
    assert one.number == pytest.approx(0.9, rel=0.02)


def test_a_gauged_screw_is_read_in_its_own_plane(folder, found):
    """Offsets of a bow of 50 um towards +Y, read on the free screw: the vector's own components."""
    from bedsim.learn.model import Model
    from bedsim.learn.observations import ScrewReading

    one = ScrewReading(
        where="s.csv",
        corner=1,
        corner_name="front right",
        mounted=False,
        position=np.zeros(1),
        parts=("bow",),
        offset=np.array([0.0, 50e-6]),
        covariance=np.eye(2) * 1e-12,
    )
    alone = replace(found.unknowns, keys=())
    model = Model(unknowns=alone, observations=(one,))
    from bedsim.learn.fit import fit

    result = fit(model)
    told = {
        (v.part, v.name): a
        for v, a in zip(alone.vectors, alone.amounts(result.u), strict=True)
        if v.corner == 1
    }
    assert told["bow", "bow y"] == pytest.approx(50e-6, rel=1e-2)
    assert told["bow", "bow x"] == pytest.approx(0.0, abs=1e-9)
