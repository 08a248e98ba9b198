"""Synthetic turns of a dial gauge, shared by the metrology tests."""

import numpy as np

from bedsim.metrology.readings import Readings

ANGLES = np.radians(np.arange(0, 360, 30))


def make(position, angle, value, place=None):
    position = np.asarray(position, dtype=float)
    return Readings(
        position=position,
        travelled=position,
        angle=np.asarray(angle, dtype=float),
        value=np.asarray(value, dtype=float),
        place=tuple(["thread"] * position.size if place is None else place),
        lines=tuple(range(2, 2 + position.size)),
        by_jog=False,
    )


def turn(r, lobes2=0j, lobes3=0j, angle=ANGLES):
    return np.real(r * np.exp(1j * angle) + lobes2 * np.exp(2j * angle) + lobes3 * np.exp(3j * angle))
