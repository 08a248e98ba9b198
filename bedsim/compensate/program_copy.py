"""The corrected copy of a scenario's program: made, read again, written; the original is only read."""

from __future__ import annotations

import contextlib
import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, cast

import numpy as np

from bedsim.analysis.printed import quantity
from bedsim.compensate.advice import Compensation
from bedsim.compensate.correction import Correction
from bedsim.compensate.printed import printed
from bedsim.compensate.read_back import WrittenPieces, read_again
from bedsim.compensate.rewrite import RewriteCount, rewritten, with_comment
from bedsim.compensate.stretches import corrections, find_stretches
from bedsim.compensate.ways import Base, Stage
from bedsim.errors import InputError, SolverError
from bedsim.files import write_file
from bedsim.program.laid import Laid
from bedsim.program.reading import read_stream
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.named_files import named_file
from bedsim.scenario.part_program import origin_mm
from bedsim.simulation import make_job
from bedsim.units import MM


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgramCopy:
    """A copy that was written: lines `changed` and moves `added` ahead of lines, longest move m, and what
    reading it again gave: laid `lines`, and how far (m) the `worst` of their ends lies from where it
    should.  `left` m, of `before`, peak to valley over all these ends: what is left as written, by a run
    of the copy with friction, hop and vibration."""

    path: Path
    changed: int
    added: int
    largest: float
    lines: int
    worst: float
    left: float
    before: float


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
    pose = _printed_anew(loaded, laid, pieces, stage)
    bed = corrections(stretches, laid.line, pose.a, pose.b, pose.turn, origin)
    with stage(size, "reading again") as progress, path.open("rb") as stream:
        again = read_again(stream, cast(Any, WrittenPieces(pieces)), stretches, by, bed, progress)
    if again.left >= again.before > 0.0:
        raise SolverError(
            f"the copy, printed anew, leaves {again.left * 1e3:.2f} µm of {again.before * 1e3:.2f} µm: it is "
            "not used"
        )
    write_file(target, pieces)
    return ProgramCopy(
        path=target,
        changed=count.changed,
        added=count.added,
        largest=count.largest * MM,
        lines=again.lines,
        worst=again.worst * MM,
        left=again.left * MM,
        before=again.before * MM,
    )


def _printed_anew(loaded: LoadedScenario, laid: Laid, pieces: Sequence[bytes], stage: Stage) -> Correction:
    """How the bed moves under the copy, from a run of the copy itself, in the form of a correction."""
    name = str(loaded.scenario.print.program)
    size = sum(map(len, pieces))
    with stage(size, "reading the copy") as progress:
        copy = read_stream(cast(Any, WrittenPieces(pieces)), laid.settings, progress)
    if not np.array_equal(copy.height, laid.height):
        raise SolverError("the copy lays at other heights than the program: it is not used")
    anew = replace(loaded, tables={**loaded.tables, **copy.tables(name)}).with_values({})
    job = make_job(anew)
    with stage(job.program.layers, "printing the copy") as progress:
        return Base(loaded=anew, job=job, layers=printed(anew, job, progress), step=0.0).whole


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
        f"{copy.worst / MM * 1e3:.2f} µm of where their correction puts them, heights and material as "
        f"before. As written: {quantity(copy.left, 'm')} left of {quantity(copy.before, 'm')} sideways (peak "
        "to valley over all ends of laid lines, from a run of the copy with friction, hop and vibration; X "
        "and Y as fine as they are written)."
    ]
