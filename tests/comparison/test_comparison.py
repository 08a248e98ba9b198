"""What is compared of runs that differ in layers, heights and probes, and what is said of it."""

import dataclasses

import numpy as np
import pytest

from bedsim.analysis.requirements import read_requirement
from bedsim.comparison.changed_keys import changed_keys
from bedsim.comparison.compared import align, compare, worst_probe
from bedsim.comparison.text import remarks, requirement_lines, table_lines, verdicts
from bedsim.errors import InputError
from bedsim.simulation import PLATE_CORNERS

PROBES = [{"name": "centre", "x_mm": 0.0, "y_mm": 0.0}, {"name": "edge", "x_mm": 100.0, "y_mm": 0.0}]


def test_differences_are_those_of_the_figures(one):
    """Bolted against jointed: e k/(k + k_guide) is tested elsewhere, here only the subtraction."""
    bolted, jointed = one("bolted", joint__kind="rigid"), one("jointed")
    found = compare([bolted, jointed])
    change = {d.name: d for d in found.differences[0]}["lateral_pv"]
    pv = [np.ptp(i.run.layers.lateral_error[:, :, 0], axis=0).max() for i in (bolted, jointed)]
    assert change.change == pytest.approx(pv[1] - pv[0], rel=1e-6)
    assert change.ratio == pytest.approx(pv[1] / pv[0], rel=1e-6)
    assert np.isnan(change.low)


def test_a_longer_print_is_cut_to_the_common_height(one):
    short, long = one("short", print__layers=9), one("long")
    found = align([short, long])
    assert [len(part.layer) for part in found.layers] == [9, 9]
    assert np.array_equal(found.layers[1].lateral_error, long.run.layers.lateral_error[:9])
    assert found.layers[1].side_force.shape == (9, 3)
    assert found.notes == ("Compared up to the common height of 5.625 mm: long to layer 9 of 17.",)


def test_other_thickness_compares_the_same_stretch_without_interpolation(one):
    """A circle sampled eight or sixteen times per turn has the same extent."""
    thick, thin = one("thick", print__layers=9), one("thin", print__layer_mm=0.3125, print__layers=22)
    found = compare([thick, thin])
    assert [len(part.layer) for part in found.layers] == [9, 18]
    assert found.values[0]["lateral_pv"] == pytest.approx(found.values[1]["lateral_pv"], rel=1e-3)
    assert any("0.3125 and 0.625 mm thick" in note for note in found.notes)


def test_only_common_probes_are_compared_and_the_rest_is_named(one):
    moved = [PROBES[0], PROBES[1] | {"x_mm": 90.0}]
    found = align([one("a", probe=PROBES), one("b", probe=moved)])
    assert [part.probe_name for part in found.layers] == [("centre", *PLATE_CORNERS)] * 2
    assert found.layers[0].lateral_error.shape == (17, 5, 2)
    assert found.notes == ("Only probes at the same place in all runs are compared; left out: edge.",)


def only_first_probe(item):
    layers = item.run.layers
    kept = dataclasses.replace(
        layers, probe_name=layers.probe_name[:1], probe_position=layers.probe_position[:1]
    )
    return dataclasses.replace(item, run=dataclasses.replace(item.run, layers=kept))


def test_runs_without_a_common_probe_are_refused(one):
    """As results of other places than the plate's corners may be."""
    with pytest.raises(InputError, match=r"none has the same name and place .*a has centre; b has edge"):
        align([only_first_probe(one(n, probe=[p])) for n, p in zip("ab", PROBES, strict=True)])


def test_prints_without_two_common_layers_are_refused(one):
    low = one("low", print__layer_mm=0.5, print__layers=2)
    with pytest.raises(InputError, match=r"one: has 1 of its layers below 1 mm.*at least 2"):
        align([low, one()])


def test_different_engines_are_pointed_out(one):
    first = one("a")
    other = dataclasses.replace(first, label="b", run=dataclasses.replace(first.run, engine="propagator"))
    assert "a equilibrium, b propagator" in compare([first, other]).notes[0]


def test_changed_keys_are_named_as_a_user_writes_them(one):
    """Alike at every corner: the common key; at one corner: that corner's."""
    first = one().loaded.scenario
    other = one(joint__lateral_n_per_mm=5.0, corner__B__screw__clocking_deg=90.0, title="x").loaded.scenario
    found = [(k.key, k.first, k.other) for k in changed_keys(first, other)]
    assert found == [("joint.lateral_n_per_mm", 20.0, 5.0), ("corner.B.screw.clocking_deg", 0.0, 90.0)]
    assert changed_keys(first, first) == ()


def test_probes_and_optional_keys_are_compared_too(one):
    changed = one(probe=PROBES[1:], target__lateral_pv_um=9.0).loaded.scenario
    found = {k.key: (k.first, k.other) for k in changed_keys(one().loaded.scenario, changed)}
    assert found["probe.edge.x_mm"] == (None, 100.0)
    assert found["target.lateral_pv_um"] == (None, 9.0)


def test_worst_probe_is_that_of_any_run(one):
    first, other = one("a", probe=PROBES), one("b", probe=PROBES)
    layers = dataclasses.replace(
        other.run.layers, lateral_error=other.run.layers.lateral_error * [[[1.0], [3.0], *[[1.0]] * 4]]
    )
    other = dataclasses.replace(other, run=dataclasses.replace(other.run, layers=layers))
    assert worst_probe(compare([first, other])) == 1


# ---- words


@pytest.fixture(scope="module")
def told(one):
    return compare([one("bolted", joint__kind="rigid"), one("jointed")])


def test_table_and_sentence_say_what_changed_by_how_much(told):
    text = "\n".join(table_lines(told))
    assert "joint.kind = rolling instead of rigid" in text
    assert "lateral vibration when printing starts, peak  not computed       not computed" in text
    sentence = verdicts(told)[0]
    assert sentence.startswith("Against bolted, jointed strays 59 µm less sideways: 1.5 µm instead of 60 µm")
    assert "0.024 times as much" in sentence  # (0.0198 3.33)/(1.353 2), as below
    assert sentence.endswith("Peak to valley, worst place of the bed.")
    assert any("no range was computed" in line for line in remarks(told))


def test_cautions_stand_beside_every_comparison(told):
    assert any(line.startswith("Caution:") for line in remarks(told))


def test_the_same_scenario_is_called_so(one):
    found = compare([one("a"), one("b")])
    assert table_lines(found)[0] == "b: the same scenario."
    assert "strays as far sideways" in verdicts(found)[0]


# ---- conditions


def test_a_condition_holds_for_every_run_after_the_first(told):
    """1.463 µm = 2 e k/(k + k_guide) with e = 50 µm, k = 2 and 0.02 N/µm in series, k_guide 4 and 2."""
    lines, met = requirement_lines(told, [read_requirement("lateral_pv_um <= 10")])
    assert met
    assert lines == ["required lateral_pv_um<=10: met by jointed (1.463)"]
    assert not requirement_lines(told, [read_requirement("lateral_pv_um<1")])[1]
    assert requirement_lines(told, [read_requirement("lateral_pv_ratio<0.05")])[1]


def test_what_is_not_known_does_not_meet_a_condition(told):
    lines, met = requirement_lines(told, [read_requirement("residual_lateral_um<1000")])
    assert not met
    assert "residual_lateral is not known from engine equilibrium" in lines[0]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("lateral_pv_um", "must be NAME<=NUMBER"),
        ("lateral_pv_um=10", "must be NAME<=NUMBER"),
        ("lateral_pv<=10", "there is no figure lateral_pv. Did you mean lateral_pv_"),
        ("latral_pv_um<=10", "Did you mean lateral_pv_um? Known: lateral_pv_um, height_pv_um"),
        ("side_force_n<=ten", "ten is not a number"),
        ("side_force_n<=inf", "inf is not a number"),
    ],
)
def test_a_condition_that_cannot_be_read_names_what_is_allowed(text, message):
    with pytest.raises(InputError) as caught:
        read_requirement(text)
    assert message in str(caught.value)


def test_conditions_are_in_the_unit_of_their_name():
    values = {"load_angle": np.pi / 6, "lateral_pv": 4e-6, "side_force": 3.0}
    first = {"load_angle": np.pi / 3, "lateral_pv": 8e-6, "side_force": 0.0}
    assert read_requirement("load_angle_deg<31").value(values, first) == pytest.approx(30)
    assert read_requirement("lateral_pv_um<31").value(values, first) == pytest.approx(4)
    assert read_requirement("lateral_pv_ratio<1").value(values, first) == pytest.approx(0.5)
    assert np.isnan(read_requirement("side_force_ratio<1").value(values, first))


@pytest.mark.parametrize(
    ("text", "values", "holds"),
    [
        ("side_force_n<=10", {"side_force": 9.9}, True),
        ("side_force_n<=10", {"side_force": 10.1}, False),
        ("lateral_pv_um<5", {"lateral_pv": 4.9e-6}, True),
        ("lateral_pv_um<5", {"lateral_pv": 5.1e-6}, False),
        ("load_angle_deg>=30", {"load_angle": 0.5236}, True),
        ("load_angle_deg>=30", {"load_angle": 0.5235}, False),
    ],
)
def test_a_requirement_is_in_the_unit_of_its_name(text, values, holds):
    """Newtons, micrometres, and degrees: pi/6 is 0.523599 rad."""
    assert read_requirement(text).holds(values, {}) is holds
