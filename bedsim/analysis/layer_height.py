"""The layer height of a scenario against the full steps of its motors: one answer for every command."""

from __future__ import annotations

from bedsim.scenario.schema import Scenario
from bedsim.sizing.layer_heights import LayerHeights, Train, layer_heights, sentence
from bedsim.units import MM


def trains(scenario: Scenario) -> dict[Train, tuple[str, ...]]:
    """What turns steps into travel, each with the corners that have it; a belt's motor is the first
    corner's."""
    found: dict[Train, tuple[str, ...]] = {}
    for corner in scenario.corner:
        motor = (scenario.corner[0] if scenario.drive.topology == "belt" else corner).motor
        train = Train(
            lead=corner.screw.lead_mm * MM,
            steps_per_turn=motor.steps_per_turn,
            microsteps=motor.microsteps,
            gear_ratio=motor.gear_ratio,
        )
        found[train] = (*found.get(train, ()), corner.name)
    return found


def heights_of(scenario: Scenario) -> dict[tuple[str, ...], LayerHeights]:
    """The scenario's layer height and those near it that suit the motors, by the corners they hold for."""
    wanted = scenario.print.layer_mm * MM
    return {corners: layer_heights(train, wanted) for train, corners in trains(scenario).items()}


def layer_height_lines(scenario: Scenario) -> list[str]:
    """What the layer height leaves, one sentence for every kind of drive among the corners."""
    found = heights_of(scenario)
    if len(found) == 1:
        return [f"Layer height: {sentence(heights)}" for heights in found.values()]
    return [f"Layer height, {', '.join(corners)}: {sentence(heights)}" for corners, heights in found.items()]
