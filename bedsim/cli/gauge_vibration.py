"""The accelerometer part of `bedsim gauge`: modes found, the machine's beside them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bedsim.cli.gauge_output import Target
from bedsim.number_text import number

if TYPE_CHECKING:
    from bedsim.metrology.snippet import MeasuredKey
    from bedsim.metrology.vibration_fit import RingingMode, VibrationFit
    from bedsim.scenario.load import LoadedScenario


def vibration(path: Path, target: Target) -> tuple[Sequence[MeasuredKey], Sequence[str], Path | None]:
    """Read, fit, print the modes; gives keys, remarks and the picture."""
    from bedsim.metrology.vibration_fit import fit_vibration, scenario_keys
    from bedsim.metrology.vibration_log import read_vibration
    from bedsim.scenario.load import load_scenario

    log = read_vibration(path)
    fit = fit_vibration(log, str(path))
    loaded = target.into.loaded if target.into is not None else None
    if target.beside is not None:
        loaded = load_scenario(target.beside, taught=False)
    click.echo(
        f"{path}: {len(log.axes)} axes ({', '.join(log.axes)}), {number(log.rate)} samples a second, "
        f"{fit.taps} taps that ring"
    )
    for line in _lines(fit, log.axes, loaded):
        click.echo(line)
    keys, remarks = scenario_keys(fit)
    unread = f"Columns left out: {', '.join(log.unread)}." if log.unread else ""
    picture = None
    if target.pictures:
        from bedsim.views.vibration_plot import draw_vibration

        picture = draw_vibration(log, fit, f"Taps: {target.stem}", target.path("gauge.png"))
    told = [*remarks, *(f"{w}." for w in fit.warnings), *([unread] if unread else [])]
    return keys, told, picture


def _lines(fit: VibrationFit, axes: Sequence[str], loaded: LoadedScenario | None) -> list[str]:
    lines = ["", "  frequency           damping ratio    half power   moves along"]
    for mode in fit.modes:
        lines.append(
            f"  {mode.frequency:7.3f} ± {mode.frequency_uncertainty:.3f} Hz"
            f"  {mode.damping:.4f} ± {mode.damping_uncertainty:.4f}  {mode.half_power:9.4f}   "
            f"{_direction(mode, axes)}"
        )
    lines.append(
        "  Damping is fitted to the ring-downs; half power is what the spectrum's width says, window and all."
    )
    return [*lines, *(_matches(fit, axes, loaded) if loaded is not None else [])]


def _matches(fit: VibrationFit, axes: Sequence[str], loaded: LoadedScenario) -> list[str]:
    from bedsim.shake.matched_modes import AXES, FARTHEST, machine_modes, matched

    modes = machine_modes(loaded)
    lines = ["", f"Beside the modes of {loaded.name} (logger in the middle of the bed):"]
    for seen, mode in zip(fit.modes, matched(fit.modes, axes, modes), strict=True):
        if mode is None:
            lines.append(f"  {seen.frequency:.2f} Hz: none of its modes is within a factor {FARTHEST:g}.")
            continue
        off = 100 * (seen.frequency / mode.frequency - 1)
        along = " and ".join(a for a, d in zip(AXES, mode.direction, strict=True) if d > 0.5)
        lines.append(
            f"  {seen.frequency:.2f} Hz: its {mode.frequency:.2f} Hz along {along}, measured {off:+.0f} %; "
            f"damping there {mode.damping:.3f}."
        )
    lines.append(
        "  Stiffness goes with the square: 10 % lower in frequency is 19 % softer, or as much heavier."
    )
    return lines


def _direction(mode: RingingMode, axes: Sequence[str]) -> str:
    return " and ".join(axis for axis, part in zip(axes, mode.direction, strict=True) if part > 0.5)
