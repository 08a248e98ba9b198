"""Three ways through the commands, each a few steps; the page shows what every command answers."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class TutorialStep:
    """What is done and why; the command behind `bedsim` as it is typed; a file written beforehand."""

    words: str
    command: str
    writes: tuple[str, str] = ("", "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Tutorial:
    """Some steps under one question."""

    title: str
    steps: tuple[TutorialStep, ...]


BANDS = """\
wall,probe,wavelength_mm,amplitude_um,crest_mm
+X,front right,5,18,1.1
-X,back left,5,12,2.9
+Y,back right,5,16,3.4
-Y,front left,5,14,0.6
"""

TUTORIALS: tuple[Tutorial, ...] = (
    Tutorial(
        title="A first machine",
        steps=(
            TutorialStep(
                words="Write a scenario. Without --defaults it asks a dozen things; every default carries "
                "its range and source in the file.",
                command="new my.toml --defaults --layers 20",
            ),
            TutorialStep(
                words="Where is the bed, layer by layer? The first sentence sums it up.",
                command="run my.toml --no-ranges --no-pictures",
            ),
            TutorialStep(words="What is that figure, and what computes it?", command="explain lateral_pv"),
            TutorialStep(
                words="Does the drive hold, turn and last? Margins below 1 come first. A prediction, never a "
                "proof of safety: a bed on ball screws can fall when power fails.",
                command="size my.toml",
            ),
        ),
    ),
    Tutorial(
        title="Bent screws arrive",
        steps=(
            TutorialStep(
                words="How the readings are taken: with the machine off and the bed propped up.",
                command="explain recipe run-out",
            ),
            TutorialStep(
                words="How bent is this screw, and does it keep its class?",
                command="gauge scenarios/gauge-readings/back.csv --grade C7 --no-pictures",
            ),
            TutorialStep(
                words="What the three gauged screws do in the machine.",
                command="run scenarios/gauge-readings.toml --no-ranges --no-pictures --set print.layers=20",
            ),
            TutorialStep(
                words="Turned in their couplings one screw works against another.",
                command="clock scenarios/gauge-readings.toml --no-check --no-pictures",
            ),
        ),
    ),
    Tutorial(
        title="Bands on a print",
        steps=(
            TutorialStep(
                words="How bands are read off a thin frame as large as the bed.",
                command="explain recipe bands",
            ),
            TutorialStep(
                words="Which screw makes these (invented) bands? Their length tells the kind of cause.",
                command="diagnose bands.csv scenarios/bent-rolled-rigid.toml",
                writes=("bands.csv", BANDS),
            ),
            TutorialStep(
                words="And what would a joint between nut and carriage change?",
                command="explain joint.kind scenarios/bent-rolled-rigid.toml --set print.layers=20",
            ),
        ),
    ),
)
