"""Credibility in the form of NASA-STD-7009, from summaries and from memory: eight factors, levels 0 to 4.

Levels were given by those who wrote the program, and are no more than that.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Factor:
    """A factor: its level of 4, why, and the files in which the evidence stands."""

    name: str
    level: int
    why: str
    evidence: tuple[str, ...]


FACTORS = (
    Factor(
        "Verification",
        3,
        "Closed forms, convergence orders, engines against each other and against two independent programs; "
        "numerical error estimated for every run. Nobody from outside has repeated it.",
        ("tests/analytic", "tests/agreement", "tests/independent", "tests/mutation"),
    ),
    Factor(
        "Validation",
        1,
        "Parts (beams, steppers, tolerances, eyes) against published readings; the whole, the sideways tug "
        "of war, against no measurement: there is none.",
        ("tests/published", "bedsim/learn"),
    ),
    Factor(
        "Input pedigree",
        1,
        "Grades and some data sheets were read; most stiffnesses are assumed, with ranges; DEVELOPERS.md "
        "lists what is from memory.",
        ("bedsim/scenario/defaults.py", "bedsim/screws/tables", "DEVELOPERS.md"),
    ),
    Factor(
        "Results uncertainty",
        2,
        "Ranges of all uncertain keys are carried to every figure, and their coverage is tested on made-up "
        "machines; what the model's own form may be wrong by is not in them.",
        ("bedsim/ranges", "tests/coverage", "tests/ranges"),
    ),
    Factor(
        "Results robustness",
        3,
        "What every uncertain key moves is told with each run; every key of a scenario is shown to move an "
        "answer.",
        ("bedsim/ranges/swings.py", "tests/keys", "bedsim/improve"),
    ),
    Factor(
        "Use history",
        0,
        "New; no machine was built or mended by it that we know of.",
        (),
    ),
    Factor(
        "Management of model and simulation",
        2,
        "Version control, tests on every change, answers pinned, changes of answers listed with reasons; no "
        "outside review, no configuration board.",
        ("DEVELOPERS.md", "tests/pinned"),
    ),
    Factor("People", 0, "No evidence of qualifications is offered.", ()),
)
