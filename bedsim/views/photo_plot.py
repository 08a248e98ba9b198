"""The brightness that a photo shows along a wall's height, with the bands found in it."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from bedsim.metrology.photo_file import PhotoReading
from bedsim.units import MM
from bedsim.views import style


def draw_photo(found: PhotoReading, title: str, path: Path) -> Path:
    """Draw the contrast along the height, each band, and its crests."""
    with style.page(path, 170 * MM, 95 * MM, title) as figure:
        ax = figure.subplots()
        z = found.seen.height
        ax.plot(
            z / MM,
            100 * found.seen.shade,
            color=style.SKY,
            linewidth=0.6,
            label="photo, light's own change out",
        )
        sign = 1 if found.light == "above" else -1
        for k, band in enumerate(found.bands):
            wave = sign * band.contrast * np.sin(2 * np.pi * (z - band.crest) / band.wavelength)
            colour = (style.VERMILLION, style.BLUE, style.BLACK)[k]
            label = f"{band.wavelength / MM:.2f} mm, crest at {band.crest / MM:.2f} mm"
            ax.plot(z / MM, 100 * wave, color=colour, label=label)
        if found.bands:
            first = found.bands[0]
            crests = np.arange(first.crest, z[-1], first.wavelength)
            crests = crests[crests >= z[0]]
            ax.plot(crests / MM, np.zeros_like(crests), "^", color=style.BLACK, label="crests of the first")
        ax.set(xlabel="height above the first layer (mm)", ylabel="contrast (%)")
        limit = 1.6 * float(np.percentile(np.abs(found.seen.shade), 99)) * 100
        ax.set_ylim(-limit, limit)
        ax.legend(loc="upper right", ncols=2)
    return path
