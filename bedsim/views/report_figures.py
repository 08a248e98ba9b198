"""The pictures of a report, drawn to PNG."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

from bedsim.analysis.printed import quantity, span
from bedsim.number_text import number
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
from bedsim.views.wall_plots import draw_shares, draw_visibility
from bedsim.wall.bands import Share, Source, amplitude_spectrum
from bedsim.wall.relief import Wall
from bedsim.wall.surface import light_column, light_wall
from bedsim.wall.visibility import Sighting, Viewing, visibility_curve, worst
from bedsim.wall.waviness import Waviness

SourceErrors = Mapping[Source, tuple[Array, Array]]
"""(cause, corner) -> lateral (n, p, 2) and height (n, p) errors of that imperfection alone, m."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reported:
    """One run with its scenario, as the report names it; `sources` only where a linear machine gave them,
    `split` likewise: where the lateral error comes from, in lines."""

    label: str
    path: str
    run: Run
    loaded: LoadedScenario
    sources: SourceErrors = field(default_factory=dict)
    split: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices:
    """What the reader asked for."""

    viewing: Viewing
    walls: tuple[str, ...] = ("+X", "+Y")
    probe: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """A run's wall with everything worked out from it."""

    reported: Reported
    wall: Wall
    sightings: tuple[Sighting, ...]
    wave: Waviness
    shares: tuple[Share, ...]


def wall_sentence(wall: Wall, sightings: Sequence[Sighting]) -> str:
    """The band of a wall that stands out most, and whether it is seen."""
    found = worst(sightings)
    if found is None:
        return f"Wall {wall.name}: too low to tell bands of the leads."
    return (
        f"Wall {wall.name}: the band that stands out most is {number(found.band.seen_wavelength / MM)} "
        f"mm long "
        f"({found.band.label}) with an amplitude of {quantity(found.band.amplitude, 'm')}, "
        f"{number(found.ratio, 2)} times the "
        f"smallest visible ({span(*found.visible_between, 'm')}): {found.verdict}."
    )


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
    name, note = walls[0].name, light_note(lit[0])
    alt = " ".join(wall_sentence(s.wall, s.sightings) for s in row)
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
    return _drawn(
        path,
        170.0,
        95.0,
        lambda figure: draw_shares(figure.subplots(), seen.shares),
        f"{label}: share of every screw and cause in the relief, as in the table.",
        f"{label}: share of every screw and cause in the relief of wall {seen.wall.name}.",
    )


def visibility_picture(row: Sequence[Seen], choices: Choices, place: Path) -> Picture:
    """Spectra of one wall of every run under the smallest visible amplitude."""
    spectra = {s.reported.label: amplitude_spectrum(s.wall) for s in row}
    sightings = {s.reported.label: s.sightings for s in row}
    curve = visibility_curve(choices.viewing)
    return _drawn(
        place / "visibility.png",
        190.0,
        100.0,
        lambda figure: draw_visibility(figure.subplots(), spectra, sightings, choices.viewing, curve),
        "Predicted amplitude over wavelength under the curve of the smallest visible amplitude. "
        + " ".join(wall_sentence(s.wall, s.sightings) for s in row),
        f"Wall {row[0].wall.name}: predicted amplitudes under the smallest that an eye sees. Grey: "
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
