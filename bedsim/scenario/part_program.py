"""The part's own program in a scenario: read beside it, its numbers put under the keys that it stands for."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import Any, Protocol

import numpy as np

from bedsim.errors import UnreadableError
from bedsim.program.fault import ProgramError
from bedsim.program.laid import DIGITS, Laid, from_tables, outline_name
from bedsim.program.lexer import Array
from bedsim.program.reading import Settings, read_program
from bedsim.scenario.faults import Faults
from bedsim.scenario.machine_keys import Print
from bedsim.scenario.named_files import NamedFileError, named_file
from bedsim.scenario.tree import Tree

SETTINGS = {
    "plane_acceleration_mm_s2": "acceleration",
    "plane_corner_mm_s": "corner",
    "line_width_mm": "width",
    "program_z_least_mm": "least",
    "program_z_most_mm": "most",
}
"""Keys that decide how a program is read, and what the reader calls them."""
NO_RANGE = ("program_z_least_mm", "program_z_most_mm")
"""Those that have no range: a program either keeps to them or does not."""
LONG = 2_000_000  # bytes: a program of less is read before a bar could be seen
FARTHEST = 1e7


class Stage(Protocol):
    """Tells how far one step of the work is: its whole and its name give what is told how much is done."""

    def __call__(self, total: int, what: str) -> AbstractContextManager[Callable[[int], None]]:
        """Begin to tell."""
        ...


def untold(total: int, what: str) -> AbstractContextManager[Callable[[int], None]]:
    """A stage that nobody hears of."""
    return nullcontext(lambda done: None)


def program_in(
    full: Tree,
    folder: Path,
    faults: Faults,
    known: Mapping[str, Array] | None,
    uncertain: Collection[str] = (),
    stage: Stage = untold,
) -> tuple[Laid | None, dict[str, Array]]:
    """What the program of a complete tree lays, with its tables; the keys that it stands for are set in
    `full`.

    `known`: tables that were read before; `uncertain` keys have a range; `stage` hears of the reading of a
    long program.  What is wrong goes into `faults`; without a program: None.
    """
    job = full.get("print")
    written = job.get("program") if isinstance(job, dict) else None
    if not isinstance(job, dict) or not isinstance(written, str):
        return None, {}
    _refuse_ranges(uncertain, faults)
    settings = _settings(job)
    whole = None if settings is None else _read(written, settings, folder, faults, known or {}, stage)
    if whole is None or settings is None:
        job.update({"layers": 1, "layer_mm": 1.0})  # told already: no second fault of what is missing
        return None, {}
    laid = _cut(whole, job.get("layers"), faults)
    _set(job, laid, full)
    return laid, whole.tables(written)


def _settings(job: Tree) -> Settings | None:
    values = {}
    for key, name in SETTINGS.items():
        value = job.get(key, Print.model_fields[key].default)
        if value is None:
            continue
        usable = isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < FARTHEST
        if not usable or (value <= 0 and key != "program_z_least_mm"):
            return None  # the schema tells which
        values[name] = float(value)
    return Settings(**values)


def _refuse_ranges(uncertain: Collection[str], faults: Faults) -> None:
    for key in NO_RANGE:
        if f"print.{key}" in uncertain:
            rule = "has no range: a program keeps to a limit or does not"
            faults.add(f"print.{key}", rule, hint="Give one number.")


def _read(
    written: str,
    settings: Settings,
    folder: Path,
    faults: Faults,
    known: Mapping[str, Array],
    stage: Stage,
) -> Laid | None:
    kept, outlines = known.get(written), known.get(outline_name(written))
    if kept is not None and outlines is not None:
        laid = from_tables(kept, outlines)
        if laid.settings == settings:
            return laid
    try:
        path = named_file(written, folder)
        size = path.stat().st_size
        with (stage if size > LONG else untold)(size, f"bytes of {path.name}") as progress:
            return read_program(path, settings, progress)
    except NamedFileError as fault:
        faults.add("print.program", fault.rule, value=written, hint=fault.hint)
    except UnreadableError as fault:
        faults.add("print.program", fault.why, value=written)
    except ProgramError as fault:
        faults.add("print.program", f"{fault.where}{fault.rule}", value=written)
    return None


def _cut(laid: Laid, layers: Any, faults: Faults) -> Laid:
    """The first layers alone, where the scenario says how many."""
    if not isinstance(layers, int) or isinstance(layers, bool) or layers < 1:
        return laid
    if layers > laid.count:
        faults.add("print.layers", f"the program has {laid.count} layers", value=layers, hint="Leave it out.")
        return laid
    return laid.first_ones(layers)


def _set(job: Tree, laid: Laid, full: Tree) -> None:
    """Put likely numbers of the program under the keys of a plain print, for what asks these alone."""
    origin = origin_mm(job, full.get("bed"))
    weight = laid.extruded / laid.extruded.sum()
    seconds = laid.settle + laid.printing + laid.after
    job.update(
        layers=laid.count,
        layer_mm=float(np.median(laid.thickness)),
        seconds_per_layer=float(np.median(seconds)),
        settle_s=float(np.median(laid.settle)),
        part_mass_kg=float(laid.extruded.sum() * kg_per_mm(job)),
        part_x_mm=round(float(weight @ laid.x) + origin[0], DIGITS),  # sums that cancel leave rounding
        part_y_mm=round(float(weight @ laid.y) + origin[1], DIGITS),
    )


def kg_per_mm(job: Mapping[str, Any]) -> float:
    """Mass of a millimetre of E, or of a cubic millimetre where E counts these."""
    fields = Print.model_fields
    diameter, density, e = (
        job.get(key, fields[key].default) for key in ("filament_diameter_mm", "density_g_cm3", "program_e")
    )
    numbers = isinstance(diameter, int | float) and isinstance(density, int | float)
    area = 1.0 if e == "volume" or not numbers else np.pi / 4 * diameter**2
    return float(area * (density if numbers else 1.0) * 1e-6)


def origin_mm(job: Mapping[str, Any], bed: Any) -> tuple[float, float]:
    """Where the program's X0 Y0 stands on the bed; the bed's front left corner unless the scenario says."""
    found = []
    for axis in ("x", "y"):
        given = job.get(f"program_{axis}_mm")
        size = bed.get(f"size_{axis}_mm") if isinstance(bed, Mapping) else None
        corner = -size / 2 if isinstance(size, int | float) else 0.0
        found.append(float(given) if isinstance(given, int | float) else corner)
    return found[0], found[1]
