"""What an eye sees of a wall, as the report tells and draws it, and the numbers with which its script does
both for another wall."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Any

import numpy as np

from bedsim.units import DEG, MM, UM
from bedsim.views.report_charts import log_chart
from bedsim.views.report_figures import Seen
from bedsim.wall.bands import amplitude_spectrum, band_amplitudes
from bedsim.wall.visibility import (
    Viewing,
    smallest_visible_amplitude,
    visibility_curve,
    visible_between,
    worst,
)
from bedsim.wall.worst import printed_walls, wall_parts


def told_walls(row: Sequence[Seen], several: bool) -> str:
    """What an eye sees of the wall that is drawn; rewritten, and spoken, where another is chosen."""
    told = (f"{s.reported.label}: {s.judged.sentence}" if several else s.judged.sentence for s in row)
    lines = escape("\n".join(told))
    return f'<p id="wall-told" role="status">{lines}</p>'


def wavelength_figure(seen: Seen, k: int, viewing: Viewing, several: bool) -> str:
    """Amplitude over wavelength of the wall of run `k`, under the least that an eye sees."""
    spectrum = amplitude_spectrum(seen.wall)
    length, least = visibility_curve(viewing)
    low, high = visible_between(length, viewing)
    found = worst(seen.judged.sightings)
    mark = (
        (np.nan, np.nan, "")
        if found is None
        else (found.band.seen_wavelength / MM, found.band.amplitude / UM, found.verdict)
    )
    name = f"{seen.reported.label}: " if several else ""
    chart = log_chart(
        f"r{k}-spectrum",
        f"{name}amplitude over wavelength beside the smallest visible. {seen.judged.sentence}",
        spectrum.wavelength / MM,
        spectrum.amplitude / UM,
        (length / MM, least / UM, low / UM, high / UM),
        mark,
    )
    lamp = f"lamp {90 - viewing.incidence / DEG:g}° off the wall, {viewing.distance:g} m away"
    return (
        f'<figure><figcaption><b>{escape(name)}Wavelengths of wall <span id="r{k}-spectrum-wall">'
        f"{escape(seen.judged.place.words)}</span></b> "
        f"dashed: smallest visible, {lamp}; grey: studies differ</figcaption>{chart}</figure>"
    )


def wall_waves(seen: Seen, viewing: Viewing) -> list[Any]:
    """Every band that the walls of a run tell: its label, length (mm), the least that is seen with its two
    ends (um), and by probe the waves of X, Y and thickness (um, real and imaginary): the band of any wall is
    their sum weighed with its normal."""
    layers = seen.reported.run.layers
    walls = printed_walls(layers, seen.reported.loaded.scenario)
    bands = [
        [band_amplitudes(part, walls.leads) for part in wall_parts(walls, probe)]
        for probe in layers.probe_name
    ]
    found = []
    for k, band in enumerate(bands[0][0]):
        length = band.seen_wavelength
        told = [part[k].amplitude for parts in bands for part in parts]
        if not np.isfinite([length, *told]).all():
            continue
        ends = (smallest_visible_amplitude(length, viewing), *visible_between(length, viewing))
        waves = [
            [float(f"{v / UM:.5g}") for part in parts for v in (part[k].phasor.real, part[k].phasor.imag)]
            for parts in bands
        ]
        limits = [float(f"{float(end) / UM:.4g}") for end in ends]
        found.append([band.label, float(f"{length / MM:.5g}"), *limits, waves])
    return found
