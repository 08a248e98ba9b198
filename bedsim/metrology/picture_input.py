"""A photo as brightness: PNG or JPEG, its size checked before it is decoded."""

from __future__ import annotations

import io
import warnings
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps, UnidentifiedImageError

from bedsim.errors import InputError, UnreadableError
from bedsim.files import read_bytes

Array = NDArray[np.float64]

LARGEST_FILE = 30_000_000  # bytes: more than a phone writes
LARGEST_PICTURE = 50_000_000  # pixels
SMALLEST_SIDE = 100  # pixels
FORMATS = ("PNG", "JPEG")
LUMINANCE = (0.2126, 0.7152, 0.0722)  # of linear red, green, blue; IEC 61966-2-1 (from memory)


def read_picture(path: Path) -> Array:
    """Linear luminance (rows, columns), 0 to 1, turned upright as viewers show it.

    sRGB is decoded by its curve, IEC 61966-2-1 (from memory); what a camera's own tone curve did besides is
    not undone.  Raises UnreadableError: no PNG or JPEG, more pixels or bytes than are read, damaged.
    """
    read_bytes(path, LARGEST_FILE)  # a regular file of bounded size
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)  # the size is checked below
            with Image.open(path, formats=FORMATS) as picture:
                _check_size(path, picture.size)
                upright = ImageOps.exif_transpose(picture).convert("RGB")
                data = np.asarray(upright, dtype=np.uint8)
    except InputError:
        raise
    except Image.DecompressionBombError:
        raise UnreadableError(path, _too_large()) from None
    except UnidentifiedImageError:
        raise UnreadableError(path, "is not a picture in PNG or JPEG") from None
    except (OSError, ValueError, SyntaxError, IndexError, EOFError) as fault:
        raise UnreadableError(path, f"cannot be decoded: {str(fault)[:80]}") from None
    curve = np.arange(256) / 255
    linear = np.where(curve <= 0.04045, curve / 12.92, ((curve + 0.055) / 1.055) ** 2.4)
    return np.asarray(linear[data] @ np.array(LUMINANCE))


def png_bytes(grey: Array) -> bytes:
    """A picture (rows, columns) of values 0 to 255 as PNG."""
    out = io.BytesIO()
    Image.fromarray(np.asarray(grey, dtype=np.uint8)).save(out, "PNG")
    return out.getvalue()


def _check_size(path: Path, size: tuple[int, int]) -> None:
    if size[0] * size[1] > LARGEST_PICTURE:
        raise UnreadableError(path, f"is {size[0]} x {size[1]} pixels: {_too_large()}")
    if min(size) < SMALLEST_SIDE:
        raise UnreadableError(path, f"is {size[0]} x {size[1]} pixels: at least {SMALLEST_SIDE} a side")


def _too_large() -> str:
    return f"more than {LARGEST_PICTURE / 1e6:g} million pixels are not read"
