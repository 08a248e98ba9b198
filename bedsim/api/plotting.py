"""Every picture of the commands as a figure, and those of one kind of axes in axes of one's own."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from bedsim.analysis.sizing_report import SizingReport
from bedsim.comparison.compared import Comparison
from bedsim.compensate.advice import Compensation
from bedsim.errors import InputError
from bedsim.improve.findings import Improvement
from bedsim.learn.learned import Learned
from bedsim.results.layers import Run
from bedsim.results.reload import scenario_of
from bedsim.results.sweep import SweepResult
from bedsim.scenario.keys import nearest
from bedsim.views import (
    compare_plots,
    compensate_plots,
    improve_plots,
    learn_plots,
    pictures,
    size_plots,
    style,
    sweep_plots,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure, SubFigure

NOWHERE = Path("picture.png")
"""A name that is not written: the figure is handed over instead."""

Drawing = Callable[[Path], object]
InAxes = Callable[[Sequence[Any]], None]


def plot(found: Any, what: str = "", axes: Axes | Sequence[Axes] | None = None) -> Figure | SubFigure:
    """A picture of a run, comparison, sweep, sizing, improvement, compensation or of what was learnt, as a
    figure.

    `what` chooses among the pictures that there are (the usual one by default; any other name is refused
    with those there are); `axes`: one's own, for pictures that are made of plain axes.  Raises InputError.
    """
    drawings = _drawings(found)
    name = what or next(iter(drawings))
    if name not in drawings:
        near = nearest(name, drawings)
        hint = f"Did you mean {near}?" if near else f"There are: {', '.join(drawings)}."
        raise InputError(f"what = {name}: there is no such picture. {hint}")
    if axes is None:
        return style.handed_over(lambda: drawings[name](NOWHERE))
    listed = list(np.ravel(np.asarray(axes, dtype=object)))
    into, count = _into(found).get(name, (None, 0))
    if into is None or len(listed) != count:
        wanted = f"takes {count}" if into is not None else "takes no axes of yours"
        raise InputError(f"axes: {len(listed)} given; the picture {name} {wanted}.")
    into(listed)
    figure: Figure | SubFigure = listed[0].figure
    return figure


def _drawings(found: Any) -> Mapping[str, Drawing]:
    """Name -> what draws it, the usual one first."""
    if isinstance(found, Run):
        return _of_run(found)
    if isinstance(found, SweepResult):
        return _of_sweep(found)
    if isinstance(found, Comparison):
        return {
            "figures": partial(compare_plots.draw_figures, found),
            "errors": partial(compare_plots.draw_errors, found),
        }
    if isinstance(found, SizingReport):
        corner = found.softest_corner
        return {
            "margins": partial(
                size_plots.draw_size, found.checks, found.axial_shares[corner], corner, found.title
            )
        }
    if isinstance(found, Improvement):
        return {"gains": partial(improve_plots.draw_improvement, found)}
    if isinstance(found, Compensation):
        return {
            "left": partial(compensate_plots.draw_compensation, found),
            "height map": partial(compensate_plots.draw_height_maps, found),
        }
    if isinstance(found, Learned):
        title = found.unknowns.loaded.scenario.title
        return {"answers": partial(learn_plots.draw_learned, found, title)}
    raise InputError(f"{type(found).__name__}: there is no picture of it.")


def _of_run(run: Run) -> dict[str, Drawing]:
    scenario = scenario_of(run, "run").scenario
    drawn: dict[str, Drawing] = {
        "errors": partial(pictures.draw_errors, scenario, run.layers),
        "machine": partial(pictures.draw_machine, scenario, run.layers),
        "path": partial(pictures.draw_path, scenario, run.layers),
    }
    if pictures.has_waves(run.layers):
        drawn["wavelengths"] = partial(pictures.draw_spectrum, scenario, run.layers)
    return drawn


def _of_sweep(result: SweepResult) -> dict[str, Drawing]:
    from bedsim.sweep.answers import has_target

    drawn: dict[str, Drawing] = {
        "distributions": partial(sweep_plots.draw_distributions, result),
        "height": partial(sweep_plots.draw_heights, result),
    }
    if has_target(result):
        drawn = {"probability": partial(sweep_plots.draw_probabilities, result), **drawn}
    return drawn


def _into(found: Any) -> Mapping[str, tuple[InAxes, int]]:
    """Pictures that go into axes of one's own, and how many."""
    if isinstance(found, Run):
        return {"errors": (lambda axes: pictures.error_panels(axes, found.layers), 3)}
    if isinstance(found, SizingReport):
        shown = [c for c in found.checks if c.margin is not None]
        return {"margins": (lambda axes: size_plots.margin_bars(axes[0], shown), 1)}
    if isinstance(found, Improvement):
        return {"gains": (lambda axes: improve_plots.gain_bars(axes[0], found.gains, found), 1)}
    if isinstance(found, SweepResult):
        return {"probability": (lambda axes: sweep_plots.probability_rows(axes[0], found), 1)}
    return {}
