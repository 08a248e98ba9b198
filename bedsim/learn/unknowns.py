"""What is not known of a machine, as numbers u that are standard normal before anything is read.

A key is its one distribution (`ranges.draws`): value = quantile(Phi(u)).  That is smooth, one to one and
never leaves the key's range.  A screw is plane vectors, each a normal law about what the scenario says: its
eccentricity, its bow and its once-per-turn travel.  Readings are linear in them.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr, ndtri

from bedsim.analysis.linear_machine import without_play
from bedsim.components.row import CauseName
from bedsim.engines.base import Job
from bedsim.model import convert
from bedsim.ranges.alone import NOTHING_WITHOUT_FRICTION
from bedsim.ranges.draws import Draw, quantile
from bedsim.results.layers import Array
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.places import Settable, settable
from bedsim.scenario.ranges import Range
from bedsim.scenario.schema import Corner
from bedsim.simulation import make_job
from bedsim.units import UM

NINETY = 1.645
"""Standard deviations of a normal law on either side that hold 90 % of it."""
LEAST_SPREAD = 3 * UM
"""Of every part of a screw that was gauged: a division of 0.01 mm read once.  Our choice."""
FURTHEST = 4.0
"""Standard deviations beyond which no unknown is looked at."""

PARTS = {
    "eccentricity": (CauseName.RUN_OUT, ("eccentricity x", "eccentricity y")),
    "bow": (CauseName.RUN_OUT, ("bow x", "bow y")),
    "travel": (CauseName.ONCE_PER_TURN, ("cos", "sin")),
}
"""Vector of a screw -> cause and names of the machine's sources along it."""

_SIZES = {
    "eccentricity": "run_out.eccentricity_tir_um",
    "bow": "run_out.bow_tir_um",
    "travel": "travel.once_per_turn_pv_um",
}
_DIRECTIONS = ("run_out.eccentricity_deg", "run_out.bow_deg", "travel.once_per_turn_deg")

LotSpread = Mapping[str, float]
"""Standard deviation (m) of each component of each vector in `PARTS`, of screws that nobody has gauged."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ScrewVector:
    """One component of a vector of a screw: `mean`, `spread` m; `name` and `cause` of its source."""

    corner: int
    part: str
    cause: str
    name: str
    mean: float
    spread: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Unknowns:
    """Keys first, then vectors of screws: u (k + v,).  `settable`: the scenario with nuts that fit; `real`:
    with their play."""

    settable: Settable
    real: Settable
    keys: tuple[Range, ...]
    vectors: tuple[ScrewVector, ...]

    @property
    def loaded(self) -> LoadedScenario:
        """The scenario at its likely values, nuts fitting."""
        return self.settable.loaded

    @property
    def count(self) -> int:
        """How many unknowns there are."""
        return len(self.keys) + len(self.vectors)

    def values(self, u: Array) -> dict[str, float]:
        """Values of the keys, in their units."""
        return {key.key: value_at(key, float(x)) for key, x in zip(self.keys, u, strict=False)}

    def amounts(self, u: Array) -> Array:
        """Strengths (v,) m of the vectors' sources."""
        own = np.array([(v.mean, v.spread) for v in self.vectors]).reshape(-1, 2)
        return np.asarray(own[:, 0] + own[:, 1] * u[len(self.keys) :])

    def real_job(self, u: Array, values: Mapping[str, float]) -> Job:
        """The machine at u with its own strengths and its play, some more keys at `values`.  Raises
        ModelError or InputError where there is none."""
        job = make_job(self.real.at({**self.values(u), **values}))
        strengths = job.amounts.copy()
        strengths[0, self.columns(job)] = self.amounts(u)
        return replace(job, amounts=strengths)

    def columns(self, job: Job) -> list[int]:
        """Numbers (v,) of the vectors' sources among those of a machine."""
        place = {(s.cause, s.corner, s.name): k for k, s in enumerate(job.machine.sources)}
        return [place[v.cause, v.corner, v.name] for v in self.vectors]

    def spreads(self) -> Array:
        """Spreads (v,) m of the vectors."""
        return np.array([v.spread for v in self.vectors])


def value_at(key: Range, u: float) -> float:
    """Value of a key that lies u standard deviations off on its distribution."""
    return quantile(key.low, key.likely, key.high, float(ndtr(np.clip(u, -FURTHEST, FURTHEST))))


def place_of(key: Range, draw: Draw) -> float:
    """Where a drawn machine lies on a key's distribution, in standard deviations."""
    return float(np.clip(ndtri(draw.luck(key.key)), -FURTHEST, FURTHEST))


def unknowns_of(
    loaded: LoadedScenario, lot: LotSpread | None = None, measured: Collection[str] = ()
) -> Unknowns:
    """What a scenario leaves open; `lot`: spreads of screws that were not gauged, about zero.

    Keys that do nothing to a machine at rest without friction are left out, unless they were `measured`.
    Raises InputError where the
    scenario cannot be set at other values.
    """
    fitted = settable(without_play(loaded))
    screws = (*_SIZES.values(), *_DIRECTIONS)
    keys = tuple(
        key
        for key in fitted.keys.values()
        if key.key in measured
        or not (key.key.endswith(screws) or key.key.rpartition(".")[2] in NOTHING_WITHOUT_FRICTION)
    )
    vectors = [
        vector
        for number, corner in enumerate(loaded.scenario.corner)
        for vector in _vectors(loaded, number, corner, lot)
    ]
    return Unknowns(settable=fitted, real=settable(loaded), keys=keys, vectors=tuple(vectors))


def _vectors(loaded: LoadedScenario, number: int, corner: Corner, lot: LotSpread | None) -> list[ScrewVector]:
    """Vectors of one screw: as the scenario says, within half its range; or of a lot."""
    bent, travel = corner.screw.run_out, corner.screw.travel
    likely = {
        "eccentricity": convert.polar(bent.eccentricity_tir_um, bent.eccentricity_deg),
        "bow": convert.polar(bent.bow_tir_um, bent.bow_deg),
        "travel": convert.polar(travel.once_per_turn_pv_um, travel.once_per_turn_deg).conjugate(),
    }
    found = []
    for part, (cause, names) in PARTS.items():
        mean = 0j if lot is not None else likely[part]
        spread = lot[part] if lot is not None else _spread(loaded, corner.name, _SIZES[part])
        for name, value in zip(names, (mean.real, mean.imag), strict=True):
            found.append(
                ScrewVector(corner=number, part=part, cause=cause, name=name, mean=value, spread=spread)
            )
    return found


def _spread(loaded: LoadedScenario, corner: str, size: str) -> float:
    """Half of what a corner's key leaves open, as a standard deviation of a component, m."""
    ends = [
        (key.high - key.low) / 2.0
        for key in loaded.ranges
        if key.key.endswith(size) and (not key.key.startswith("corner.") or key.key.split(".")[1] == corner)
    ]
    half = ends[-1] * 0.5 * UM if ends else 0.0  # sizes are read from peak to valley
    return max(half / NINETY, LEAST_SPREAD)
