"""What a clocking leaves, and why: the bed's path split into what clocking can cancel one by one.

In the plane z = x + jy a screw c that is clocked by a makes the bed's lateral error P_c e^{ja} + N_c e^{-ja},
P = (X + jY)/2 and N = conj(X - jY)/2 of its phasors X, Y: one circle goes round with the screw, one against
it.  Where mounts and guides are alike in both directions N is nothing.  A groove passes one direction alone:
|N| = |P|, half of the push each.  Turning the screws turns the P one way and the N the other, so what cancels
one adds up the other.

Three equal screws at equal angles phi_c on grooves move the bed by thirds of their push: with them
sum e^{j a_c}, against them sum e^{j(2 phi_c - a_c)}, turning it sum e^{j(a_c - phi_c)}.  These are the three
terms of one discrete Fourier transform, whose squares add up to the same for every clocking (Parseval): a_c =
-phi_c cancels the first and the last, and leaves the second whole.  Derived.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.clocking import unit_circles
from bedsim.clocking.response import Response, about_mean, root_mean_square
from bedsim.clocking.unit_circles import Form
from bedsim.results.layers import Array

Fields = NDArray[np.complex128]

ALIKE = 0.1
"""Share of a screw's push that goes against it, of that which goes with it, below which directions count as
alike.  Our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One part of the lateral error, m RMS about its mean over the layers.

    `now` and `best`: as it is and as found; `least`: what clocking leaves of this part if it cares for
    nothing else; `alone` (c,): what each corner's screw makes of it by itself.  The last two with the screws
    of `best`.
    """

    now: float
    best: float
    least: float
    alone: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """The error in parts: the mean over the probes going round with the screws and against them, what differs
    between the probes (the bed turns), and what does not turn with any screw (m RMS)."""

    along: Part
    against: Part
    turning: Part
    standing: float

    @property
    def opposed(self) -> float:
        """Push that goes against the screws over that which goes with them: 0 alike, 1 a groove."""
        along = float(np.linalg.norm(self.along.alone))
        return float(np.linalg.norm(self.against.alone)) / along if along else 0.0


Choice = tuple[Sequence[int], Array]
"""Screw number and clocking (rad) of every corner."""


def rest_of(response: Response, now: Choice, best: Choice, probes: Sequence[int]) -> Rest:
    """Split what two choices leave over the chosen probes."""
    before, after = (_forms(_circles(response, screws, probes)) for screws, _ in (now, best))
    along, against, turning = (
        Part(
            now=_rms(unit_circles.values(b, now[1][None, None])[0, 0]),
            best=_rms(unit_circles.values(a, best[1][None, None])[0, 0]),
            least=_rms(unit_circles.minimise(a)[1][0]),
            alone=np.sqrt(np.diagonal(a.S[0])[::2]),
        )
        for b, a in zip(before, after, strict=True)
    )
    return Rest(along=along, against=against, turning=turning, standing=_standing(response, best[0], probes))


def _rms(square: float) -> float:
    return float(np.sqrt(max(square, 0.0)))


def _circles(response: Response, screws: Sequence[int], probes: Sequence[int]) -> tuple[Fields, Fields]:
    """P and N (c, n, p) of every corner, their means over an object's layers taken off."""
    place = (np.asarray(screws), np.arange(len(screws)))
    x, y = np.moveaxis(response.turning[0][place][:, :, list(probes)], -1, 0)
    found = (x + 1j * y) / 2, np.conj(x - 1j * y) / 2
    p, n = (np.moveaxis(about_mean(np.moveaxis(f, 1, 0), response.walls), 0, 1) for f in found)
    return p, n


def _forms(circles: tuple[Fields, Fields]) -> tuple[Form, Form, Form]:
    """Mean squares of the three parts as forms in the screws' unit vectors."""
    p, n = circles
    middle = [f.mean(axis=2, keepdims=True) for f in circles]
    off = p - middle[0], n - middle[1]
    return (
        _form(middle[0], 1j * middle[0]),
        _form(middle[1], -1j * middle[1]),
        _form(off[0] + off[1], 1j * (off[0] - off[1])),
    )


def _form(cosine: Fields, sine: Fields) -> Form:
    """The mean square of sum(cosine_c cos a_c + sine_c sin a_c) over layers and probes."""
    rows = np.stack([cosine, sine], axis=1).reshape(2 * cosine.shape[0], -1)
    S = (rows @ rows.conj().T).real / rows.shape[1]
    return Form(S=S[None], b=np.zeros((1, rows.shape[0])), constant=np.zeros(1))


def _standing(response: Response, screws: Sequence[int], probes: Sequence[int]) -> float:
    place = (np.asarray(screws), np.arange(len(screws)))
    still = (response.own[0] + response.standing[0][place].sum(axis=0))[:, list(probes)]
    return root_mean_square(still, range(still.shape[1]), response.walls)
