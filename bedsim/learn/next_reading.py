"""The reading worth most: by how much it would narrow the answer, per quarter of an hour of work.

At a machine u with covariance P an answer of gradient G has the variance G P G^T.  A reading of whitened
slope A leaves P' = P - P A^T (1 + A P A^T)^-1 A P: what it will read does not matter, only where it is taken.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from bedsim.errors import BedsimError
from bedsim.learn.fit import beside
from bedsim.learn.model import AXES, Model
from bedsim.learn.observations import KeyReading, ModelDoubt, Observation, Series, number_at
from bedsim.learn.unknowns import Unknowns
from bedsim.results.layers import Array
from bedsim.simulation import probe_points
from bedsim.units import UM

EIGHTHS = np.arange(9) * np.pi / 4
QUARTERS, IN_QUARTERS = EIGHTHS[::2], ", by quarters of a turn"
MINUTES = {"gauge": 10.0, "gauge again": 5.0, "quarters": 8.0, "turned": 25.0, "ruler": 4.0, "push": 15.0}
"""Work for one series of eighths, a second one at the same place, one of quarters, turning a screw in its
coupling first, one height, one push-pull loop.  Common practice, no source."""
RULER_MM = 1.0
PUSH_SHARE = 0.05
"""Uncertainty of a height by ruler and of a stiffness by push and pull.  Our choice."""
MODEL = ModelDoubt(white=0.3 * UM, turning=0.4 * UM)
PUSHED = (
    "frame.radial_n_per_um",
    "frame.tangential_n_per_um",
    "guide.radial_n_per_um",
    "joint.lateral_n_per_mm",
)

LogAnswer = Callable[[Array], float]


@dataclass(frozen=True, kw_only=True)
class Vantage:
    """A machine u (n,) from which readings are planned: covariance P (n, n) of what is known by now, slope
    (n,) of the answer's logarithm."""

    u: Array
    P: Array
    gradient: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class NextReading:
    """A reading that could be taken: `narrows`: factor on the standard deviation of the answer's logarithm
    (0 to 1); `minutes` of work."""

    name: str
    minutes: float
    narrows: float

    @property
    def worth(self) -> float:
        """Logarithm of the narrowing per quarter of an hour."""
        return -math.log(max(self.narrows, 1e-3)) / (self.minutes / 15.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Candidate:
    name: str
    minutes: float
    observations: tuple[Observation, ...]


def next_readings(unknowns: Unknowns, places: Sequence[Vantage], sigma: float) -> list[NextReading]:
    """All readings that could be taken, best first, as they look from some machines: the mean of the
    logarithms of their narrowing; a series by eighths or by quarters, as is worth more.  `sigma` m of a
    gauge."""
    candidates = list(_candidates(unknowns, sigma))
    found = np.mean([_narrowing(unknowns, candidates, place) for place in places], axis=0)
    told = [
        NextReading(name=one.name, minutes=one.minutes, narrows=float(np.exp(x)))
        for one, x in zip(candidates, found, strict=True)
    ]
    best: dict[str, NextReading] = {}
    for one in sorted(told, key=lambda one: -one.worth):
        best.setdefault(one.name.removesuffix(IN_QUARTERS), one)
    return list(best.values())


def _narrowing(unknowns: Unknowns, candidates: Sequence[_Candidate], place: Vantage) -> list[float]:
    """Logarithm of the factor on the answer's standard deviation, of each candidate."""
    u, P, G = place.u, place.P, place.gradient
    before = float(G @ P @ G)
    slopes = _slopes(unknowns, [one for c in candidates for one in c.observations], u)
    found, start = [], 0
    for one in candidates:
        A = np.vstack(slopes[start : start + len(one.observations)])
        start += len(one.observations)
        seen = A @ P @ G
        left = before - float(seen @ np.linalg.solve(np.eye(len(A)) + A @ P @ A.T, seen))
        found.append(0.5 * math.log(max(left, 1e-12 * before) / before) if before > 0 else 0.0)
    return found


def gradient(log_answer: LogAnswer, u: Array) -> Array:
    """Slope (n,) of an answer's logarithm."""
    here = log_answer(u)
    found = np.zeros(u.size)
    for k in range(u.size):
        to, by = beside(u, k)
        try:
            found[k] = (log_answer(to) - here) / by
        except BedsimError:
            continue
    return found


def _slopes(unknowns: Unknowns, observations: Sequence[Observation], u: Array) -> list[Array]:
    """Whitened slopes of each observation."""
    model = Model(unknowns=unknowns, observations=tuple(observations))
    fixed, rows = model.parts(model.at(u))
    amounts, keys = unknowns.amounts(u), len(unknowns.keys)
    here = fixed + rows @ amounts
    slope = np.zeros((here.size, u.size))
    for k in range(keys):
        to, by = beside(u, k)
        other, others = model.parts(model.at(to))
        slope[:, k] = (other + others @ amounts - here) / by
    slope[:, keys:] = rows * unknowns.spreads()
    found, start = [], 0
    for one in observations:
        found.append(one.weights() @ slope[start : start + one.value.size])
        start += one.value.size
    return found


def _candidates(unknowns: Unknowns, sigma: float) -> Iterator[_Candidate]:
    loaded = unknowns.loaded
    probes = probe_points(loaded)[0]
    for probe in probes:
        for axis in AXES:
            name = f"gauge {axis} at {probe}"
            alone, coarse = (_series(probe, axis, sigma, turn=turn) for turn in (EIGHTHS, QUARTERS))
            yield _Candidate(name=name, minutes=MINUTES["gauge"], observations=(alone,))
            yield _Candidate(name=name + IN_QUARTERS, minutes=MINUTES["quarters"], observations=(coarse,))
        both = tuple(_series(probe, axis, sigma) for axis in ("x", "y"))
        minutes = MINUTES["gauge"] + MINUTES["gauge again"]
        yield _Candidate(name=f"gauge x and y at {probe}", minutes=minutes, observations=both)
    for number, corner in enumerate(loaded.scenario.corner):
        both = tuple(_series(probes[0], axis, sigma, number) for axis in ("x", "y"))
        name = f"the screw at {corner.name} turned by 90° in its coupling, then gauge x and y at {probes[0]}"
        yield _Candidate(name=name, minutes=MINUTES["turned"] + 15.0, observations=both)
    own = {key.key: key for key in unknowns.keys}
    heights = tuple(_of_key(key, RULER_MM) for key in own if key.endswith("height_mm"))
    if heights:
        minutes = MINUTES["ruler"] * len(heights)
        yield _Candidate(name="the heights by ruler", minutes=minutes, observations=heights)
    for one in heights:
        yield _Candidate(name=f"{one.key} by ruler", minutes=MINUTES["ruler"], observations=(one,))
    for key in (k for k in own if k.endswith(PUSHED)):
        pushed = _of_key(key, PUSH_SHARE * own[key].likely)
        yield _Candidate(name=f"push and pull: {key}", minutes=MINUTES["push"], observations=(pushed,))


def _series(probe: str, axis: str, sigma: float, clocked: int | None = None, turn: Array = EIGHTHS) -> Series:
    return Series(
        file="",
        lines=tuple(range(turn.size)),
        probe=probe,
        axis=axis,
        turn=turn,
        value=np.zeros(turn.size),
        sigma=np.full(turn.size, sigma),
        clocked=clocked,
        by=math.pi / 2 if clocked is not None else 0.0,
        error=MODEL,
    )


def _of_key(key: str, sigma: float) -> KeyReading:
    return KeyReading(
        where="", name=key, key=key, of=lambda scenario: number_at(scenario, key), number=0.0, sigma=sigma
    )
