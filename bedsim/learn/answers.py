"""What a machine at given unknowns answers, and what a screw has of it; the same of a changed machine.

Without friction, stops and play, over the whole print, at the scenario's probes.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.analysis.linear_machine import linear_machine, own_imposed, poses
from bedsim.analysis.metrics import lateral_peak_to_valley, peak_to_valley
from bedsim.clocking.response import TURNING
from bedsim.engines.base import Job
from bedsim.errors import BedsimError
from bedsim.learn.fit import beside
from bedsim.learn.unknowns import Unknowns, place_of
from bedsim.ranges.draws import Draw
from bedsim.results.layers import Array
from bedsim.simulation import make_job, relative_errors

ENDS = (0.05, 0.5, 0.95)
"""Of a told range: 90 % lie between."""

Progress = Callable[[int], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class LearntAnswer:
    """`lateral`, `height`: peak to valley m, worst place of the bed; `shares` (c,): of every screw in the
    mean square of the sideways motion there, signed, with what turns with it."""

    lateral: float
    height: float
    shares: Array


@dataclass(frozen=True, kw_only=True)
class Changed:
    """A changed machine, seen from the unknowns of the one that was read: a key of both has the same place
    on its distribution, a key of its own is drawn."""

    unknowns: Unknowns
    own: Unknowns

    def place(self, u: Array, draw: Draw) -> Array:
        """Its own unknowns where those of the machine that was read are u."""
        known = {key.key: (key, x) for key, x in zip(self.own.keys, u, strict=False)}
        keys = []
        for key in self.unknowns.keys:
            same, x = known.get(key.key, (None, 0.0))
            alike = same is not None and (same.low, same.likely, same.high) == (key.low, key.likely, key.high)
            keys.append(x if alike else place_of(key, draw))
        return np.concatenate([keys, u[len(self.own.keys) :]])


def answer_of(unknowns: Unknowns, u: Array) -> LearntAnswer:
    """Work a machine out.  Raises ModelError or InputError where there is none."""
    return answer_of_job(unknowns, make_job(unknowns.settable.at(unknowns.values(u)), side_torque=False), u)


def answer_of_job(unknowns: Unknowns, job: Job, u: Array) -> LearntAnswer:
    """The same of a machine at hand, with screws as u has them."""
    machine = job.machine
    own = machine.amounts.copy()
    own[unknowns.columns(job)] = unknowns.amounts(u)
    corners = len(machine.corner_names)
    strengths = np.zeros((corners + 1, own.size))
    for k, source in enumerate(machine.sources):
        strengths[source.corner if source.cause in TURNING else -1, k] = own[k]
    linear = linear_machine(replace(job, amounts=strengths))
    pose = poses(linear, own_imposed(linear), weight=False)
    pose[-1] += linear.weights @ linear.sag @ linear.observer.bed.T
    errors = relative_errors(job, linear.layers, pose)
    lateral, height = errors["lateral_error"], errors["height_error"].sum(axis=0)
    extent = lateral_peak_to_valley(lateral.sum(axis=0))
    return LearntAnswer(
        lateral=float(extent.max()),
        height=float(peak_to_valley(height).max()),
        shares=_shares(lateral[:, :, int(extent.argmax())]),
    )


def _shares(motion: Array) -> Array:
    """Shares (c,) of parts (c + 1, l, 2) in the mean square of their sum about its mean."""
    centred = motion - motion.mean(axis=1, keepdims=True)
    whole = centred.sum(axis=0)
    power = float((whole**2).sum())
    return np.asarray((centred[:-1] * whole).sum(axis=(1, 2)) / max(power, 1e-30))


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswerSpread:
    """Answers of many machines alike: `lateral`, `height` (d,) m, `shares` (d, c); `built` (d,): which of the
    machines they are of; `lost`: how many could not be built."""

    lateral: Array
    height: Array
    shares: Array
    built: NDArray[np.int64]
    lost: int

    def ends(self, name: str) -> tuple[float, float, float]:
        """5, 50 and 95 % of a figure, by ranks i/(n + 1): a new machine lies outside as often as told."""
        low, middle, high = np.quantile(getattr(self, name), ENDS, method="weibull")
        return float(low), float(middle), float(high)

    def share_ends(self) -> Array:
        """The same of every screw's share (3, c)."""
        return np.asarray(np.quantile(self.shares, ENDS, axis=0, method="weibull"))

    def claim(self) -> tuple[int, float]:
        """The screw (index) that most of the machines say has the largest part, and how many of them (0 to
        1)."""
        counts = np.bincount(self.shares.argmax(axis=1), minlength=self.shares.shape[1])
        return int(counts.argmax()), float(counts.max() / counts.sum())


def spread_of(
    unknowns: Unknowns, machines: Iterable[Array], progress: Progress = lambda done: None
) -> AnswerSpread:
    """Work many machines out."""
    found: list[LearntAnswer] = []
    built: list[int] = []
    count = 0
    for number, u in enumerate(machines):
        with contextlib.suppress(BedsimError):
            found.append(answer_of(unknowns, u))
            built.append(number)
        count = number + 1
        progress(count)
    every: dict[str, Any] = {
        name: np.array([getattr(one, name) for one in found]) for name in ("lateral", "height", "shares")
    }
    return AnswerSpread(**every, built=np.array(built, dtype=np.int64), lost=count - len(found))


def pull_of(answer: Callable[[Array], LearntAnswer], u: Array) -> Array:
    """Slope (n,) of the logarithm of the sideways answer at u; 0 along unknowns where there is no machine."""
    here = math.log(answer(u).lateral)
    found = np.zeros(u.size)
    for k in range(u.size):
        to, by = beside(u, k)
        with contextlib.suppress(BedsimError):
            found[k] = (math.log(answer(to).lateral) - here) / by
    return found
