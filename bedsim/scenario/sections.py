"""The layers of a print, section by section, every key given."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from bedsim.errors import InputError
from bedsim.program.laid import Laid
from bedsim.scenario.machine_keys import MotionKeys, Print, PrintSection


@dataclass(frozen=True, slots=True, kw_only=True)
class CompleteSection:
    """Layers that are alike, in the units of the keys."""

    layers: int
    layer_mm: float
    seconds_per_layer: float
    settle_s: float
    z_hop_mm: float
    hop_dwell_s: float
    hop_every: int
    new_object: bool
    part_mass_kg: float | None
    part_x_mm: float
    part_y_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintObject:
    """What is printed from the bed up in one piece: its number of layers, its height, its mass when they are
    done, and where it stands."""

    layers: int
    height_mm: float
    mass_kg: float
    x_mm: float
    y_mm: float


def complete_sections(job: Print, motion: MotionKeys) -> list[CompleteSection]:
    """Sections in order up to the last layer, what they leave open as in [print] and [motion]; what they do
    not reach is a section of its own.  Of a program one for every layer."""
    if job.laid is not None:
        return _of_program(job, job.laid)
    usual = {
        "layer_mm": job.layer_mm,
        "seconds_per_layer": job.seconds_per_layer,
        "settle_s": job.settle_s,
        "z_hop_mm": motion.z_hop_mm,
        "hop_dwell_s": motion.hop_dwell_s,
        "part_mass_kg": None,
        "part_x_mm": job.part_x_mm,
        "part_y_mm": job.part_y_mm,
    }
    found, left = [], job.layers
    for section in (*job.section, PrintSection(layers=job.layers)):
        count = min(section.layers, left)
        if count:
            own = section.model_dump(exclude_none=True)
            found.append(CompleteSection(**usual | own | {"layers": count}))
        left -= count
    return found


def _of_program(job: Print, laid: Laid) -> list[CompleteSection]:
    """Every layer of a program, in its own time without the motion to it."""
    seconds = laid.settle + laid.printing + laid.after
    return [
        CompleteSection(
            layers=1,
            layer_mm=float(laid.thickness[k]),
            seconds_per_layer=float(seconds[k]),
            settle_s=float(laid.settle[k]),
            z_hop_mm=float(laid.hop[k]),
            hop_dwell_s=float(laid.hop_dwell[k]),
            hop_every=1,
            new_object=bool(k and laid.first[k] == k + 1),
            part_mass_kg=None,
            part_x_mm=job.part_x_mm,
            part_y_mm=job.part_y_mm,
        )
        for k in range(laid.count)
    ]


def objects_of(job: Print, motion: MotionKeys) -> list[PrintObject]:
    """What is printed one after the other; objects without a mass of their own share that of [print] by their
    height."""
    groups: list[list[CompleteSection]] = []
    for section in complete_sections(job, motion):
        if section.new_object or not groups:
            groups.append([])
        groups[-1].append(section)
    heights = [sum(s.layers * s.layer_mm for s in group) for group in groups]
    shared = sum(h for h, group in zip(heights, groups, strict=True) if group[0].part_mass_kg is None)
    found = []
    for height, group in zip(heights, groups, strict=True):
        first, own = group[0], group[0].part_mass_kg
        mass = job.part_mass_kg * height / shared if own is None else own
        layers = sum(s.layers for s in group)
        found.append(
            PrintObject(
                layers=layers, height_mm=height, mass_kg=mass, x_mm=first.part_x_mm, y_mm=first.part_y_mm
            )
        )
    return found


def first_object(job: Print, motion: MotionKeys) -> dict[str, Any]:
    """What to change in [print] for the first of several objects alone, without sections that the print does
    not reach; nothing where there is one and it reaches all."""
    first, *others = objects_of(job, motion)
    if not others:
        reached = _reached(job)
        return {} if job.laid is not None or reached == job.section else {"section": reached}
    if job.laid is not None:
        return {"laid": job.laid.first_ones(first.layers), "layers": first.layers}
    until = next(k for k, section in enumerate(job.section) if k and section.new_object)
    begin = job.section[0].model_copy(update={"part_mass_kg": None})
    return {
        "section": (begin, *job.section[1:until]),
        "layers": first.layers,
        "part_mass_kg": first.mass_kg,
    }


def _reached(job: Print) -> tuple[PrintSection, ...]:
    """Sections up to the last layer."""
    found, left = [], job.layers
    for section in job.section:
        if left > 0:
            found.append(section.model_copy(update={"layers": min(section.layers, left)}))
        left -= section.layers
    return tuple(found)


def way_down_mm(job: Print, motion: MotionKeys) -> float:
    """How far the bed goes below layer 1 at most, hops included."""
    if job.laid is not None:
        return float((job.laid.height - job.laid.height[0] + job.laid.hop).max())
    sections = complete_sections(job, motion)
    down, lowest, before = 0.0, 0.0, -1  # layer 1 is where the way down begins
    for section in sections:
        if section.new_object and before == 0:
            down = -sections[0].layer_mm
        down += (before + section.layers) * section.layer_mm
        lowest, before = max(lowest, down + section.z_hop_mm), 0
    return lowest


def thicknesses_mm(job: Print, motion: MotionKeys) -> list[float]:
    """Of every layer, in order."""
    return [s.layer_mm for s in complete_sections(job, motion) for _ in range(s.layers)]


def section_of(job: Print, motion: MotionKeys, layer: int) -> CompleteSection:
    """The section of a layer, counted from 1."""
    left = layer
    for section in complete_sections(job, motion):
        left -= section.layers
        if left <= 0:
            return section
    raise ValueError(f"layer {layer} is not printed")


OF_OBJECTS = ("part_mass_kg", "part_x_mm", "part_y_mm")
"""Keys of a section that begins an object."""


def without(job: Print, *keys: str) -> list[dict[str, Any]]:
    """The sections as a scenario states them, some of their keys left out: these are as in [print] and
    [motion]."""
    return [section.model_dump(exclude_none=True, exclude=set(keys)) for section in job.section]


def refuse_sections(job: Print, name: str, who: str, why: str) -> None:
    """Raise InputError where a print has sections, for what takes layers of one kind alone; messages call the
    file `name`."""
    if job.laid is not None:
        raise InputError(
            f"{name}: print.program: {who} takes layers of one height, time and motion only: {why}. "
            "Allowed: print.layers and print.layer_mm in its place."
        )
    if job.section:
        raise InputError(
            f"{name}: print.section: {who} takes layers of one height, time and motion only: {why}. "
            "Allowed: no sections."
        )


def refuse_objects(job: Print, name: str, who: str, why: str) -> None:
    """Likewise where objects are printed one after the other, for what takes one."""
    if job.laid is not None and np.any(job.laid.first > 1):
        raise InputError(
            f"{name}: print.program: {who} takes one object only: {why}; this program prints several."
        )
    for number, section in enumerate(job.section[1:], start=2):
        if section.new_object:
            raise InputError(
                f"{name}: print.section.{number}.new_object = true: {who} takes one object only: {why}. "
                "Allowed: false."
            )
