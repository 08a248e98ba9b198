"""The reading worth most: by how much it would narrow the answer, per quarter of an hour of work.

Machines that agree with all that was read are samples of what is known: each has its answer, and each would
read something.  By the law of total variance a reading y leaves of the variance of the answer's logarithm

    mean of Var(log a, y known) = min over all functions h of E (log a - h(y))^2,

so that any prediction h of the answer from the reading bounds from above what the reading would leave.  Here
h is a Gaussian process about an unknown mean, and each machine's answer is predicted from the others alone:
what agrees by chance in so few machines then counts for nothing.  Source: [Rasmussen2006] 2.25 and 5.12, with
the mean as in [Dubrule1983].

The slope at the likeliest machine, linear and cheaper, misleads: how far the bed strays does not change with
a motion across its largest while that is zero, and of screws that nobody gauged zero is the likeliest.

Limits.  Told is the root of the mean square of what is left: on one machine it may be less or more.  Sixty
machines tell a factor to about 0.07; one near 0.3 comes out too high by 0.1, since few machines lie near each
other.  Friction counts by its uncertainty alone (`MODEL`).
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from bedsim.errors import BedsimError
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

LEAST_SEEN = 0.3
"""Spread of the machines' readings along a direction, in its standard uncertainties, below which it is not
looked at: it would narrow by less than 5 %."""
REACHES = (0.5, 1.0, 2.0, 4.0)
STRENGTHS = (1.0, 10.0, 100.0)
"""Of the Gaussian process: how far a machine's answer tells of its neighbours', in spreads of the readings,
and variance along a straight line over what no reading tells.  Those that predict best are taken; finer grids
change no forecast by 0.01."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NextReading:
    """A reading that could be taken: `narrows`: factor on the standard deviation of the answer's logarithm
    (0 to 1), root mean square; `minutes` of work."""

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


def next_readings(unknowns: Unknowns, machines: Array, answer: Array, sigma: float) -> list[NextReading]:
    """All readings that could be taken, best first, by machines (d, n) that agree with what is known and
    their `answer` (d,); a series by eighths or by quarters, as is worth more.  `sigma` m of a gauge."""
    candidates = list(_candidates(unknowns, sigma))
    readings, answer = _readings(unknowns, candidates, machines, answer)
    told = [
        NextReading(name=one.name, minutes=one.minutes, narrows=narrowing(own, np.log(answer)))
        for one, own in zip(candidates, readings, strict=True)
    ]
    best: dict[str, NextReading] = {}
    for one in sorted(told, key=lambda one: -one.worth):
        best.setdefault(one.name.removesuffix(IN_QUARTERS), one)
    return list(best.values())


def _readings(
    unknowns: Unknowns, candidates: Sequence[_Candidate], machines: Array, answer: Array
) -> tuple[list[Array], Array]:
    """What each candidate would read (d, w), whitened, and the answers of the machines that can be read."""
    observations = tuple(one for candidate in candidates for one in candidate.observations)
    model = Model(unknowns=unknowns, observations=observations)
    read, kept = [], []
    for u, own in zip(machines, answer, strict=True):
        with contextlib.suppress(BedsimError):
            read.append(model.readings(u))
            kept.append(own)
    every, found, start = np.array(read), [], 0
    for candidate in candidates:
        parts = []
        for one in candidate.observations:
            parts.append(every[:, start : start + one.value.size] @ one.weights().T)
            start += one.value.size
        found.append(np.hstack(parts))
    return found, np.array(kept)


def narrowing(readings: Array, log_answer: Array) -> float:
    """Factor on the standard deviation of an answer's logarithm (d,) that readings (d, w) leave, whitened and
    without their noise, which is added."""
    count = log_answer.size
    centred = readings - readings.mean(axis=0)
    ways, size, _ = np.linalg.svd(centred, full_matrices=False)
    seen = size > LEAST_SEEN * math.sqrt(count)
    noise = np.random.default_rng(4).normal(size=(count, int(seen.sum())))
    errors = _left_out(ways[:, seen] * size[seen] + noise, log_answer) if seen.any() else []
    alone = log_answer - log_answer.mean()
    nothing = float(np.mean((alone * count / (count - 1)) ** 2))  # each from the mean of the others
    return math.sqrt(min([nothing, *errors]) / nothing) if nothing > 0 else 1.0


def _left_out(places: Array, values: Array) -> list[float]:
    """Mean squares of what is missed when each of the values (d,) at `places` (d, k) is predicted from the
    others, by processes of all `REACHES` and `STRENGTHS`."""
    apart = ((places[:, None] - places) ** 2).sum(axis=-1) / places.var(axis=0).sum()
    found = []
    for reach in REACHES:
        variance, shape = np.linalg.eigh(reach**2 * np.exp(-apart / (2 * reach**2)))
        for strength in STRENGTHS:
            inverse = (shape / (1.0 + strength * variance)) @ shape.T
            level = inverse.sum(axis=1)
            inverse -= np.outer(level, level) / level.sum()  # the mean is not known
            found.append(float(np.mean((inverse @ values / np.diag(inverse)) ** 2)))
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
