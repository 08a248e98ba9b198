"""What a machine may be given as: a path, a text, tables written in Python, or a loaded scenario."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from bedsim.errors import InputError
from bedsim.scenario import load
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.toml_text import toml_lines

MachineLike = str | Path | LoadedScenario
BUILT = "scenario"
"""What messages call a scenario that was written in Python."""


def load_scenario(
    source: str | Path, overrides: Sequence[str] = (), *, changes: Mapping[str, Any] | None = None
) -> LoadedScenario:
    """Read a scenario from a file, or from a text of more than one line; `overrides` are `key=value` texts as
    behind --set, `changes` the same as values: {"joint.kind": "rolling"}.

    Raises InputError listing every fault: file, key, value, rule, hint.
    """
    loaded = load.load_scenario(source, overrides)
    return loaded.with_values(changes) if changes else loaded


def scenario(
    tables: Mapping[str, Any] | None = None, /, *, folder: str | Path = ".", **more: Any
) -> LoadedScenario:
    """A scenario written in Python, its tables as in a file: scenario(title="mine", bed={"size_x_mm": 300,
    ...}, corner=[{...}, {...}, {...}]).  CSV tables that it names are looked for in `folder`.

    Raises InputError listing every fault: key, value, rule, hint.
    """
    tree = {**(tables or {}), **more}
    source = "".join(f"{line}\n" for line in toml_lines(tree, BUILT))
    return load.scenario_from_tree(tree, folder=Path(folder), source=source, name=BUILT)


def loaded_from(given: MachineLike) -> LoadedScenario:
    """A loaded scenario from whatever stands for one.  Raises InputError."""
    if isinstance(given, LoadedScenario):
        return given
    if isinstance(given, str | Path):
        return load.load_scenario(given)
    raise InputError(
        f"{type(given).__name__}: is no machine. Give a path, a text (TOML), or what bedsim.load_scenario or "
        "bedsim.scenario gives."
    )
