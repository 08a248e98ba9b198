"""The summary says what the arrays hold, in words a person can trust."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest
import synthetic
from hypothesis import given
from hypothesis import strategies as st

from bedsim.analysis import cautions
from bedsim.analysis.figures import METRICS, band_window, metric_values
from bedsim.analysis.printed import quantity, rounded, span
from bedsim.analysis.summary import Influence, Ranges, Summary, headline, summarise, summary_lines

MACHINE = synthetic.scenario()


def summary(changes: dict[str, Any] | None = None, machine: Any = MACHINE, **options: Any) -> Summary:
    run = synthetic.run(machine)
    run = dataclasses.replace(run, layers=dataclasses.replace(run.layers, **(changes or {})))
    return summarise(run, synthetic.loaded(machine), **options)


@pytest.mark.parametrize(
    ("value", "relative", "text"),
    [
        (0.0, None, "0"),
        (12345.0, None, "12000"),
        (0.004567, None, "0.0046"),
        (9.96, None, "10"),
        (99.6, None, "100"),
        (-3.14, None, "-3.1"),
        (1.0, None, "1.0"),
        (14.2, 0.1, "14"),
        (94.4, 0.1, "94"),
        (94.4, 0.3, "90"),
        (3.14159, 0.001, "3.142"),
        (14.2, 5.0, "10"),
        (9.99, 0.01, "9.99"),  # uncertain by 0.09
        (9.99, 0.02, "10.0"),  # uncertain by 0.2
        (float("nan"), None, "unknown"),
        (float("inf"), None, "unlimited"),
    ],
)
def test_rounded(value: float, relative: float | None, text: str) -> None:
    """Digits end where the uncertainty begins (GUM 7.2.6); values worked by hand."""
    assert rounded(value, relative) == text


@given(st.floats(1e-6, 1e6), st.floats(0.001, 0.5))
def test_rounding_costs_less_than_the_uncertainty(value: float, relative: float) -> None:
    assert abs(float(rounded(value, relative)) - value) <= 0.5 * value * max(relative, 1e-9) * (1 + 1e-6)


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (1.44e-5, "m", "14 µm"),
        (1.23e-3, "m", "1.2 mm"),
        (9.996e-4, "m", "1000 µm"),
        (3e-9, "m", "less than 0.01 µm"),
        (np.radians(31.0), "rad", "31°"),
        (7.0, "N", "7.0 N"),
        (float("nan"), "m", "unknown"),
    ],
)
def test_quantity(value: float, unit: str, text: str) -> None:
    assert quantity(value, unit) == text


def test_span() -> None:
    assert span(3.2e-6, 31e-6, "m") == "3.2 to 31 µm"
    assert span(0.9e-3, 1.2e-3, "m") == "0.90 to 1.2 mm"
    assert span(14.1e-6, 14.2e-6, "m") == "14 µm"
    assert span(0.0, 2e-6, "m") == "0 to 2.0 µm"
    assert span(0.0, 1e-12, "m") == "less than 0.01 µm"


def test_metrics_are_those_of_the_made_up_bands() -> None:
    """Amplitude 20 um sideways, 10 um in height, plus a slope of 0.1 um per mm (see the synthetic helper)."""
    layers = synthetic.layer_result(MACHINE)
    values = metric_values(layers, [5e-3] * 3)
    assert set(values) == {m.name for m in METRICS}
    assert values["height_band"] == pytest.approx(10e-6, rel=1e-6)
    assert values["height_pv"] == pytest.approx(20e-6, rel=0.06)
    assert values["mount_force"] == 4.5
    assert values["thickness_error"] == pytest.approx(10e-6 * 2 * np.pi * 0.2 / 5, rel=0.02)


def test_lateral_figures_do_not_change_when_the_machine_is_turned() -> None:
    layers = synthetic.layer_result(MACHINE)
    c, s = np.cos(0.7), np.sin(0.7)
    turn = np.array([[c, s], [-s, c]])
    turned = dataclasses.replace(
        layers,
        lateral_error=layers.lateral_error @ turn,
        probe_position=layers.probe_position @ turn,
        corner_position=layers.corner_position @ turn,
    )
    a, b = metric_values(layers, [5e-3] * 3), metric_values(turned, [5e-3] * 3)
    assert b["lateral_band"] == pytest.approx(a["lateral_band"], rel=1e-9)
    assert b["lateral_pv"] == pytest.approx(a["lateral_pv"], rel=1e-4)


def test_first_line_is_one_sentence_with_cause_and_guesses() -> None:
    shares = {("run-out", "back"): (2e-6, 15e-6), ("run-out", "front left"): (1e-6, 5e-6)}
    ranges = Ranges(
        low={"lateral_pv": 20e-6},
        high={"lateral_pv": 41e-6},
        influences=(
            Influence(key="guide.radial_n_per_um", basis="default", swing=3e-6),
            Influence(key="damping.ratio", basis="measured", swing=4e-6),
        ),
    )
    s = summary(shares=shares, ranges=ranges)
    assert headline(s) == (
        "The bed strays 20 to 41 µm sideways at back right and 21 µm in height at front left (peak to "
        "valley, worst places), mainly from run-out at back. 40 % of this range comes from guessed inputs."
    )
    lines = summary_lines(s)
    assert lines[0] == headline(s)
    assert any("guide.radial_n_per_um" in line and "default" in line for line in lines)


def test_without_ranges_the_guesses_are_counted() -> None:
    loaded = synthetic.loaded(MACHINE, bases=("measured", "default", "estimated", "datasheet", "default"))
    text = headline(summarise(synthetic.run(MACHINE), loaded))
    assert text.endswith("worst places). 3 of 5 uncertain numbers behind it are guesses.")
    assert headline(summary()).endswith("worst places).")


def test_causes_differ_sideways_and_in_height() -> None:
    shares = {
        ("run-out", "a"): (0.0, 9e-6),
        ("run-out", "b"): (0.0, 9e-6),
        ("travel error", "a"): (5e-6, 0.0),
    }
    assert "sideways mainly from run-out, in height mainly from travel error at a" in headline(
        summary(shares=shares)
    )


def test_a_perfect_machine_has_no_cause() -> None:
    run = synthetic.run(MACHINE, amplitude=0.0)
    s = summarise(run, synthetic.loaded(MACHINE), shares={("run-out", "back"): (0.0, 0.0)})
    assert headline(s).startswith("The bed strays less than 0.01 µm sideways and less than 0.01 µm in height")
    assert "mainly" not in headline(s)


@pytest.mark.parametrize("layers", [1, 2, 4])
def test_very_short_prints_are_summed_up(layers: int) -> None:
    machine = synthetic.scenario(layers=layers)
    text = "\n".join(summary_lines(summary(machine=machine)))
    assert "unknown" in text and "nan" not in text


def test_thick_layers_name_the_wavelength_on_the_wall() -> None:
    machine = synthetic.scenario(lead_mm=2.0)
    thick = machine.model_copy(update={"print": machine.print.model_copy(update={"layer_mm": 1.2})})
    assert summary(machine=thick).corners[0].wall_wavelength == pytest.approx(3e-3)
    alike = machine.model_copy(update={"print": machine.print.model_copy(update={"layer_mm": 2.0})})
    assert any(" none " in line for line in summary_lines(summary(machine=alike)))


def test_the_worst_band_is_as_long_as_the_band_on_the_wall() -> None:
    layers = synthetic.layer_result(MACHINE)
    assert band_window(layers, [5e-3, 2e-3]) == 5e-3
    thick = dataclasses.replace(layers, print_height=1.2e-3 * np.arange(1, 61))
    assert band_window(thick, [2e-3, 2e-3]) == pytest.approx(3e-3)
    assert band_window(thick, [1.2e-3, 0.6e-3]) == 1.2e-3


def test_what_an_engine_does_not_compute_is_said() -> None:
    lines = summary_lines(summary({"residual_height": np.full((60, 5), np.nan)}))
    assert any("height vibration" in line and line.endswith("not computed") for line in lines)


def test_targets_are_judged() -> None:
    target = MACHINE.target.model_copy(update={"lateral_pv_um": 30.0, "height_pv_um": 25.0})
    lines = summary(machine=MACHINE.model_copy(update={"target": target})).targets
    assert [line.split(":")[0] for line in lines] == ["target missed", "target met"]


def test_no_limit_passed_no_warning() -> None:
    assert summary().warnings == ()


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("load_angle", np.radians(31), "front right reaches a load angle of 31° electrical"),
        ("mount_force", -2.0, "front right would need a pull of 2.0 N"),
        ("axial_force", -3.0, "front right is pushed up with 3.0 N"),
        ("stop_hit", True, "front right uses up its travel in one layer, first in layer 8"),
        ("tail_bound", 0.2e-6, "motion of up to 0.20 µm"),
    ],
)
def test_passed_limits_are_told(field: str, value: float, words: str) -> None:
    array = getattr(synthetic.layer_result(MACHINE), field).copy()
    array[(7, 1) if array.ndim == 2 else 7] = value
    warnings = summary({field: array}).warnings
    assert len(warnings) == 1 and words in warnings[0]


def test_cautions_are_always_given_and_magnets_add_one() -> None:
    assert any("can fall" in line for line in cautions.cautions(MACHINE))
    assert any("magnets" in line for line in cautions.cautions(MACHINE))
    corners = tuple(
        c.model_copy(update={"joint": c.joint.model_copy(update={"magnet_force_n": 0.0})})
        for c in MACHINE.corner
    )
    plain = cautions.cautions(MACHINE.model_copy(update={"corner": corners}))
    assert not any("magnets" in line for line in plain)
    assert not any(" safe" in line for line in summary_lines(summary()))
