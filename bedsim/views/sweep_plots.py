"""Pictures of a sweep: probability, distribution, price and quality, what matters, error over the print."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from bedsim.results.sweep import CellResult, Doubt, SweepResult
from bedsim.sweep.answers import LEVELS, front, has_target
from bedsim.units import MM, UM
from bedsim.views import style

_DOTTED, _DASHED = (0, (1.5, 0.8)), (0, (4, 1))
MOST_KEYS = 10
MOST_ROWS, MOST_SERIES, MOST_LINES = 40, 4, 4


def draw_sweep(result: SweepResult, stem: Path) -> list[Path]:
    """Draw all that the sweep can tell beside `stem` and give the files back.

    Raises ResultFileError when one cannot be written.
    """
    files = [
        draw_distributions(result, _named(stem, "distributions")),
        draw_heights(result, _named(stem, "height")),
    ]
    if has_target(result):
        files.insert(0, draw_probabilities(result, _named(stem, "probability")))
    if sum(np.isfinite(c.price) for c in result.cells) > 1:
        files.append(draw_prices(result, _named(stem, "price")))
    if result.sensitivity_names:
        files.append(draw_sensitivity(result, _named(stem, "what_matters")))
    if result.doubt is not None:
        files.append(draw_doubt(result, result.doubt, _named(stem, "what_to_measure")))
    return files


def _named(stem: Path, name: str) -> Path:
    return stem.with_name(f"{stem.name}_{name}.png")


def _title(result: SweepResult, what: str) -> str:
    return f"{what}: {style.short(result.title, 64)}"


# ---- probability --------------------------------------------------------------------------------------


def draw_probabilities(result: SweepResult, path: Path) -> Path:
    """Share of printers that meet the target, per cell, with its intervals."""
    cells = _shown(result)
    with style.page(path, 230 * MM, (56 + 9 * len(cells)) * MM, _title(result, "Meets the target")) as figure:
        probability_rows(figure.subplots(), result)
        figure.legend(handles=_probability_legend(result), loc="outside lower center", ncols=2)
    return path


def probability_rows(ax: Axes, result: SweepResult) -> None:
    """Every cell's share as a point, its intervals as lines."""
    cells = _shown(result)
    places = np.arange(len(cells), dtype=float)
    middle = np.array([c.probability for c in cells]) * 100
    _bars(ax, places, [c.whole_interval for c in cells], style.GREY, "-", 1.2)
    _bars(ax, places - 0.26, [c.wilson for c in cells], style.BLUE, "-", 5.0)
    _bars(ax, places + 0.15, [c.lot_interval for c in cells], style.VERMILLION, _DOTTED, 2.5)
    _bars(ax, places + 0.32, [c.machine_interval for c in cells], style.GREEN, _DASHED, 2.5)
    ax.plot(middle, places, "D", color=style.INK, markersize=4.5)
    ax.axvline(100 * result.wanted_probability, color=style.INK, linewidth=1.2, linestyle=(0, (6, 2)))
    ax.set_yticks(places, [style.short(c.label, 46) for c in cells])
    ax.set_ylim(len(cells) - 0.4, -0.6)
    ax.set_xlim(-2, 102)
    ax.grid(axis="y", visible=False)
    ax.set_xlabel("printers that meet the target (%)")
    ax.set_title(_target_text(result), fontsize=8, fontweight="normal")


def _shown(result: SweepResult) -> Sequence[CellResult]:
    """All cells, or the most probable if there are too many to draw."""
    if len(result.cells) <= MOST_ROWS:
        return result.cells
    return sorted(result.cells, key=lambda c: -np.nan_to_num(c.probability))[:MOST_ROWS]


def _bars(
    ax: Axes, places: np.ndarray, ends: Sequence[tuple[float, float]], colour: str, line: Any, width: float
) -> None:
    low, high = np.array(ends, dtype=float).T * 100
    thick = np.maximum(high - low, 0.4)  # an interval of no width is still to be seen
    ax.hlines(places, high - thick, high, color=colour, linewidth=width, linestyle=line)


def _probability_legend(result: SweepResult) -> list[Line2D]:
    sure = f"{100 * result.confidence:g} %"
    return [
        Line2D([], [], color=style.INK, marker="D", linestyle="", label="share of the printers drawn"),
        Line2D([], [], color=style.BLUE, linewidth=5, label=f"{sure} interval for the number drawn (Wilson)"),
        Line2D([], [], color=style.INK, linestyle=(0, (6, 2)), label="wanted"),
        Line2D(
            [],
            [],
            color=style.VERMILLION,
            linewidth=2.5,
            linestyle=_DOTTED,
            label=f"{sure} for what is not known of the lot",
        ),
        Line2D(
            [],
            [],
            color=style.GREEN,
            linewidth=2.5,
            linestyle=_DASHED,
            label=f"{sure} for what is not known of the machine",
        ),
        Line2D([], [], color=style.GREY, linewidth=1.2, label=f"{sure} for all together"),
    ]


def _target_text(result: SweepResult) -> str:
    return f"peak to valley at every probe: {_limits(result)}"


def _limits(result: SweepResult) -> str:
    limits = {"lateral": result.lateral_target, "height": result.height_target}
    asked = [f"{name} error at most {v / UM:g} µm" for name, v in limits.items() if np.isfinite(v)]
    return ", ".join(asked)


# ---- distributions ------------------------------------------------------------------------------------


def draw_distributions(result: SweepResult, path: Path) -> Path:
    """Lateral and height error of all printers by the first axis, a series per combination of the rest."""
    places, series = _arranged(result)
    with style.page(path, 260 * MM, 135 * MM, _title(result, "Distribution over printers")) as figure:
        axes = figure.subplots(1, 2)
        panels = (
            ("lateral_pv", "lateral error", result.lateral_target),
            ("height_pv", "height error", result.height_target),
        )
        for ax, (name, what, limit) in zip(axes, panels, strict=True):
            _strips(ax, result, name, places, series)
            if np.isfinite(limit):
                ax.axhline(limit / UM, color=style.INK, linewidth=1.2, linestyle=(0, (6, 2)))
            style.round_log_ticks(ax.yaxis, *ax.get_ylim())
            ax.set_ylabel(f"{what}, peak to valley (µm)")
            ax.set_xlabel(result.axis_names[0] if result.axis_names else "cell")
        handles: list[Any] = [_patch(i, label) for i, label in enumerate(series) if label]
        if has_target(result):
            label = f"target: {_limits(result)}"
            handles.append(Line2D([], [], color=style.INK, linestyle=(0, (6, 2)), label=label))
        if handles:
            figure.legend(handles=handles, loc="outside lower center", ncols=min(len(handles), 4))
        axes[0].set_title(
            "box: middle half; line: 5 to 95 %; dots: the rest", fontsize=8, fontweight="normal"
        )
    return path


def _patch(i: int, label: str) -> Patch:
    look = {"facecolor": style.COLOURS[i % 7], "hatch": style.HATCHES[i % 6] * 2, "edgecolor": style.INK}
    return Patch(label=style.short(label, 40), **look)  # type: ignore[arg-type]


def _arranged(result: SweepResult) -> tuple[list[str], dict[str, list[CellResult | None]]]:
    """Names along the first axis, and for each series its cells there; without a grid each cell by itself."""
    if not result.axis_names or not all(c.place for c in result.cells):
        cells = _shown(result)[:12]
        return [style.wrapped(c.label, 14) for c in cells], {"": list(cells)}
    names = list(result.axis_labels[0])
    series: dict[str, list[CellResult | None]] = {}
    for cell in result.cells:
        rest = zip(result.axis_labels[1:], cell.place[1:], strict=True)
        label = ", ".join(labels[i] for labels, i in rest)
        if label in series or len(series) < MOST_SERIES:
            series.setdefault(label, [None] * len(names))[cell.place[0]] = cell
    return [style.wrapped(name, 14) for name in names], series


def _name_places(ax: Axes, places: list[str]) -> None:
    """Names under the axis, slanted where they would touch."""
    if len(places) * max(len(line) for name in places for line in name.split("\n")) <= 50:
        ax.set_xticks(range(len(places)), places)
        return
    flat = [style.short(name.replace("\n", " "), 32) for name in places]
    ax.set_xticks(range(len(places)), flat, rotation=30, ha="right", rotation_mode="anchor")


def _strips(
    ax: Axes, result: SweepResult, name: str, places: list[str], series: dict[str, list[CellResult | None]]
) -> None:
    column = result.metrics.index(name)
    width = 0.8 / len(series)
    for i, cells in enumerate(series.values()):
        for x, cell in enumerate(cells):
            if cell is not None:
                at = x + (i - (len(series) - 1) / 2) * width
                _box(ax, at, 0.8 * width, cell.figures[:, column] / UM, i)
    _name_places(ax, places)
    ax.set_xlim(-0.6, len(places) - 0.4)
    ax.set_yscale("log")
    ax.grid(axis="x", visible=False)


def _box(ax: Axes, at: float, width: float, values: np.ndarray, i: int) -> None:
    """Quantiles of 5, 25, 50, 75, 95 % and the values beyond them."""
    low, first, middle, third, high = np.quantile(values, LEVELS)
    beyond = values[(values < low) | (values > high)]
    ax.plot(np.full(beyond.size, at), beyond, ".", color=style.GREY, markersize=2, zorder=1)
    ax.vlines(at, low, high, color=style.INK, linewidth=1.0, zorder=2)
    look = {"color": style.COLOURS[i % 7], "hatch": style.HATCHES[i % 6] * 2, "edgecolor": style.INK}
    ax.bar(at, third - first, width, bottom=first, linewidth=0.8, zorder=3, **look)  # type: ignore[arg-type]
    ax.hlines(middle, at - width / 2, at + width / 2, color=style.INK, linewidth=1.8, zorder=4)


# ---- price --------------------------------------------------------------------------------------------


def draw_prices(result: SweepResult, path: Path) -> Path:
    """Price against quality, the cells worth their price joined and named."""
    cells = [c for c in result.cells if np.isfinite(c.price)]
    asked = has_target(result)
    quality = np.array([100 * c.probability if asked else _median(result, c) for c in cells])
    ranks = front([c.price for c in cells], list(quality if asked else -quality))
    with style.page(path, 250 * MM, 130 * MM, _title(result, "Price and quality")) as figure:
        ax = figure.subplots()
        price = np.array([c.price for c in cells])
        if asked:
            spread = np.array([c.wilson for c in cells]).T * 100
            ax.vlines(price, spread[0], spread[1], color=style.GREY, linewidth=1.0)
        ax.plot(
            price, quality, "o", color=style.GREY, markersize=5, markerfacecolor="white", label="other cells"
        )
        line = {"color": style.BLUE, "linewidth": 1.2, "linestyle": (0, (6, 2))}
        ax.step(price[ranks], quality[ranks], where="post", **line)  # type: ignore[arg-type]
        ax.plot(price[ranks], quality[ranks], "o", color=style.BLUE, markersize=11, label="worth their price")
        _number(ax, price[ranks], quality[ranks])
        ax.margins(x=0.08)
        if asked:
            look = {"color": style.INK, "linewidth": 1.2, "linestyle": (0, (1.5, 1.5)), "label": "wanted"}
            ax.axhline(100 * result.wanted_probability, **look)  # type: ignore[arg-type]
            ax.set_ylim(-5, 105)
        ax.set_xlabel(f"price of the parts ({result.currency})")
        ax.set_ylabel(
            "printers that meet the target (%)" if asked else "median lateral error, peak to valley (µm)"
        )
        names = [
            Line2D([], [], linestyle="", label=f"{k}  {_priced(cells[i], result)}")
            for k, i in enumerate(ranks, 1)
        ]
        look = {"title": "no other is cheaper and better", "alignment": "left", "handlelength": 0}
        figure.legend(handles=names, loc="outside right upper", **look)
        handles, labels = ax.get_legend_handles_labels()
        figure.legend(handles, labels, loc="outside lower center", ncols=3)
    return path


def _number(ax: Axes, x: np.ndarray, y: np.ndarray) -> None:
    for k, (px, py) in enumerate(zip(x, y, strict=True), 1):
        ax.annotate(
            str(k), (px, py), ha="center", va="center", color="white", fontsize=7.5, fontweight="bold"
        )


def _priced(cell: CellResult, result: SweepResult) -> str:
    return style.wrapped(f"{cell.label}: {cell.price:.0f} {result.currency}", 30).replace("\n", "\n    ")


def _median(result: SweepResult, cell: CellResult) -> float:
    return float(cell.quantiles[LEVELS.index(0.5), result.metrics.index("lateral_pv")] / UM)


# ---- what matters, and where --------------------------------------------------------------------------


def draw_sensitivity(result: SweepResult, path: Path) -> Path:
    """Shares of the variance, first order and total, largest on top."""
    order = np.argsort(-result.total_order, kind="stable")
    places = np.arange(order.size, dtype=float)
    with style.page(
        path, 200 * MM, (48 + 12 * order.size) * MM, _title(result, "What matters most")
    ) as figure:
        ax = figure.subplots()
        groups = (
            ("by itself", result.first_order, -0.19, 0),
            ("with all it acts together with", result.total_order, 0.19, 1),
        )
        for label, values, offset, i in groups:
            width = np.clip(values[order] * 100, 0, None)
            look = {
                "color": style.COLOURS[i],
                "hatch": style.HATCHES[i],
                "edgecolor": style.INK,
                "linewidth": 0.6,
            }
            bars = ax.barh(places + offset, width, height=0.34, label=label, **look)  # type: ignore[arg-type]
            ax.bar_label(bars, fmt="%.0f %%", padding=3, fontsize=7.5)
        ax.set_yticks(places, [style.wrapped(result.sensitivity_names[i], 30) for i in order])
        ax.set_ylim(order.size - 0.5, -0.5)
        ax.set_xlim(0, max(100.0, float(result.total_order.max()) * 100) * 1.1)
        ax.grid(axis="y", visible=False)
        ax.set_xlabel(f"share of the variance of the {result.sensitivity_of} (%)")
        ax.set_title("over the values in this plan, all alike", fontsize=8, fontweight="normal")
        figure.legend(loc="outside lower center", ncols=2)
    return path


def draw_doubt(result: SweepResult, doubt: Doubt, path: Path) -> Path:
    """Uncertain keys of the machine: share of the spread, and how often the choice is right if known."""
    count = min(MOST_KEYS, len(doubt.keys))
    places, cell = np.arange(count, dtype=float), next(c for c in result.cells if c.index == doubt.cell)
    with style.page(path, 230 * MM, (52 + 8 * count) * MM, _title(result, "What to measure next")) as figure:
        left, right = figure.subplots(1, 2, sharey=True)
        look = {"hatch": style.HATCHES[0], "edgecolor": style.INK, "linewidth": 0.6, "height": 0.6}
        bars = left.barh(places, 100 * doubt.part[:count], color=style.COLOURS[0], **look)
        left.bar_label(bars, fmt="%.0f %%", padding=3, fontsize=7.5)
        left.set_yticks(places, list(doubt.keys[:count]))
        left.set_ylim(count - 0.5, -0.5)
        left.set_xlim(0, max(10.0, 125 * float(doubt.part.max())))
        left.set_xlabel("share of the spread over machines (%)")
        left.set_title(style.short(cell.label, 46), fontsize=8, fontweight="normal")
        if np.isfinite(doubt.now):
            right.plot(
                100 * doubt.surer[:count], places, "D", color=style.BLUE, markersize=5, label="key known"
            )
            line = {
                "color": style.INK,
                "linewidth": 1.2,
                "linestyle": (0, (6, 2)),
                "label": "none known better",
            }
            right.axvline(100 * doubt.now, **line)
            right.set_xlim(48, 102)
            right.set_xlabel("machines in which the choice is right (%)")
            figure.legend(*right.get_legend_handles_labels(), loc="outside lower center", ncols=2)
        else:
            right.set_visible(False)
        for ax in (left, right):
            ax.grid(axis="y", visible=False)
    return path


def draw_heights(result: SweepResult, path: Path) -> Path:
    """Median and 95 % of the largest error over the probes, over the height of the print, for a few cells."""
    cells = _few(result)
    with style.page(path, 250 * MM, 150 * MM, _title(result, "Error over the print")) as figure:
        axes = figure.subplots(1, 2, sharey=True)
        for k, (ax, what) in enumerate(zip(axes, ("lateral", "height"), strict=True)):
            for i, cell in enumerate(cells):
                height, values = cell.print_height / MM, cell.envelope[:, :, k] / UM
                look = style.series(i, height.size)
                ax.plot(values[:, LEVELS.index(0.5)], height, label=style.short(cell.label, 40), **look)
                ax.plot(
                    values[:, LEVELS.index(0.95)],
                    height,
                    color=look["color"],
                    linewidth=0.8,
                    linestyle=look["linestyle"],
                )
            ax.set_xlabel(f"largest {what} error over the probes, against layer 1 (µm)")
            ax.set_xlim(left=0)
            ax.set_ylim(bottom=0)
        axes[0].set_ylabel("print height (mm)")
        axes[0].set_title(
            "with markers: median printer; thin: 95 % are below", fontsize=8, fontweight="normal"
        )
        if len(cells) < len(result.cells):
            note = (
                f"{len(cells)} of {len(result.cells)} cells: best, worst and between, by median lateral error"
            )
            axes[1].set_title(note, fontsize=8, fontweight="normal")
        handles, labels = axes[0].get_legend_handles_labels()
        figure.legend(handles, labels, loc="outside lower center", ncols=2)
    return path


def _few(result: SweepResult) -> list[CellResult]:
    """Best, worst and evenly between, by median lateral error; only cells of the most common print height."""
    layers = [c.print_height.size for c in result.cells]
    usual = max(set(layers), key=layers.count)
    ordered = sorted(
        (c for c in result.cells if c.print_height.size == usual), key=lambda c: _median(result, c)
    )
    picks = np.unique(np.linspace(0, len(ordered) - 1, min(MOST_LINES, len(ordered))).round().astype(int))
    return [ordered[i] for i in picks]
