"""From measured bands back to their cause: shares of screws and causes by weighted least squares.

Everything that repeats once per turn is a complex amplitude.  With the screw angle psi counted so that it
grows while the bed goes down, a reading is Re(y e^{j psi}) and a source is Re(x e^{j psi}) in the screw's
own plane: run-out x = r e^{ja} in m, once-per-turn lead x in m.  The machine is linear: y = H x.
H[reading, source] is the bed's answer to a source of 1 m and comes from the caller.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from bedsim.errors import InputError
from bedsim.results.layers import Array

Complex = NDArray[np.complex128]
Source = tuple[str, str]
"""(cause, corner)."""

CONDITION_LIMIT = 100.0
"""Above this, one part of noise in the readings can become a hundred in the answer.  Our assumption."""

_BLIND = 1e-9
"""Below this part of the largest singular value the readings see nothing of a direction at all."""

_CONFUSED = 1e-3
"""Share of a source's power in directions that are not told, from which it counts as not told."""

CHANCE = 0.01
"""Readings that chance alone would make so odd this rarely are taken as a cause outside the model; so
well-fitting this rarely, as readings whose uncertainty is not the stated one.  Our assumption.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """One source as the readings tell it."""

    source: Source
    amplitude: float  # m
    direction: float  # rad, counter-clockwise in the screw's own frame, as the answers count it
    uncertainty: float  # m, standard uncertainty of real and of imaginary part
    share: float  # of the whole, in power over all readings; shares sum to 1
    told: bool  # False: these readings cannot tell
    mixed_with: tuple[Source, ...]  # sources that these readings cannot tell it from


@dataclass(frozen=True, slots=True, kw_only=True)
class NextTest:
    """A repeat of the readings with one screw turned in its coupling, and what it would bring."""

    corner: str
    turn: float  # rad, counter-clockwise from above
    condition: float  # of old and new readings together
    rank: int  # how many independent sources old and new readings together can tell
    worst_uncertainty: float  # m, largest over the sources


@dataclass(frozen=True, slots=True, kw_only=True)
class Excess:
    """The source that would have to be furthest beyond what a screw can be."""

    source: Source
    needed: float  # m
    bound: float  # m


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnosis:
    """Outcome of a fit."""

    estimates: tuple[Estimate, ...]
    condition: float  # of the weighted, scaled matrix
    rank: int  # independent sources that are told
    residual: Complex  # (m,) reading minus model, m
    chi_square: float
    degrees: int  # of freedom left over
    chance: float  # probability of a larger chi square by noise alone; nan with none left over
    excess: Excess | None = None  # where the readings hold more than screws within their bounds can make
    next_tests: tuple[NextTest, ...] = field(default=())  # best first

    @property
    def can_tell(self) -> bool:
        """Whether the readings tell every source."""
        return all(e.told for e in self.estimates)

    @property
    def outside_model(self) -> bool:
        """Whether the readings hold something that no source of the model makes."""
        return bool(self.degrees > 0 and self.chance < CHANCE)

    @property
    def fits_too_well(self) -> bool:
        """Whether less is left over than readings of the stated uncertainty leave."""
        return bool(self.degrees > 0 and self.chance > 1 - CHANCE)


def phasor_of_turn(angle: ArrayLike, reading: ArrayLike) -> tuple[complex, Array]:
    """Once-per-turn complex amplitude of readings (k,) at screw angles (k,) rad, and what is left of them
    (k,).

    Least squares of a constant, cosine and sine; with even steps over a turn this is 2/k sum y e^{-j psi}.
    Raises InputError with fewer than four different angles.
    """
    psi, y = np.asarray(angle, float), np.asarray(reading, float)
    if len(np.unique(np.round(np.mod(psi, 2 * np.pi), 6))) < 4:
        raise InputError("a turn needs readings at 4 or more different angles; eighths of a turn are best.")
    design = np.stack([np.ones_like(psi), np.cos(psi), np.sin(psi)], axis=1)
    fit = np.linalg.lstsq(design, y, rcond=None)[0]
    return complex(fit[1], -fit[2]), y - design @ fit


def diagnose(
    response: ArrayLike,
    readings: ArrayLike,
    sigma: ArrayLike,
    sources: Sequence[Source],
    *,
    scale: ArrayLike | None = None,
    bound: ArrayLike | None = None,
    hand: Mapping[str, int] | None = None,
    mirrored: ArrayLike | None = None,
    times: float = 1.0,
) -> Diagnosis:
    """Amplitude and phase of every source from complex readings (m,) with response (m, s), by weighted
    least squares.

    `sigma` (m,): standard uncertainty (m) of the real and of the imaginary part of each reading; `scale`
    (s,): plausible size of each source (m), default all alike.  x minimises sum |y - H x|^2/sigma^2; its
    covariance per real part is (H^H W H)^-1, W = diag(1/sigma^2).  All directions that the readings see are
    fitted, so that what is left over is left over by the model; sources with a part in directions of less
    than 1/CONDITION_LIMIT of the largest singular value of the scaled, weighted matrix count as not told.
    `mirrored` (m, s): answer to the complex conjugate of each source, which friction has; default none.
    `bound` (s,): amplitudes (m) beyond which no screw is, see `excess`; not looked at without.
    `hand` (corner -> +1 or -1, default +1) is that of the thread.  The sources come back `times` per turn of
    a screw in its coupling; 0: turning it there changes nothing.  Raises InputError.
    Source: weighted least squares and the chi-square test of its residual, any textbook on estimation.
    """
    h, y, s = np.asarray(response, complex), np.asarray(readings, complex), np.asarray(sigma, float)
    size = np.ones(len(sources)) if scale is None else np.asarray(scale, float)
    mirror = np.zeros_like(h) if mirrored is None else np.asarray(mirrored, complex)
    _check(h, y, s, sources, size)
    both = in_parts(h, mirror)
    weighted = both / np.tile(s, 2)[:, None] * np.tile(size, 2)
    u, singular, vh = np.linalg.svd(weighted, full_matrices=True)
    full = np.zeros(2 * len(sources))
    full[: len(singular)] = singular
    fitted = int(np.sum(full > _BLIND * full[0]))
    strong = int(np.sum(full > full[0] / CONDITION_LIMIT))
    back = np.tile(size, 2)[:, None] * vh[:fitted].T / singular[:fitted]
    parts = back @ (u[:, :fitted].T @ np.concatenate([y.real / s, y.imag / s]))
    x = parts[: len(sources)] + 1j * parts[len(sources) :]
    spread = np.diag(back @ back.T).reshape(2, -1).mean(axis=0)
    made = h * x + mirror * x.conj()
    residual = y - made.sum(axis=1)
    chi_square = float(np.sum(np.abs(residual / s) ** 2))
    degrees = 2 * len(y) - fitted
    return Diagnosis(
        estimates=_estimates(
            (h * x + mirror * x.conj()) / s[:, None], x, spread, sources, vh[strong:], hand or {}
        ),
        condition=float(full[0] / full[-1]) if full[-1] > 0 else np.inf,
        rank=strong // 2,
        residual=residual,
        chi_square=chi_square,
        degrees=degrees,
        chance=float(stats.chi2.sf(chi_square, degrees)) if degrees > 0 else np.nan,
        excess=None if bound is None else excess(h, y, s, x, np.asarray(bound, float), sources, mirror),
        next_tests=next_tests(h, s, sources, size, hand or {}, mirrored=mirror, times=times),
    )


def in_parts(response: Complex, mirrored: Complex) -> Array:
    """Matrix (2 m, 2 s) from real and imaginary parts of x to those of H x + M conj(x)."""
    total, rest = response + mirrored, response - mirrored
    return np.block([[total.real, -rest.imag], [total.imag, rest.real]])


def excess(
    h: Complex,
    y: Complex,
    s: Array,
    x: Complex,
    bound: Array,
    sources: Sequence[Source],
    mirrored: Complex | None = None,
) -> Excess | None:
    """What the fit x (s,) needs beyond the bounds (s,) m, if screws within them cannot make the readings.

    A fit alone does not show it: a machine that hardly passes its screws on explains any motion by screws
    that are bent enough.  With each part of x spread about zero by its bound the readings are spread by
    D = diag(s^2) + H diag(bound^2) H^H, and y^H D^-1 y, the least of |y - H x|^2/s^2 + |x/bound|^2 over all
    x, is a chi square of as many degrees of freedom as there are readings, real and imaginary.  What the
    readings hardly see cannot take it up.  Source: [GUM] for the sum of variances; the least is worked out
    in the tests.
    """
    reach = in_parts(h, np.zeros_like(h) if mirrored is None else mirrored) * np.tile(bound, 2)
    spread = np.diag(np.tile(s, 2) ** 2) + reach @ reach.T
    parts = np.concatenate([y.real, y.imag])
    chi_square = float(parts @ np.linalg.solve(spread, parts))
    ratio = np.abs(x) / bound
    k = int(np.argmax(ratio))
    if stats.chi2.sf(chi_square, 2 * len(y)) >= CHANCE or ratio[k] <= 1:
        return None
    return Excess(source=sources[k], needed=float(abs(x[k])), bound=float(bound[k]))


def _check(h: Complex, y: Complex, s: Array, sources: Sequence[Source], size: Array) -> None:
    if h.shape != (len(y), len(sources)) or s.shape != y.shape:
        raise InputError(
            f"response is {h.shape}, but there are {len(y)} readings and {len(sources)} sources: they "
            "must agree."
        )
    if len(y) == 0 or len(sources) == 0:
        raise InputError("no readings or no sources: nothing to diagnose.")
    if not (np.all(s > 0) and np.all(size > 0)):
        raise InputError("sigma and scale must be above 0 for every reading and source.")
    if not (np.all(np.isfinite(h)) and np.all(np.isfinite(y))):
        raise InputError("response or readings hold a value that is not a number.")


def _estimates(
    model: Complex,
    x: Complex,
    spread: Array,
    sources: Sequence[Source],
    lost: Array,
    hand: Mapping[str, int],
) -> tuple[Estimate, ...]:
    """`model` (m, s): what each source x (s,) makes of the weighted readings; `spread` (s,) m2 of a part of
    it; `lost` (k, 2 s): directions that are not told."""
    whole = model.sum(axis=1)
    power = float(np.vdot(whole, whole).real)
    count = len(sources)
    in_lost = (lost**2).sum(axis=0).reshape(2, count).max(axis=0)
    overlap = np.abs(lost.T @ lost).reshape(2, count, 2, count).max(axis=(0, 2))
    out = []
    for i, source in enumerate(sources):
        told = bool(in_lost[i] < _CONFUSED)
        mixed = [sources[j] for j in range(count) if j != i and not told and overlap[i, j] > 0.05]
        out.append(
            Estimate(
                source=source,
                amplitude=float(abs(x[i])),
                direction=float(hand.get(source[1], 1) * np.angle(x[i])),
                uncertainty=float(np.sqrt(spread[i])) if told else np.inf,
                share=float(np.vdot(whole, model[:, i]).real / power) if power > 0 else np.nan,
                told=told,
                mixed_with=tuple(mixed),
            )
        )
    return tuple(out)


def turned_response(
    response: ArrayLike,
    sources: Sequence[Source],
    corner: str,
    turn: float,
    hand: Mapping[str, int] | None = None,
) -> Complex:
    """Response (m, s) with the screw of one corner turned by `turn` (rad, counter-clockwise) in its coupling.

    The screw carries its imperfections with it: its columns turn by e^{j hand turn}.  Right-hand threads
    (hand +1) turn counter-clockwise, seen from above, while the bed goes down, so a screw set ahead by
    `turn` is ahead in psi; a left-hand one is behind.
    """
    sense = (hand or {}).get(corner, 1)
    factor = np.array([np.exp(1j * sense * turn) if s[1] == corner else 1.0 for s in sources])
    return np.asarray(response, complex) * factor


def _largest_uncertainty(singular: Array, vh: Array, size: Array) -> float:
    """Of sources of `size` (s,), from the singular values (2 s,) and vectors of what all readings see."""
    squares = ((vh / singular[:, None]) ** 2).sum(axis=0).reshape(2, -1).mean(axis=0)
    return float(np.max(size * np.sqrt(squares)))


def next_tests(
    response: ArrayLike,
    sigma: ArrayLike,
    sources: Sequence[Source],
    scale: ArrayLike,
    hand: Mapping[str, int] | None = None,
    mirrored: ArrayLike | None = None,
    times: float = 1.0,
) -> tuple[NextTest, ...]:
    """For each corner, what repeating the same readings with its coupling turned by a quarter of the sources'
    period would bring; best first.  `times` as in `diagnose`; with 0 there are none.

    Ranked by how many sources, then by the largest uncertainty that old and new readings together leave,
    then by their condition number.
    """
    if times == 0:
        return ()
    quarter = np.pi / 2.0
    h, s, size = np.asarray(response, complex), np.asarray(sigma, float), np.asarray(scale, float)
    mirror = np.zeros_like(h) if mirrored is None else np.asarray(mirrored, complex)
    weight, large = np.tile(1 / s, 4)[:, None], np.tile(size, 2)
    out = []
    for corner in dict.fromkeys(corner for _, corner in sources):
        after = turned_response(h, sources, corner, quarter, hand)
        against = turned_response(mirror, sources, corner, -quarter, hand)
        both = np.vstack([in_parts(h, mirror), in_parts(after, against)])
        singular, vh = np.linalg.svd(both * weight * large, full_matrices=False)[1:]
        rank = int(np.sum(singular > singular[0] / CONDITION_LIMIT)) // 2
        blind = rank < len(sources)
        condition = np.inf if blind else float(singular[0] / singular[-1])
        spread = np.inf if blind else _largest_uncertainty(singular, vh, size)
        out.append(
            NextTest(
                corner=corner,
                turn=quarter / times,
                condition=condition,
                rank=rank,
                worst_uncertainty=spread,
            )
        )
    return tuple(sorted(out, key=lambda t: (-t.rank, t.worst_uncertainty, t.condition)))
