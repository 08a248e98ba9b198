"""What no single key can tell: whether the machine of a scenario hangs together."""

from __future__ import annotations

from collections import Counter

import numpy as np

from bedsim.number_text import number
from bedsim.scenario.faults import Faults
from bedsim.scenario.schema import Corner, Print, Scenario
from bedsim.scenario.sections import OF_OBJECTS, way_down_mm
from bedsim.scenario.tree import Tree, lookup

FIRST_LAYER_BELOW_TOP_MM = 60.0
"""Where the nut of layer 1 is below the upper end of the screw, if the scenario does not say."""

MOST_RPM = 3000.0
"""Beyond it no stepping motor drives a screw: common practice, no source."""


def check_machine(scenario: Scenario, tree: Tree, faults: Faults) -> None:
    """Note every fault that spans several keys; `tree` is the file as written, for the names of its keys."""
    _unique_names(scenario, faults)
    _spread(scenario, faults)
    # One corner that runs off its screw is enough to tell.
    way_down = way_down_mm(scenario.print, scenario.motion)
    any(_runs_off(corner, scenario.print, way_down, faults) for corner in scenario.corner)
    _begins_nothing(scenario.print, faults)
    _turns_too_fast(scenario, faults)
    _held_by_no_motor(scenario, faults)
    if lookup(tree, ("output", "trace_layers"))[0]:
        for layer in scenario.output.trace_layers:
            if layer > scenario.print.layers:
                rule = f"layer {layer} is not printed (print.layers = {scenario.print.layers})"
                faults.add("output.trace_layers", rule)


def _begins_nothing(job: Print, faults: Faults) -> None:
    for number_of, section in enumerate(job.section[1:], start=2):
        for key in OF_OBJECTS:
            value = getattr(section, key)
            if value is not None and not section.new_object:
                rule = "is that of an object, and this section begins none"
                hint = "Give it where the object begins, or say new_object = true."
                faults.add(f"print.section.{number_of}.{key}", rule, value=value, hint=hint)


def _turns_too_fast(scenario: Scenario, faults: Faults) -> None:
    shared = scenario.drive.topology == "belt"
    speed = scenario.motion.speed_mm_s
    for corner in scenario.corner[: 1 if shared else None]:
        lead, gear = corner.screw.lead_mm, corner.motor.gear_ratio
        turning = speed / lead * gear * 60
        if turning > MOST_RPM:
            rule = (
                f"turns the motor at {corner.name} at {turning:.0f} rpm (lead_mm = {lead:g}, gear_ratio = "
                f"{gear:g}); stepping motors reach {MOST_RPM:g} at most"
            )
            faults.add("motion.speed_mm_s", rule, value=speed)
            return


def _held_by_no_motor(scenario: Scenario, faults: Faults) -> None:
    """With a belt the screws turn in bearings of their own."""
    held = [c for c in scenario.corner if c.screw.on_motor]
    if scenario.drive.topology == "belt" and held:
        rule = f"no motor stands under the screw of corner {held[0].name}: drive.topology = belt"
        faults.add("screw.ends", rule, value=held[0].screw.ends, hint="Choose fixed-free or fixed-supported.")


def first_layer_nut_mm(corner: Corner, job: Print) -> float:
    """Height of a corner's nut above the lower end of its screw's free length at layer 1 (mm)."""
    if job.first_layer_nut_mm is not None:
        return job.first_layer_nut_mm
    return corner.screw.length_mm - FIRST_LAYER_BELOW_TOP_MM


def _unique_names(scenario: Scenario, faults: Faults) -> None:
    for what, entries in (("corner", scenario.corner), ("probe", scenario.probe)):
        for name, count in Counter(entry.name for entry in entries).items():
            if count > 1:
                faults.add(f"{what}.name", f"{count} entries have this name, each needs its own", value=name)


def _spread(scenario: Scenario, faults: Faults) -> None:
    places = np.array([[c.x_mm, c.y_mm] for c in scenario.corner])
    names = [c.name for c in scenario.corner]
    for i, name in enumerate(names):
        for j in range(i):
            if np.hypot(*(places[i] - places[j])) < 1.0:
                faults.add(
                    f"corner.{name}",
                    f"stands at the same place as corner {names[j]}",
                    hint="Check x_mm and y_mm.",
                )
                return
    wide, narrow = np.linalg.svd(places - places.mean(axis=0), compute_uv=False)[:2]
    if narrow < 0.01 * wide:
        faults.add("corner", f"the corners {', '.join(names)} stand on one line: the bed would tip over it")


def _runs_off(corner: Corner, job: Print, way_down: float, faults: Faults) -> bool:
    screw, start = corner.screw, first_layer_nut_mm(corner, job)
    place = f"screw of corner {corner.name}, length_mm = {screw.length_mm:g}"
    if job.first_layer_nut_mm is not None and start > screw.length_mm - screw.root_diameter_mm:
        root = f"{number(screw.root_diameter_mm)} mm"
        rule = f"must be at least one root diameter ({root}) below the upper end ({place})"
        faults.add("print.first_layer_nut_mm", rule, value=start)
        return True
    needed = way_down + screw.root_diameter_mm
    if needed > start:
        rule = (
            f"the nut runs off the screw: the print and one root diameter take {number(needed, 4)} mm, "
            f"the nut of layer 1 is {number(start, 4)} mm above the lower end ({place})"
        )
        faults.add(
            "print.layers",
            rule,
            value=job.layers,
            hint="Fewer layers, a longer screw or a higher first_layer_nut_mm.",
        )
    return needed > start
