"""The corrected copy of a scenario's program: made, read again, written; the original is only read."""

from __future__ import annotations

import contextlib
import datetime
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

import numpy as np

from bedsim.compensate.advice import Compensation
from bedsim.compensate.read_back import ReadAgain, WrittenPieces, read_again
from bedsim.compensate.rewrite import RewriteCount, rewritten, with_comment
from bedsim.compensate.stretches import corrections, find_stretches
from bedsim.compensate.ways import Stage
from bedsim.errors import InputError
from bedsim.files import write_file
from bedsim.program.laid import Laid
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.named_files import named_file
from bedsim.scenario.part_program import origin_mm
from bedsim.units import MM


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgramCopy:
    """A copy that was written: lines `changed` and moves `added` ahead of lines, longest move m, and what
    reading it again gave: laid `lines`, and how far (m) the `worst` of their ends lies from where it
    should."""

    path: Path
    changed: int
    added: int
    largest: float
    lines: int
    worst: float


def check_program_asked(loaded: LoadedScenario, target: Path) -> Path:
    """The program of a scenario, to be copied to `target`.  Raises InputError where there is none, or
    where the copy would take its place."""
    written = loaded.scenario.print.program
    if written is None:
        raise InputError(
            f"--program {target}: {loaded.name} prints no program. Name the part's own under print.program."
        )
    path = named_file(written, loaded.folder)
    with contextlib.suppress(OSError):
        if target.samefile(path):
            raise InputError(f"--program {target}: is the program itself; a copy has another name.")
    return path


def write_copy(
    found: Compensation, loaded: LoadedScenario, target: Path, stage: Stage, dated: bool = False
) -> ProgramCopy:
    """Write a copy of the scenario's program with shift and turn in it.

    Raises InputError, UnreadableError or ProgramError for a program that cannot be used, SolverError
    where the copy read again is not what it should be: nothing is written then.
    """
    path = check_program_asked(loaded, target)
    size = path.stat().st_size
    with stage(size, "reading") as progress, path.open("rb") as stream:
        stretches = find_stretches(stream, progress)
    job: Any = loaded.scenario.print
    laid: Laid = job.laid
    origin = np.array(origin_mm(job.model_dump(), loaded.scenario.bed.model_dump()))
    whole = found.rows.whole
    by = corrections(stretches, laid.line, whole.a, whole.b, whole.turn, origin)
    count = RewriteCount()
    with stage(size, "writing") as progress, path.open("rb") as stream:
        pieces = [*rewritten(stream, stretches, by, count, progress)]
    if count.changed or count.added:
        pieces[0] = with_comment(pieces[0], _words(found, dated))
    with stage(size, "reading again") as progress, path.open("rb") as stream:
        again: ReadAgain = read_again(stream, cast(Any, WrittenPieces(pieces)), stretches, by, progress)
    write_file(target, pieces)
    return ProgramCopy(
        path=target,
        changed=count.changed,
        added=count.added,
        largest=count.largest * MM,
        lines=again.lines,
        worst=again.worst * MM,
    )


def _words(found: Compensation, dated: bool) -> str:
    title = " ".join(found.title.split())[:80]
    said = f"bedsim compensate: shift and turn by layer for {title}, screws at the angle of its layer 1"
    return f"{said}, {datetime.datetime.now(datetime.UTC):%Y-%m-%d}" if dated else said


def copy_lines(copy: ProgramCopy) -> list[str]:
    """What is told of a copy."""
    if not copy.changed and not copy.added:
        return ["The copy is the program, byte for byte: nothing is to be changed."]
    return [
        f"{copy.changed} lines changed, {copy.added} moves put ahead, the longest way "
        f"{copy.largest / MM * 1e3:.1f} µm; "
        f"every other line is as it was. Read again: all {copy.lines} lines that lay end within "
        f"{copy.worst / MM * 1e3:.2f} µm of where their correction puts them, heights and material as before."
    ]
