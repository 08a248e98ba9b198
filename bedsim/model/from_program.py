"""A part's own program as stations and pieces, in SI."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from bedsim import units
from bedsim.model.growing_part import Pieces
from bedsim.model.program import Limits, move_pieces
from bedsim.model.stations import Array, Stations
from bedsim.program.laid import Laid

SAME = 1e-9  # share by which speeds differ by rounding
CLOCK = 1e-6  # s: what a program's times are rounded to, so that alike stations are one kind


@lru_cache(maxsize=8)
def stations_of_program(laid: Laid, limits: Limits) -> Stations:
    """The stations that a program lays, reached by the bed's own motion at the speeds that words F give Z, no
    more than the machine's: a station takes that, the pause before its first line, its lines, and what the
    program does before Z moves on."""
    z, thickness = laid.height * units.MM, laid.thickness * units.MM
    depth = np.append(-thickness[0], z - z[0])
    hop, dwell = laid.hop * units.MM, np.where(laid.hop > 0, _clock(laid.hop_dwell), 0.0)
    speed, back = (np.where(v > 0, v * units.MM_S, np.inf) for v in (laid.speed, laid.back))
    speed, back = (np.where(v < limits.speed * (1 - SAME), v, np.inf) for v in (speed, back))
    moving = _times(np.abs(np.diff(depth)), limits, speed)
    hopping = _times(hop, limits, speed) + dwell + _times(hop, limits, back)
    moving = moving + np.where(hop > 0, hopping, 0.0)
    period = _clock(moving + laid.settle + laid.printing + laid.after) + CLOCK
    return Stations(
        z=z,
        depth=depth,
        middle=depth[1:] - thickness / 2,
        thickness=thickness,
        begin=np.append(0.0, np.cumsum(period)[:-1]),
        period=period,
        settle=_clock(laid.settle),
        hop=hop,
        hop_dwell=dwell,
        speed=speed,
        back=back,
        first=laid.first.astype(np.int64),
    )


def pieces_of_program(laid: Laid, origin: tuple[float, float], kg_per_mm: float) -> Pieces:
    """What each station lays: a piece of its own mass at the centre of its lines; `origin` m of the program
    on the bed, `kg_per_mm` of E."""
    return Pieces(
        station=np.arange(1, laid.count + 1),
        mass=laid.extruded * kg_per_mm,
        x=laid.x * units.MM + origin[0],
        y=laid.y * units.MM + origin[1],
        bottom=(laid.height - laid.thickness) * units.MM,
        top=laid.height * units.MM,
    )


def _clock(seconds: Array) -> Array:
    return np.asarray(np.round(seconds / CLOCK) * CLOCK)


def _times(distance: Array, limits: Limits, speed: Array) -> Array:
    """Seconds of moves over some distances m, each at no more than its speed m/s; none over nothing."""
    rows = np.stack([np.round(distance, 9), speed], axis=1)
    unlike, which = np.unique(rows, axis=0, return_inverse=True)
    took = [
        sum(piece[0] for piece in move_pieces(float(d), limits.at_most(float(v)))) if d > 0 else 0.0
        for d, v in unlike
    ]
    return np.array(took)[which.reshape(-1)]
