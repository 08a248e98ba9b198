"""Answers as they stood: every number that a question gives is kept in tests/pinned/*.txt and compared.

A pin proves nothing right; it shows that an answer has moved, and by how much.  Where it should move, say why
in DEVELOPERS.md and write the pins anew: pytest tests/keys tests/pinned --renew -p no:xdist
"""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
FOLDER = Path(__file__).with_name("pinned")
ROUNDING = 1e-6  # of an array's summed magnitude: far above what matrix kernels differ by, far below 5 %
NOTHING, ALL = (
    1e-11,
    1e15,
)  # SI units: what is smaller is rounding of something larger, what is larger a quotient of it
MOVED = 1e-4  # relative: what moves less than this with a key is not pinned for that key


def numbers_of(value: Any) -> list[Any]:
    """Everything in nested tables as a flat list of arrays, numbers and words."""
    if isinstance(value, np.ndarray):
        return [value]
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return [x for f in dataclasses.fields(value) for x in numbers_of(getattr(value, f.name))]
    if isinstance(value, Mapping):
        return [x for key in value for x in numbers_of(value[key])]
    if isinstance(value, list | tuple):
        return [x for inner in value for x in numbers_of(inner)]
    return [] if callable(value) else [value]


def digest(answer: Any) -> Array:
    """Each number, and one weighted sum of each array, with its summed magnitude: (n, 2); no words."""
    return np.array([_sums(value) for value in numbers_of(answer) if _is_number(value)]).reshape(-1, 2)


def _is_number(value: Any) -> bool:
    return value is not None and not isinstance(value, str) and np.asarray(value).dtype.kind in "bifc"


def _sums(value: Any) -> tuple[float, float]:
    found = np.asarray(value)
    parts = np.stack([found.real, found.imag]) if found.dtype.kind == "c" else found
    terms = np.nan_to_num(parts.astype(float).ravel(), nan=0.0, posinf=0.0, neginf=0.0)
    weights = 1.0 + np.modf(np.arange(terms.size) * math.sqrt(2.0))[0]  # places are told apart
    return float(weights @ terms), float(weights @ np.abs(terms))


class Pins:
    """The pins of one file: name of a question -> {place in its answer: number}."""

    def __init__(self, file: str, *, renew: bool) -> None:
        self.path = FOLDER / f"{file}.txt"
        self.renew = renew
        lines = self.path.read_text("utf-8").splitlines() if self.path.exists() else []
        self.kept = {name: _read(numbers) for name, numbers in (line.split("\t") for line in lines)}

    def check(self, name: str, answer: Any, beside: Any = (), *, rounding: float = ROUNDING) -> None:
        """Compare an answer with its pin, or take it as new; `beside`: only where it differs from that."""
        found = digest(answer)
        if self.renew:
            self.kept[name] = _chosen(found, digest(beside))
            return
        assert name in self.kept, f"{name} has no pin yet: run pytest {FOLDER} --renew"
        assert len(found) > max(self.kept[name], default=-1), f"{name}: only {len(found)} numbers now"
        strays = {
            place: (number, found[place, 0])
            for place, number in self.kept[name].items()
            if abs(found[place, 0] - number) > rounding * found[place, 1] + NOTHING
        }
        first = dict(itertools.islice(strays.items(), 5))
        assert not strays, f"{name}: {len(strays)} numbers moved (place: before, now): {first}"

    def write(self) -> None:
        """Write the file anew."""
        lines = [f"{name}\t{_written(numbers)}" for name, numbers in sorted(self.kept.items())]
        self.path.write_text("\n".join([*lines, ""]), "utf-8")


def _chosen(found: Array, beside: Array) -> dict[int, float]:
    seen = (np.abs(found[:, 0]) > NOTHING) & (found[:, 1] < ALL)
    if found.shape == beside.shape:
        seen &= np.abs(found[:, 0] - beside[:, 0]) > MOVED * found[:, 1]
    return {int(place): float(found[place, 0]) for place in np.flatnonzero(seen)}


def _read(numbers: str) -> dict[int, float]:
    pairs = (pair.split(":") for pair in numbers.split())
    return {int(place): float(number) for place, number in pairs}


def _written(numbers: Mapping[int, float]) -> str:
    return " ".join(f"{place}:{number:.8g}" for place, number in numbers.items())
