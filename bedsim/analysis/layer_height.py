"""The layer height of a scenario against the full steps of its motors: one answer for every command."""

from __future__ import annotations

from bedsim.analysis.sizing_gather import place_errors
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.sections import complete_sections
from bedsim.sizing.layer_heights import Bounds, LayerHeights, Train, layer_heights, sentence
from bedsim.units import MM

MOST = 3  # layer heights that are told one by one

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
    """What each layer height of the print leaves, one sentence for every kind of drive among the corners; of
    many heights the worst."""
    scenario = loaded.scenario
    heights = list(dict.fromkeys(s.layer_mm for s in complete_sections(scenario.print, scenario.motion)))
    told = [(wanted, heights_of(loaded, wanted * MM)) for wanted in heights]
    which = ""
    if len(heights) > MOST:
        told = [max(told, key=lambda one: max(found.wanted.thickness[1] for found in one[1].values()))]
        which = f", the worst of {len(heights)} from {min(heights):g} to {max(heights):g} mm"
    return [
        f"Layer height{which}{', ' + ', '.join(corners) if len(by_drive) > 1 else ''}: {sentence(found)}"
        for _, by_drive in told
        for corners, found in by_drive.items()
    ]
