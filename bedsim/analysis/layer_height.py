"""The layer height of a scenario against the full steps of its motors: one answer for every command."""

from __future__ import annotations

from bedsim.analysis.sizing_gather import place_errors
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.sections import complete_sections
from bedsim.sizing.layer_heights import Bounds, LayerHeights, Train, layer_heights, sentence
from bedsim.units import MM

Drive = tuple[Train, tuple[tuple[int, Bounds], ...]]


def drives(loaded: LoadedScenario) -> dict[Drive, tuple[str, ...]]:
    """What turns steps into travel and the motor's place errors, each with the corners that have them; a
    belt's motor is the first corner's."""
    scenario = loaded.scenario
    found: dict[Drive, tuple[str, ...]] = {}
    for corner in scenario.corner:
        owner = scenario.corner[0] if scenario.drive.topology == "belt" else corner
        train = Train(
            lead=corner.screw.lead_mm * MM,
            steps_per_turn=owner.motor.steps_per_turn,
            microsteps=owner.motor.microsteps,
            gear_ratio=owner.motor.gear_ratio,
        )
        drive = (train, tuple(place_errors(loaded, owner).items()))
        found[drive] = (*found.get(drive, ()), corner.name)
    return found


def trains(loaded: LoadedScenario) -> dict[Train, tuple[str, ...]]:
    """What turns steps into travel, with the corners that have it."""
    found: dict[Train, tuple[str, ...]] = {}
    for (train, _), corners in drives(loaded).items():
        found[train] = (*found.get(train, ()), *corners)
    return found


def heights_of(loaded: LoadedScenario, wanted: float) -> dict[tuple[str, ...], LayerHeights]:
    """A layer height (m) and those near it that suit the motors, by the corners they hold for."""
    return {
        corners: layer_heights(train, wanted, dict(errors))
        for (train, errors), corners in drives(loaded).items()
    }


def layer_height_lines(loaded: LoadedScenario) -> list[str]:
    """What each layer height of the print leaves, one sentence for every kind of drive among the corners."""
    scenario = loaded.scenario
    found = []
    for wanted in dict.fromkeys(s.layer_mm for s in complete_sections(scenario.print, scenario.motion)):
        told = heights_of(loaded, wanted * MM)
        many = len(told) > 1
        found += [
            f"Layer height{', ' + ', '.join(corners) if many else ''}: {sentence(heights)}"
            for corners, heights in told.items()
        ]
    return found
