"""The common look: colours, lines, type sizes and the page a picture is drawn on.

Colours are those of Okabe and Ito (Color Universal Design, 2008), yellow left out because it fades on
paper; every series also has its own line and marker, so that a grey print tells them apart.
"""

from __future__ import annotations

import contextlib
import io
import textwrap
from collections.abc import Callable, Iterator, Sequence
from contextvars import ContextVar
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.layout_engine import ConstrainedLayoutEngine
from matplotlib.patches import Rectangle
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator
from matplotlib.transforms import Bbox, Transform
from numpy.typing import ArrayLike, NDArray

from bedsim.files import write_files
from bedsim.units import MM, UM

Array = NDArray[np.float64]

BLUE, VERMILLION, GREEN = "#0072B2", "#D55E00", "#009E73"
ORANGE, PURPLE, SKY, BLACK = "#E69F00", "#CC79A7", "#56B4E9", "#000000"
INK, GREY, PALE = "#222222", "#777777", "#DDDDDD"

COLOURS = (BLUE, VERMILLION, GREEN, ORANGE, PURPLE, SKY, BLACK)
LINES: tuple[Any, ...] = ("-", (0, (6, 2)), (0, (1.5, 1.5)), (0, (6, 2, 1.5, 2)), (0, (10, 3)))
MARKERS = ("o", "s", "^", "D", "v", "P", "X", "<", ">")
WIDER, WIDEST = 1.2, 3.6  # points that a line is wider than the one drawn over it, and at most
HATCHES = ("", "////", "....", "xxxx", "\\\\\\\\", "++++")
HEIGHT_COLOURS = "cividis"  # even in lightness, so a grey print still orders the heights
TURN_COLOURS = LinearSegmentedColormap.from_list("turn", [BLUE, SKY, GREEN, ORANGE, VERMILLION, PURPLE, BLUE])

_RC: Any = {
    "font.family": "DejaVu Sans",
    "font.size": 9.0,
    "axes.titlesize": 10.0,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.labelsize": 9.0,
    "axes.edgecolor": GREY,
    "axes.labelcolor": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.axisbelow": True,
    "axes.formatter.useoffset": False,
    "grid.color": PALE,
    "grid.linewidth": 0.6,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": 8.0,
    "ytick.labelsize": 8.0,
    "legend.fontsize": 8.0,
    "legend.frameon": False,
    "legend.handlelength": 3.2,
    "lines.linewidth": 1.4,
    "lines.markersize": 4.5,
    "text.color": INK,
    "hatch.linewidth": 0.6,
    "figure.facecolor": "white",
    "savefig.facecolor": "white",
}
_INCH = 25.4 * MM
PACKED = 3  # of a picture file: half the time of the usual 6 for a tenth more bytes


@contextlib.contextmanager
def page(path: Path, width: float, height: float, title: str = "") -> Iterator[Figure]:
    """Give an empty figure of `width` by `height` (m); it is saved at `path`, as its ending says (png, svg,
    pdf), when the block ends well.

    Raises ResultFileError when the file cannot be written.
    """
    with matplotlib.rc_context(_RC):
        figure = Sheet(figsize=(width / _INCH, height / _INCH), layout=OneLook(), dpi=150)
        FigureCanvasAgg(figure)
        if title:
            figure.suptitle(title, x=0.01, ha="left", fontsize=11, fontweight="bold")
        yield figure
        save(figure, path)


class OneLook(ConstrainedLayoutEngine):
    """The library's constrained layout, which measures all words twice, for what stands around axes may
    change a little as they are moved; measuring takes a third of the drawing.  Here it measures once."""

    def execute(self, fig: Figure) -> None:
        """Lay a figure out."""
        every = list(fig.axes)
        for ax in every:
            ax.get_tightbbox = _measured_once(ax, fig.transSubfigure)  # type: ignore[method-assign]
        try:
            super().execute(fig)
        finally:
            for ax in every:
                del ax.get_tightbbox


def _measured_once(ax: Axes, whole: Transform) -> Callable[..., Bbox | None]:
    """The box around axes of a `whole` and their words; from the second time on as far around their place as
    the first."""
    measure = ax.get_tightbbox
    around: list[Array | None] = []

    def box(*args: Any, **kinds: Any) -> Bbox | None:
        place = ax.get_position(original=True).transformed(whole).extents
        if not around:
            found = measure(*args, **kinds)
            around.append(None if found is None else np.subtract(found.extents, place))
            return found
        return None if around[0] is None else Bbox.from_extents(*(place + around[0]))

    return box


class Sheet(Figure):
    """A figure that a notebook shows by itself."""

    def _repr_png_(self) -> bytes:
        return png(self)


_wanted: ContextVar[list[Figure] | None] = ContextVar("wanted", default=None)


def handed_over(draw: Callable[[], object]) -> Figure:
    """The figure that a function draws on a page, instead of the file."""
    figures: list[Figure] = []
    before = _wanted.set(figures)
    try:
        draw()
    finally:
        _wanted.reset(before)
    return figures[-1]


def drawn_as(figure: Figure, kind: str) -> bytes:
    """A figure as a file of a kind (png, svg, pdf); no date within: the same numbers give the same file."""
    drawn = io.BytesIO()
    if kind == "png":  # `savefig` draws every page twice, the first time for nothing but its places
        FigureCanvasAgg(figure).print_png(drawn, pil_kwargs={"compress_level": PACKED})
        return drawn.getvalue()
    undated = {"svg": {"Date": None}, "pdf": {"CreationDate": None}}.get(kind)
    figure.savefig(drawn, format=kind, metadata=undated)
    return drawn.getvalue()


def png(figure: Figure) -> bytes:
    """A figure as a PNG file."""
    return drawn_as(figure, "png")


also_as: ContextVar[tuple[str, ...]] = ContextVar("also_as", default=())
"""Further formats in which every picture is saved: asked for once, for a whole command."""


def save(figure: Figure, path: Path) -> None:
    """Save a figure as the ending of `path` says, and in the formats asked for beside it, complete or not at
    all, or hand it over.  Raises ResultFileError."""
    wanted = _wanted.get()
    if wanted is not None:
        wanted.append(figure)
        return
    own = path.suffix.removeprefix(".").lower()
    beside = [path.with_suffix(f".{kind}") for kind in also_as.get() if kind != own]
    write_files({file: drawn_as(figure, file.suffix[1:].lower()) for file in (path, *beside)})


def series(index: int, count: int = 1, marked: bool = True) -> dict[str, Any]:
    """Keywords of the line number `index`; `count` points carry some fifteen markers."""
    style: dict[str, Any] = {"color": COLOURS[index % 7], "linestyle": LINES[index % 5]}
    style["linewidth"] = 1.4 if count < 200 else 0.9
    if marked:
        every = max(1, count // 15)
        style |= {"marker": MARKERS[index % 9], "markevery": ((index * every) // 5 % every, every)}
        style |= {"markerfacecolor": "white", "markeredgewidth": 1.0}
    return style


def layered(index: int, of: int, count: int = 1, marked: bool = True) -> dict[str, Any]:
    """Keywords of the line number `index` of some that may lie on each other: each is wider than those drawn
    over it, which are dashed, so that none hides another."""
    look = series(index, count, marked)
    return look | {"linewidth": look["linewidth"] + min(WIDER * (of - 1 - index), WIDEST)}


def box(ax: Axes, x: float, y: float, width: float, height: float, **look: Any) -> None:
    """Rectangle with a thin dark edge."""
    ax.add_patch(
        Rectangle((x, y), width, height, **{"edgecolor": INK, "linewidth": 1.0, "zorder": 1, **look})
    )


def wrapped(name: str, width: int = 18) -> str:
    """Name broken into short lines, at most three."""
    lines = textwrap.wrap(name, width) or [name]
    return "\n".join(lines if len(lines) <= 3 else [*lines[:2], lines[2][: width - 1] + "…"])


def short(text: str, width: int) -> str:
    """Text cut to a width."""
    return text if len(text) <= width else text[: width - 1].rstrip() + "…"


def length_unit(*values: ArrayLike) -> tuple[float, str]:
    """Factor and name of the unit in which lengths (m) of this size read well: µm, from 1 mm on mm."""
    largest = max((float(np.nanmax(np.abs(v))) for v in values if np.size(v)), default=0.0)
    return (MM, "mm") if largest >= MM else (UM, "µm")


def least_extent(ax: Axes, which: str, extent: float) -> None:
    """Keep an axis ("x" or "y") from magnifying noise: it shows at least `extent` (its own unit)."""
    low, high = ax.get_xlim() if which == "x" else ax.get_ylim()
    if high - low < extent:
        middle = (low + high) / 2
        if abs(middle) < extent / 2:
            middle = 0.0
        set_limits: Any = ax.set_xlim if which == "x" else ax.set_ylim
        set_limits(middle - extent / 2, middle + extent / 2)


def round_log_ticks(axis: Axis, low: float, high: float) -> None:
    """Number round places of a logarithmic axis that shows `low` to `high`: the closer the less it spans."""
    steps = (1.0,) if high > 1000 * low else (1.0, 2.0, 5.0) if high > 50 * low else (1.0, 1.5, 2, 3, 4, 5, 7)
    decades = 10.0 ** np.arange(np.floor(np.log10(low)) - 1, np.ceil(np.log10(high)) + 1)
    axis.set_major_locator(FixedLocator(list(np.outer(decades, steps).ravel())))
    axis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:g}"))
    axis.set_minor_locator(NullLocator())


def spread(places: Sequence[float], gap: float) -> list[float]:
    """Move label places apart until neighbours keep `gap`, each staying as near to its own as they allow."""
    order = sorted(range(len(places)), key=lambda i: places[i])
    blocks: list[list[Any]] = []  # [members, centre]: labels that touch move as one
    for i in order:
        blocks.append([[i], places[i]])
        while len(blocks) > 1 and _touch(blocks[-2], blocks[-1], gap):
            above = blocks.pop()
            members = blocks[-1][0] + above[0]
            blocks[-1] = [members, sum(places[m] for m in members) / len(members)]
    moved = list(places)
    for members, centre in blocks:
        for k, m in enumerate(members):
            moved[m] = centre + (k - (len(members) - 1) / 2) * gap
    return moved


def _touch(below: list[Any], above: list[Any], gap: float) -> bool:
    reach = gap * (len(below[0]) + len(above[0])) / 2
    return bool(above[1] - below[1] < reach)


def outside_legend(figure: Figure, ax: Axes, title: str = "") -> None:
    """Legend of one Axes beside all of them, where it hides nothing."""
    handles, labels = ax.get_legend_handles_labels()
    figure.legend(
        handles,
        labels,
        loc="outside right upper",
        title=title or None,
        alignment="left",
        ncols=1 + len(labels) // 14,
    )


def legend_beside(ax: Axes, title: str = "") -> None:
    """Legend of one Axes at its right."""
    ax.legend(loc="upper left", bbox_to_anchor=(1.0, 1.04), title=title, alignment="left", title_fontsize=8)
