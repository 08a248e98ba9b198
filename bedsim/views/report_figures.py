"""The pictures of a report, drawn to PNG."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

from bedsim.results.layers import Array, Run
from bedsim.scenario.load import LoadedScenario
from bedsim.units import MM
from bedsim.views import style
from bedsim.views.pictures import (
    draw_errors,
    draw_history,
    draw_machine,
    draw_path,
    draw_spectrum,
    has_history,
)
from bedsim.views.report_page import Picture
from bedsim.views.wall_picture import draw_lit_wall, light_note, scale_bar, wall_picture
from bedsim.views.wall_plots import draw_shares, draw_sums, draw_visibility
from bedsim.wall.bands import Share, Source, amplitude_spectrum
from bedsim.wall.relief import Wall
from bedsim.wall.surface import light_column, light_wall
from bedsim.wall.visibility import Viewing, visibility_curve
from bedsim.wall.waviness import Waviness
from bedsim.wall.worst import WORST, JudgedWall

SourceErrors = Mapping[Source, tuple[Array, Array]]
"""(cause, corner) -> lateral (n, p, 2) and height (n, p) errors of that imperfection alone, m."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reported:
    """One run with its scenario, as the report names it; `sources` only where a linear machine gave them,
    `split` likewise: where the lateral error comes from, in lines; `travel`: the bands over the
    machine's whole travel, in a sentence."""

    label: str
    path: str
    run: Run
    loaded: LoadedScenario
    sources: SourceErrors = field(default_factory=dict)
    split: tuple[str, ...] = ()
    travel: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices:
    """What the reader asked for; `probe` None: the place of the bed at which a wall shows most."""

    viewing: Viewing
    walls: tuple[str, ...] = (WORST,)
    probe: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """A run's wall with everything worked out from it."""

    reported: Reported
    judged: JudgedWall
    wave: Waviness
    shares: tuple[Share, ...]

    @property
    def wall(self) -> Wall:
        """The wall itself."""
        return self.judged.wall


def _drawn(
    path: Path, width: float, height: float, draw: Callable[[Figure], None], alt: str, caption: str
) -> Picture:
    with style.page(path, width * MM, height * MM) as figure:
        draw(figure)
    return Picture(png=path.read_bytes(), alt=alt, caption=caption)


def wall_pictures(row: Sequence[Seen], choices: Choices, gain: float, stem: Path) -> tuple[Picture, ...]:
    """The same wall of every run, flat and as a round post, and its shares."""
    incidence = choices.viewing.incidence
    walls = [s.wall for s in row]
    labels = [s.reported.label for s in row]
    lit = [light_wall(w, incidence=incidence, gain=gain) for w in walls]
    posts = [light_column(s.reported.run.layers, s.wall, incidence=incidence, gain=gain) for s in row]
    name, note = row[0].judged.place.words, light_note(lit[0])
    alt = " ".join(s.judged.sentence for s in row)
    width = 60.0 * len(row) + 90.0

    def draw_posts(figure: Figure) -> None:
        for axes, post, label in zip(
            np.atleast_1d(figure.subplots(1, len(posts))), posts, labels, strict=True
        ):
            top = min(post.top / MM, 60.0)
            draw_lit_wall(
                axes, post, width_mm=0.45 * top, title=style.wrapped(label, 24), scale_bar_mm=scale_bar(top)
            )
            axes.set_ylim(0.0, top)
            axes.set_yticks([])

    pictures = [
        _drawn(
            stem.with_name(f"{stem.name}_flat.png"),
            width,
            125.0,
            lambda figure: wall_picture(figure, walls, lit, labels),
            f"Wall {name} under raking light beside its relief over height. {alt}",
            f"Flat wall facing {name}, lowest part, beside its relief. {note}",
        ),
        _drawn(
            stem.with_name(f"{stem.name}_post.png"),
            max(60.0 * len(row), 90.0),
            115.0,
            draw_posts,
            f"Round posts facing {name} under the same light: every direction of the wall with its "
            f"own relief. {alt}",
            f"A round post of the same print, facing {name}: left and right show the walls to either "
            f"side. {note}",
        ),
    ]
    return (
        *pictures,
        *(
            _shares_picture(s, stem.with_name(f"{stem.name}_shares_{i}.png"))
            for i, s in enumerate(row)
            if s.shares
        ),
    )


def _shares_picture(seen: Seen, path: Path) -> Picture:
    label = seen.reported.label

    def draw(figure: Figure) -> None:
        sums, bars = figure.subplots(2, 1, height_ratios=(1.3, 1.0))
        draw_sums(sums, seen.wall, seen.shares)
        draw_shares(bars, seen.shares)

    return _drawn(
        path,
        190.0,
        190.0,
        draw,
        f"{label}: relief of every screw and cause alone, whose sum is the wall, and their shares as in the "
        "table.",
        f"{label}: what makes the relief of wall {seen.judged.place.words}. Above: layer by layer the causes "
        "add up to the wall, those to the left of zero against those to the right. Below: the share of "
        "each in the relief's variance; shares sum to 100 %, what works against the whole counts negative.",
    )


def visibility_picture(row: Sequence[Seen], choices: Choices, place: Path) -> Picture:
    """Spectra of one wall of every run under the smallest visible amplitude."""
    spectra = {s.reported.label: amplitude_spectrum(s.wall) for s in row}
    sightings = {s.reported.label: s.judged.sightings for s in row}
    curve = visibility_curve(choices.viewing)
    return _drawn(
        place / "visibility.png",
        190.0,
        100.0,
        lambda figure: draw_visibility(figure.subplots(), spectra, sightings, choices.viewing, curve),
        "Predicted amplitude over wavelength under the curve of the smallest visible amplitude. "
        + " ".join(s.judged.sentence for s in row),
        f"Wall {row[0].judged.place.words}: predicted amplitudes under the smallest that an eye sees. Grey: "
        "borderline.",
    )


def run_pictures(item: Reported, stem: Path) -> tuple[Picture, ...]:
    """The pictures that `bedsim run` draws."""
    scenario, layers = item.loaded.scenario, item.run.layers
    stem.mkdir()
    title = style.short(scenario.title, 80)
    made = [
        (
            draw_machine(scenario, layers, stem / "machine.png"),
            "The machine as understood: plan and side view.",
        ),
        (
            draw_errors(scenario, layers, stem / "errors.png"),
            "Errors against layer 1 over the height of the print.",
        ),
        (draw_path(scenario, layers, stem / "path.png"), "Path of the bed in the plane, layer by layer."),
    ]
    if len(layers.layer) >= 5:
        made.append((draw_spectrum(scenario, layers, stem / "waves.png"), "Amplitude over wavelength."))
    made += [
        (
            draw_history(scenario, layers, t, stem / f"t{t.layer}.png"),
            f"The change to layer {t.layer} in time.",
        )
        for t in layers.trace
        if has_history(t)
    ]
    return tuple(
        Picture(png=path.read_bytes(), alt=f"{text} {title}. Figures are in the tables.", caption=text)
        for path, text in made
    )
