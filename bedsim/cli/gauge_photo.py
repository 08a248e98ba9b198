"""The photo part of `bedsim gauge`: bands of a wall under raking light, as a table for `diagnose`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from bedsim.cli.gauge_output import Target, say
from bedsim.errors import InputError
from bedsim.files import write_files
from bedsim.number_text import number
from bedsim.units import MM, UM

if TYPE_CHECKING:
    from bedsim.metrology.photo_file import PhotoReading


def photo(path: Path, target: Target) -> int:
    """Read, print the bands, and write them as a table where a coupon tells their amplitude."""
    from bedsim.metrology.photo_file import read_photo

    found = read_photo(path)
    click.echo(f"{path}: {1e-3 / found.pixel:.1f} pixels to a millimetre, light from {found.light}")
    if not found.bands:
        say("No bands stand out of layer lines and grain.")
    for band, amplitude in zip(found.bands, found.amplitude, strict=True):
        length = f"{number(band.wavelength / MM, 4)} ± {number(band.wavelength_uncertainty / MM, 2)}"
        told = (
            f"  bands of {length} mm, "
            f"crest at {number(band.crest / MM, 3)} ± {number(band.crest_uncertainty / MM, 2)} mm, "
            f"contrast {100 * band.contrast:.2f} ± {100 * band.contrast_uncertainty:.2f} %"
        )
        if amplitude is not None:
            told += f", {number(amplitude[0] / UM, 3)} ± {number(amplitude[1] / UM, 2)} µm"
        click.echo(told)
    first = found.bands[0] if found.bands else None
    for band in found.bands[1:]:
        assert first is not None
        share = band.contrast * band.wavelength / (first.contrast * first.wavelength)
        say(f"Bands of {number(band.wavelength / MM, 3)} mm are {share:.2f} times as high as the first.")
    say(
        "Contrast grows with slope: of two bands as high the shorter one shows more. Scale and picked points "
        f"({100 * found.scale_off:.2f} % and 2 pixels) are in the ±."
    )
    _table(found, target)
    if target.pictures:
        from bedsim.views.photo_plot import draw_photo

        click.echo(f"Picture: {draw_photo(found, f'Photo: {target.stem}', target.path('gauge.png'))}")
    return 0


def _table(found: PhotoReading, target: Target) -> None:
    if not found.bands:
        return
    if found.amplitude[0] is None:
        say(
            "No amplitude: the light's angle and the camera's curve are not known. With a coupon of known "
            "bands beside the wall (coupon_um, coupon_across_px) there is one, and a table for diagnose and "
            "learn."
        )
        return
    rows = ["wall,probe,wavelength_mm,amplitude_um,crest_mm,sigma_um"]
    for band, amplitude in zip(found.bands, found.amplitude, strict=True):
        assert amplitude is not None
        turned = amplitude[0] * 6.2832 * band.crest_uncertainty / band.wavelength
        sigma = (amplitude[1] ** 2 + turned**2) ** 0.5
        cells = [band.wavelength / MM, amplitude[0] / UM, band.crest / MM, sigma / UM]
        rows.append(f"{found.wall},{found.probe}," + ",".join(f"{v:.4f}" for v in cells))
    click.echo(f"\nBands:   {target.write('bands.csv', chr(10).join(rows) + chr(10))}")


def write_example(path: Path, text: str) -> None:
    """An invented photo beside the table that makes it a measurement."""
    import numpy as np

    from bedsim.metrology.picture_input import png_bytes
    from bedsim.units import DEG
    from bedsim.wall.invented_photo import Shot, banded_wall, photographed

    picture = path.with_name("wall.png")
    if picture.exists():
        raise InputError(f"{picture}: exists already; an example would overwrite it.")
    shot = Shot(tilt=2 * DEG, vignette=0.3, grain=0.03)
    wall = banded_wall(5 * MM, 1.2 * MM, 8 * UM)
    data, points = photographed(wall, shot, np.random.default_rng(24))
    rows = "".join(f"{x:.1f},{y:.1f},{h}\n" for (x, y), h in zip(points, (0, 40), strict=True))
    write_files({path: text.rstrip("\n") + "\n" + rows, picture: png_bytes(data)})
