"""Pictures of printed walls under raking light, side by side at the same scale and light."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from bedsim.units import DEG, MM, UM
from bedsim.views import style
from bedsim.wall.relief import Wall
from bedsim.wall.surface import LitWall, common_gain, light_wall
from bedsim.wall.visibility import Viewing
from bedsim.wall.worst import BOTH, JudgedWall

# A warm grey filament: brightness runs evenly from shadow to light, so that it prints in grey as well.
_FILAMENT = LinearSegmentedColormap.from_list("filament", ["#15120f", "#8d867d", "#fffaf2"])


def draw_lit_wall(
    axes: Axes, lit: LitWall, *, width_mm: float, title: str = "", scale_bar_mm: float = 10.0
) -> None:
    """Draw one lit wall on the given axes, height in mm upwards, with a scale bar below its foot."""
    bottom, top = lit.bottom / MM, lit.top / MM
    axes.imshow(
        lit.brightness,
        cmap=_FILAMENT,
        vmin=0.0,
        vmax=1.0,
        origin="lower",
        extent=(0.0, width_mm, bottom, top),
        aspect="equal",
        interpolation="antialiased",
    )
    axes.set_title(title or lit.name, fontsize="medium")
    axes.set_xticks([])
    axes.grid(visible=False)
    for side in ("top", "right", "bottom", "left"):
        axes.spines[side].set_visible(False)
    _scale_bar(axes, scale_bar_mm)


def _scale_bar(axes: Axes, length: float) -> None:
    foot = axes.get_xaxis_transform()  # along in mm, upwards in parts of the panel: stays below any extent
    ink = axes.xaxis.label.get_color()
    axes.add_patch(
        Rectangle((0.0, -0.035), length, 0.012, color=ink, clip_on=False, linewidth=0, transform=foot)
    )
    axes.text(0.0, -0.05, f"{length:g} mm", ha="left", va="top", fontsize="small", color=ink, transform=foot)


def draw_relief(axes: Axes, walls: Sequence[Wall], labels: Sequence[str]) -> None:
    """Draw reliefs (µm) against height (mm, upwards) on the given axes, to stand beside lit walls."""
    for i, (wall, label) in enumerate(zip(walls, labels, strict=True)):
        look = style.layered(i, len(walls), marked=False)
        axes.plot(wall.relief / UM, wall.height / MM, label=style.wrapped(label, 28), **look)
    axes.set_xlabel("relief (µm), outwards to the right")
    axes.set_ylabel("height of the print (mm)")
    axes.grid(alpha=0.3)
    if len(walls) > 1:
        axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.13))


def wall_picture(
    figure: Figure,
    walls: Sequence[Wall],
    lit: Sequence[LitWall],
    labels: Sequence[str],
    extent_mm: tuple[float, float] | None = None,
) -> None:
    """Draw lit walls side by side on a figure, with their reliefs in one chart beside, over the same heights.

    `walls` and `lit` belong together in order; all `lit` share light and gain.  `extent_mm`: the heights to
    show; default: the lowest 60 mm at most, where bands of a few mm can still be seen.
    """
    top = max(picture.top for picture in lit) / MM
    low, high = extent_mm if extent_mm is not None else (0.0, min(top, 60.0))
    width = 0.45 * (high - low)
    panels = figure.subplots(1, len(lit) + 1, width_ratios=[*[1.0] * len(lit), 1.6], squeeze=False)[0]
    for axes, picture, label in zip(panels, lit, labels, strict=False):
        draw_lit_wall(
            axes, picture, width_mm=width, title=style.wrapped(label, 20), scale_bar_mm=scale_bar(high - low)
        )
        axes.set_ylim(low, high)
        axes.set_xlim(0.0, width)
        axes.set_yticks([])
    draw_relief(panels[-1], walls, labels)
    panels[-1].set_ylim(low, high)


def scale_bar(span_mm: float) -> float:
    """Length of a scale bar (mm) for a picture that spans so many mm: 1, 2 or 5 times a power of ten."""
    wanted = span_mm / 5.0
    decade = 10.0 ** np.floor(np.log10(wanted))
    return float(max(s * decade for s in (1.0, 2.0, 5.0) if s * decade <= wanted * (1 + 1e-9)))


def light_note(lit: LitWall) -> str:
    """What must stand beside every picture: where the light comes from and how much contrast was
    magnified.
    """
    return (
        f"Light from above, {lit.incidence / DEG:.0f}° from the wall's normal. Contrast of the bands "
        "magnified "
        f"{lit.gain:g} times in every panel; layer lines as they are."
    )


def wall_file(judged: JudgedWall) -> str:
    """Name of the picture of a wall: plain where place and direction are the worst, else with its normal."""
    place = judged.place
    return "wall.png" if place.sought == BOTH else f"wall_{place.wall.replace(' ', '_')}.png"


def draw_walls(row: Sequence[JudgedWall], labels: Sequence[str], path: Path) -> Path:
    """The same wall of all runs under one raking light, at one scale and one gain, beside its relief."""
    walls = [judged.wall for judged in row]
    incidence = Viewing().incidence
    gain = common_gain(walls, incidence)
    lit = [light_wall(w, incidence=incidence, gain=gain) for w in walls]
    width = 60.0 * len(walls) + 90.0
    with style.page(path, width * MM, 125 * MM, f"Wall facing {row[0].place.words}") as figure:
        wall_picture(figure, walls, lit, labels)
        figure.supxlabel(style.wrapped(light_note(lit[0]), int(width / 1.45)), fontsize=7.5)
    return path
