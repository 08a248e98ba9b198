"""Which bands screws and motors make on a print, and which of them a reading shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bedsim.analysis.layer_height import trains
from bedsim.analysis.metrics import wall_wavelength
from bedsim.diagnosis.readings import Reading
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.sections import refuse_sections
from bedsim.units import MM

TOLERANCE = 0.05
"""Relative difference up to which a wavelength read on a wall is that of a kind."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BandKind:
    """Bands that come back `times` per turn of the screw."""

    name: str
    times: float
    on_screw: bool  # carried by the thread, so that it turns with the screw in its coupling
    corners: tuple[str, ...]  # whose screws or motors make them
    seen: float  # m, wavelength on the wall; inf: the same in every layer, no bands
    backwards: bool  # the layers fold it: its phase runs against the height

    @property
    def of_lead(self) -> bool:
        """Whether it comes back once per turn of the screw, as a bent one's does."""
        return self.on_screw and self.times == 1.0


_OF_SCREWS = (("lead", 1), ("travel twice per turn", 2), ("travel three times per turn", 3))


def band_kinds(loaded: LoadedScenario) -> tuple[BandKind, ...]:
    """All kinds on a machine of one lead, those of fewest cycles per turn first: screws once to three times
    per turn, motors one to four times in four full steps.

    Layers sample a wave of f cycles per metre at heights n h, and e^{2 pi j f n h} is the same for
    f - round(f h)/h: the wave seen, which runs backwards where that is below zero; see `wall_wavelength`.
    Twice and three times per turn are the harmonics that friction, stops and measured tables make; a motor's
    place error has 1 to 4 cycles in four full steps, `components.motor`.
    """
    scenario = loaded.scenario
    lead, layer = scenario.corner[0].screw.lead_mm * MM, scenario.print.layer_mm * MM
    everyone = tuple(c.name for c in scenario.corner)
    kinds = [_kind(name, float(k), True, everyone, lead, layer) for name, k in _OF_SCREWS]
    for train, corners in trains(loaded).items():
        pitches = lead / (4.0 * train.full_step)  # of rotor teeth, per turn of the screw
        for k in range(1, 5):
            name = f"motor {_often(k)} in four full steps"
            kinds.append(_kind(name, k * pitches, False, corners, lead, layer))
    return tuple(sorted(kinds, key=lambda kind: kind.times))


def _kind(
    name: str, times: float, on_screw: bool, corners: tuple[str, ...], lead: float, layer: float
) -> BandKind:
    cycles = times * layer / lead
    return BandKind(
        name=name,
        times=times,
        on_screw=on_screw,
        corners=corners,
        seen=wall_wavelength(lead / times, layer),
        backwards=bool(cycles < round(cycles)),
    )


def refuse_uneven_walls(loaded: LoadedScenario, readings: Sequence[Reading]) -> None:
    """Raise InputError for bands on walls of unlike layers, whose kinds no one length tells.  A gauge on the
    bed is read whatever the layers."""
    if any(reading.wavelength is not None for reading in readings):
        why = "bands on a wall are told by how layers sample them (a gauge on the bed tells any)"
        refuse_sections(loaded.scenario.print, loaded.name, "bedsim diagnose", why)


def _often(times: int) -> str:
    return {1: "once", 2: "twice"}.get(times, f"{times} times")


def sort_readings(
    readings: Sequence[Reading], kinds: Sequence[BandKind]
) -> tuple[dict[BandKind, list[Reading]], list[Reading]]:
    """Readings by kind, of several that the layers show alike the one of fewest cycles per turn, their values
    counted along the screw's own turn; and those of no kind.  A gauge on the bed reads the first kind."""
    sorted_by: dict[BandKind, list[Reading]] = {}
    foreign = []
    for reading in readings:
        alike = kinds[:1] if reading.wavelength is None else alike_kinds(reading.wavelength, kinds)
        if alike:
            sorted_by.setdefault(alike[0], []).append(_along_the_turn(reading, alike[0]))
        else:
            foreign.append(reading)
    return dict(sorted(sorted_by.items(), key=lambda item: item[0].times)), foreign


def alike_kinds(wavelength: float, kinds: Sequence[BandKind]) -> tuple[BandKind, ...]:
    """Kinds that these layers show with a wavelength (m)."""
    return tuple(kind for kind in kinds if abs(wavelength / kind.seen - 1.0) <= TOLERANCE)


def _along_the_turn(reading: Reading, kind: BandKind) -> Reading:
    """A band's value so that relief = Re(value e^{j times psi}); the wave is as long as the kind says."""
    if reading.crest is None:
        return reading
    value = abs(reading.value) * np.exp(-2j * np.pi * reading.crest / kind.seen)
    return replace(reading, value=complex(value.conjugate() if kind.backwards else value))
