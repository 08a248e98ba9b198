"""The theory as the program's own modules tell it: docstrings, from the row to the engines and beyond."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from bedsim.explain.source_text import ModuleText, module_text, paths

CHAPTERS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("The row: how everything enters", ("components/row.py", "components/frame.py", "model/assembly.py")),
    ("Parts and their formulas", ("components/",)),
    ("From parts to a machine", ("model/", "kinds/")),
    ("Engines", ("engines/base.py", "engines/propagator.py", "engines/")),
    ("Answers and their doubt", ("simulation.py", "analysis/", "ranges/")),
    ("The printed wall", ("wall/",)),
    ("Whether a drive holds, turns and lasts", ("sizing/", "screws/", "upkeep/")),
    ("When power fails, beds tilt and frames shake", ("power_loss/", "tilt/", "shake/")),
    ("From readings to a machine", ("metrology/", "diagnosis/", "learn/", "clocking/")),
    ("Many machines", ("comparison/", "improve/", "sweep/")),
)
"""Title and modules of each chapter, by the beginnings of their paths; each module stands in the first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Passage:
    """A paragraph, or a formula that keeps its lines."""

    text: str
    is_formula: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class TheoryPart:
    """What one module says: its own words, then those of its functions that tell a source or a formula."""

    path: str
    blocks: tuple[Passage, ...]
    functions: tuple[tuple[str, tuple[Passage, ...]], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Chapter:
    """Some modules under one title."""

    title: str
    parts: tuple[TheoryPart, ...]


def chapters() -> Iterator[Chapter]:
    """The whole theory."""
    told: set[str] = set()
    for title, starts in CHAPTERS:
        fresh = [path for path in dict.fromkeys(paths(*starts)) if path not in told]
        told |= set(fresh)
        yield Chapter(title=title, parts=tuple(_part(module_text(path)) for path in fresh))


def _part(module: ModuleText) -> TheoryPart:
    functions = (
        (name, blocks(doc))
        for name, doc in module.public
        if "Source" in doc or "Deriv" in doc or "\n    " in doc
    )
    return TheoryPart(path=module.path, blocks=blocks(module.doc), functions=tuple(functions))


def blocks(doc: str) -> tuple[Passage, ...]:
    """Paragraphs of a docstring; those that are indented are formulas."""
    found = []
    for text in re.split(r"\n\s*\n", doc):
        lines = text.splitlines()
        formula = bool(lines) and all(line.startswith("    ") for line in lines if line.strip())
        kept = "\n".join(line[4:].rstrip() for line in lines) if formula else " ".join(text.split())
        if kept:
            found.append(Passage(text=kept, is_formula=formula))
    return tuple(found)
