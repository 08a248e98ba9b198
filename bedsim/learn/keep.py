"""What was learnt as a file that later commands read (`scenario.knowledge`)."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from bedsim.files import read_bytes, write_file
from bedsim.learn.fit import Fit
from bedsim.learn.learned import Learned
from bedsim.learn.unknowns import ScrewVector, Unknowns
from bedsim.results.layers import Array
from bedsim.scenario.knowledge import FORMAT, KnowledgeFile, LearntKey, machine_words, single_number
from bedsim.scenario.load import LoadedScenario
from bedsim.units import DEG, UM

LEAST_TOLD = 0.97
"""Part of its spread that is left of a direction which counts as learnt."""
STEMS = {"eccentricity": "run_out.eccentricity", "bow": "run_out.bow", "travel": "travel.once_per_turn"}
DIGITS = 9


def write_knowledge(path: Path, found: Learned, loaded: LoadedScenario, readings: Sequence[Path]) -> Path:
    """Write what was learnt of a scenario, complete or not at all, and give the path back.

    Raises ResultFileError.
    """
    assert found.fit is not None
    unknowns = found.unknowns
    likely = key_values(unknowns, found.fit.u)
    left, directions = learnt_directions(found.fit)
    file = KnowledgeFile(
        format=FORMAT,
        title=loaded.scenario.title,
        machine=machine_words(loaded.scenario),
        readings={one.name: hashlib.sha256(read_bytes(one)).hexdigest()[:16] for one in readings},
        keys=tuple(_then(loaded, key) for key in likely),
        likely=_rounded(likely.values()),
        machines=tuple(_rounded(key_values(unknowns, u).values()) for u in found.machines),
        columns=column_names(unknowns),
        left=_rounded(left),
        directions=tuple(_rounded(row) for row in directions),
    )
    write_file(path, file.model_dump_json(indent=1) + "\n")
    return path


def key_values(unknowns: Unknowns, u: Array) -> dict[str, float]:
    """All numbers at u by key, in their units: keys, and screws by size and direction.

    A screw that is given by a table keeps it: its vectors have no keys beside it.
    """
    found = unknowns.values(u)
    amounts = dict(zip(unknowns.vectors, unknowns.amounts(u), strict=True))
    for number, corner in enumerate(unknowns.loaded.scenario.corner):
        for part, stem in STEMS.items():
            if corner.screw.run_out.table is not None and part != "travel":
                continue
            x, y = (a for v, a in amounts.items() if (v.corner, v.part) == (number, part))
            y = -y if part == "travel" else y  # sin = - imaginary part, see components.lead
            start = f"corner.{corner.name}.screw.{stem}"
            found[f"{start}_{'pv' if part == 'travel' else 'tir'}_um"] = 2.0 * float(np.hypot(x, y)) / UM
            found[f"{start}_deg"] = float(np.arctan2(y, x)) / DEG
    return found


def column_names(unknowns: Unknowns) -> tuple[str, ...]:
    """Names of the unknowns: keys, and vectors of screws by corner, part and source."""
    corners = [c.name for c in unknowns.loaded.scenario.corner]

    def name(v: ScrewVector) -> str:
        return f"corner.{corners[v.corner]}.{v.part} {v.name.rpartition(' ')[2]}"

    return (*(key.key for key in unknowns.keys), *(name(v) for v in unknowns.vectors))


def learnt_directions(found: Fit) -> tuple[Array, Array]:
    """Spread (r,) that is left along orthonormal directions (r, n) that the readings narrow.

    Eigenvectors of A^T A, eigenvalue x: 1/sqrt(1 + x) is left.
    """
    _, singular, rows = np.linalg.svd(found.slope, full_matrices=False)
    left = 1.0 / np.sqrt(1.0 + singular**2)
    told = left < LEAST_TOLD
    return left[told], rows[told]


def _then(loaded: LoadedScenario, key: str) -> LearntKey:
    own = next((one for one in loaded.ranges if one.key == key), None)
    if own is not None:
        return LearntKey(key=key, low=own.low, likely=own.likely, high=own.high)
    value = single_number(loaded.scenario, key) or 0.0
    return LearntKey(key=key, low=value, likely=value, high=value)


def _rounded(values: object) -> tuple[float, ...]:
    return tuple(float(f"{float(x):.{DIGITS}g}") for x in values)  # type: ignore[attr-defined]
