"""Levers as data, and what they set in a machine."""

from dataclasses import replace

import pytest

from bedsim import registry
from bedsim.improve.lever import PRICES
from bedsim.improve.levers import LEVERS
from bedsim.improve.steps import SET_WITHIN_MM, changed, every_step, present, values_of
from bedsim.ranges.draws import draws
from bedsim.scenario.keys import field_at


def step_of(loaded, words, corner=None):
    found = [s for s in every_step(loaded) if s.option.words == words]
    return next(s for s in found if corner is None or s.corners == (corner,))


def test_every_key_of_every_lever_is_a_key():
    for lever in LEVERS:
        assert 0 <= lever.price < len(PRICES) and lever.options
        for change in (c for o in lever.options for c in o.changes):
            steps = tuple(change.key.split("."))
            loc = steps if lever.scope == "machine" else ("corner", 0, *steps)
            assert field_at(loc) is not None, change.key


def test_names_of_levers_and_words_of_options_are_unique():
    names = [lever.name for lever in LEVERS]
    words = [(lever.name, o.words) for lever in LEVERS for o in lever.options]
    assert len(set(names)) == len(names) and len(set(words)) == len(words)


def test_what_changes_nothing_is_not_offered(shipped):
    rigid = {s.option.words for s in every_step(shipped("bent-rolled-rigid"))}
    assert "bolt the nuts to their carriages" not in rigid
    assert "balls in grooves as mounts" not in rigid
    assert "square the screws to their guides" not in rigid
    assert "joints' elements twice as far out" not in rigid  # there are no joints
    assert "rolling joints between nut and carriage" in rigid


def test_a_level_takes_the_other_part_s_height_wherever_that_is(shipped):
    loaded = shipped("bent-rolled-rolling-joints", "corner.back.mount.height_mm=-11")
    step = step_of(loaded, "guides level with the mounts")
    values = values_of([step], loaded)
    assert values["corner.back.guide.height_mm"] == -11 and values["corner.front left.guide.height_mm"] == -15
    draw = draws(1)[0]
    machine = changed(loaded, [step], draw)
    other = changed(loaded, [], draw)
    for corner, plain in zip(machine.scenario.corner, other.scenario.corner, strict=True):
        assert corner.mount.height_mm == plain.mount.height_mm  # the same luck
        assert abs(corner.guide.height_mm - corner.mount.height_mm) <= SET_WITHIN_MM


def test_a_level_follows_what_another_step_sets(shipped):
    loaded = shipped("bent-rolled-rolling-joints")
    both = [step_of(loaded, "guides level with the mounts"), step_of(loaded, "mounts at -25 mm")]
    assert values_of(both, loaded)["corner.back.guide.height_mm"] == -25


def test_a_factor_goes_by_what_is_drawn(shipped):
    loaded = shipped("bent-rolled-rigid")
    step = step_of(loaded, "straighten or replace the screw, bow x 0.2", "back")
    draw = draws(3)[2]
    key = "corner.back.screw.run_out.bow_tir_um"
    plain, straight = changed(loaded, [], draw), changed(loaded, [step], draw)
    assert present(straight, key) == pytest.approx(0.2 * present(plain, key))
    assert present(plain, key) != 140
    other = "corner.front left.screw.run_out.bow_tir_um"
    assert present(straight, other) == present(plain, other)


def test_a_kind_brings_its_own_defaults_and_their_doubt(shipped):
    loaded = shipped("bent-rolled-rigid")
    found = changed(loaded, [step_of(loaded, "rolling joints between nut and carriage")])
    assert found.scenario.corner[0].joint.axial_n_per_um == 15
    assert any(r.key == "joint.lateral_n_per_mm" for r in found.ranges)


def test_a_root_that_is_given_goes_with_the_diameter(shipped):
    loaded = shipped("bent-rolled-rigid", "screw.root_diameter_mm=13")
    thin = changed(loaded, [step_of(loaded, "thinner screws, x 0.75")]).scenario.corner[0].screw
    assert (thin.diameter_mm, thin.root_diameter_mm) == (12, pytest.approx(9.75))
    free = shipped("bent-rolled-rigid")
    thin = changed(free, [step_of(free, "thinner screws, x 0.75")]).scenario.corner[0].screw
    assert thin.root_diameter_mm == pytest.approx(0.84 * 12)


def test_other_layers_make_as_high_a_print(shipped):
    loaded = shipped("bent-rolled-rigid")
    job = changed(loaded, [step_of(loaded, "layers of 0.3 mm")]).scenario.print
    assert job.layers * job.layer_mm == pytest.approx(60 * 0.25)


def test_costs_count_corners_and_given_prices_win(shipped):
    loaded = shipped("bent-rolled-rigid")
    rolling = step_of(loaded, "rolling joints between nut and carriage")
    one = step_of(loaded, "straighten or replace the screw, bow x 0.2", "back")
    assert rolling.cost({}) == 3 * PRICES[3] and one.cost({}) == PRICES[3]
    assert rolling.cost({"joint.kind": 10.0}) == 30.0
    assert one.words.endswith(", back")


def test_a_kind_from_outside_is_offered_as_a_change_if_it_says_so(shipped):
    usual = registry.find("guide", "wheels")
    rollers = replace(usual, name="rollers", change=registry.AsChange(words="rollers as guides", price=2))
    silent = replace(usual, name="unpriced", change=None)
    for kind in (rollers, silent):
        registry.add(kind)
    try:
        found = [s for s in every_step(shipped("bent-rolled-rigid")) if s.lever.name == "guide.kind"]
        assert [s.option.changes[0].to for s in found] == ["round_rod", "wheels", "rollers"]
        assert found[-1].option.price == 2
    finally:
        for kind in (rollers, silent):
            registry.remove(kind)


def test_no_mount_is_put_into_the_plate_that_it_carries(shipped):
    loaded = shipped("four-screws")
    assert present(loaded, "bed.thickness_mm") == 6.0

    def mounts(machine):
        return {s.option.words for s in every_step(machine) if s.lever.name == "mount.height_mm"}

    assert "mounts at -5 mm" not in mounts(loaded)
    thin = loaded.with_values({"bed.thickness_mm": 4.0})
    assert "mounts at -5 mm" in mounts(thin)
    low = loaded.with_values({f"corner.{c.name}.mount.height_mm": -7.0 for c in loaded.scenario.corner})
    assert not any(s.lever.name == "bed.thickness_mm" for s in every_step(low)), "9 mm would swallow them"
