"""A photo of a wall with the few numbers that make it a measurement, in a table beside it."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bedsim.errors import InputError
from bedsim.metrology.csv_input import ALONG, NUMBERS, Table, length_notes, note, read_table
from bedsim.metrology.photo_fit import PhotoBand, WallShade, bands_of, coupon_amplitude, layer_pixels, profile
from bedsim.metrology.picture_input import read_picture
from bedsim.table_text import as_number
from bedsim.units import MM, UM

Array = NDArray[np.float64]

PICK = 2.0  # pixels, a point picked in a picture, standard uncertainty, our assumption
LAYER = MM / 3  # unless told: no band is shorter than three layers, so none than a millimetre
# Of contrast, a seventh of a step of eight bits at mid grey: so far off was a wave in pictures without any
# grain, in which steps do not average out.  Cameras smooth grain away.  Our assumption.
STEP_OF_GREY = 0.0012
ACROSS = 200.0  # pixels to either side of the line of heights, unless told
_NOTES = (
    "test", "picture", "wall", "probe", "light", "layer_mm", "layer_inch", "across_px", "heights_mm",
    "coupon_across_px", "coupon_um", "coupon_thou", "coupon_sigma_um",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoReading:
    """Bands of a wall [m], `amplitude` of each with its uncertainty [m] where a coupon allows it (else None);
    the `seen` profile [m], `pixel` [m] and the share by which the scale may be off."""

    wall: str
    probe: str
    light: str
    bands: tuple[PhotoBand, ...]
    amplitude: tuple[tuple[float, float] | None, ...]
    seen: WallShade
    pixel: float
    scale_off: float


def read_photo(path: Path) -> PhotoReading:
    """Read the table, decode the picture that it names and find the bands.

    Columns x_px, y_px, height_mm: points of known height above the first layer, two or more (with layer_mm
    one is enough, the picture upright).  Notes as in the blank.  Raises InputError naming the line.
    """
    table = read_table(path, {"x_px": NUMBERS, "y_px": NUMBERS, "height": ALONG}, {})
    for name in ("x_px", "y_px", "height"):
        if name not in table.numbers:
            raise InputError(f"{path}: column {name}{'_mm' if name == 'height' else ''} is missing.")
    notes = table.notes
    for key in notes:
        if key not in _NOTES:
            raise InputError(f"{path}: {key} = {notes[key]}: key not known; known: {', '.join(_NOTES)}.")
    if notes.get("light") not in ("above", "below"):
        raise InputError(f"{path}: light = {notes.get('light', '(none)')}: must be above or below.")
    picture = read_picture(_beside(path, notes.get("picture", "")))
    _check_points(table, picture.shape)
    layer = note(table, length_notes("layer"), math.nan)
    origin, per_height, scale_off = _scale(table, picture, layer)
    pixel = 1 / float(np.hypot(*per_height))
    low, high = _pair(table, "heights_mm", MM) or (None, None)
    points = table.numbers["height"]
    top = float(points.max()) if points.size > 1 else 0.95 * origin[1] * pixel
    box = (
        float(points.min()) if low is None else low,
        top if high is None else high,
        *(_pair(table, "across_px", 1.0) or (-ACROSS, ACROSS)),
    )
    if (box[1] - box[0]) / pixel < 50 or box[3] - box[2] < 5:
        raise InputError(
            f"{path}: the part to look at is {(box[1] - box[0]) / pixel:.0f} pixels high: 50 are needed."
        )
    seen = profile(picture, origin, per_height, box)
    fine = LAYER if math.isnan(layer) else layer
    above = notes["light"] == "above"
    found = [_scaled(b, scale_off, pixel) for b in bands_of(seen, from_above=above, layer=fine)]
    return PhotoReading(
        wall=notes.get("wall", ""),
        probe=notes.get("probe", ""),
        light=notes["light"],
        bands=tuple(found),
        amplitude=_amplitudes(table, picture, (origin, per_height, box), found, above, fine),
        seen=seen,
        pixel=pixel,
        scale_off=scale_off,
    )


def _beside(path: Path, name: str) -> Path:
    if not name or Path(name).name != name:
        raise InputError(f"{path}: picture = {name or '(none)'}: must name a PNG or JPEG beside this table.")
    return path.parent / name


def _check_points(table: Table, shape: tuple[int, ...]) -> None:
    for row, (x, y) in enumerate(zip(table.numbers["x_px"], table.numbers["y_px"], strict=True)):
        for key, value, size in (("x_px", x, shape[1]), ("y_px", y, shape[0])):
            if not 0 <= value < size:
                raise table.fault(row, key, f"{value:g}", f"lies outside the picture: 0 to {size - 1}.")


def _scale(
    table: Table, picture: Array, layer: float
) -> tuple[tuple[float, float], tuple[float, float], float]:
    """Pixel of height 0, pixels (x, y) for a metre up, and the share by which that may be off."""
    x, y, h = (table.numbers[k] for k in ("x_px", "y_px", "height"))
    if h.size > 1:
        if np.ptp(h) <= 0:
            raise InputError(f"{table.path}: height_mm: the points must lie at different heights.")
        design = np.column_stack([np.ones_like(h), h])
        across = np.linalg.lstsq(design, x, rcond=None)[0]
        down = np.linalg.lstsq(design, y, rcond=None)[0]
        span = float(np.hypot(across[1], down[1])) * math.sqrt(float(((h - h.mean()) ** 2).sum()))
        return (float(across[0]), float(down[0])), (float(across[1]), float(down[1])), PICK / span
    if math.isnan(layer):
        raise InputError(
            f"{table.path}: one point gives no scale: a second one, or `# layer_mm = ...` on top."
        )
    plain = profile(picture, (float(x[0]), float(y[0])), (0.0, -1.0), (5.0, 0.95 * float(y[0]), -50.0, 50.0))
    try:
        pixels = layer_pixels(plain) / layer
    except InputError as fault:
        raise InputError(f"{table.path}: {fault}") from None
    lines = float(np.ptp(plain.height)) / (pixels * layer)
    return (float(x[0]), float(y[0]) + float(h[0]) * pixels), (0.0, -pixels), 0.1 / lines


def _pair(table: Table, key: str, factor: float) -> tuple[float, float] | None:
    text = table.notes.get(key)
    if text is None:
        return None
    numbers = [as_number(word) * factor for word in text.replace(",", " ").split()]
    if len(numbers) != 2 or not numbers[0] < numbers[1]:
        raise InputError(f"{table.path}: {key} = {text}: must be two numbers, the lower first.")
    return numbers[0], numbers[1]


def _scaled(band: PhotoBand, off: float, pixel: float) -> PhotoBand:
    """A band with the uncertainty of the scale, of height 0 and of eight bits added."""
    return dataclasses.replace(
        band,
        wavelength_uncertainty=math.hypot(band.wavelength_uncertainty, band.wavelength * off),
        crest_uncertainty=math.hypot(band.crest_uncertainty, PICK * pixel),
        contrast_uncertainty=math.hypot(band.contrast_uncertainty, STEP_OF_GREY),
    )


def _amplitudes(
    table: Table,
    picture: Array,
    place: tuple[tuple[float, float], tuple[float, float], tuple[float, float, float, float]],
    bands: list[PhotoBand],
    above: bool,
    layer: float,
) -> tuple[tuple[float, float] | None, ...]:
    """Amplitudes by a coupon of known bands in the same picture; None without."""
    across = _pair(table, "coupon_across_px", 1.0)
    known = note(table, {"coupon_um": UM, "coupon_thou": 25.4 * UM}, math.nan)
    if across is None and math.isnan(known):
        return (None,) * len(bands)
    if across is None or math.isnan(known):
        raise InputError(f"{table.path}: coupon_um and coupon_across_px belong together: give both or none.")
    origin, per_height, box = place
    coupon = bands_of(
        profile(picture, origin, per_height, (*box[:2], *across)), from_above=above, layer=layer
    )
    if not coupon:
        raise InputError(f"{table.path}: coupon_across_px: no bands are seen on the coupon.")
    sigma = note(table, {"coupon_sigma_um": UM}, 0.1 * known)
    return tuple(coupon_amplitude(band, coupon[0], known, sigma) for band in bands)
