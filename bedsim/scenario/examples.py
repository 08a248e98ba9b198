"""The shipped scenarios, wherever bedsim stands: beside its source in a clone, or where a wheel put them."""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, files
from pathlib import Path

from bedsim.errors import InputError, ResultFileError
from bedsim.files import read_bytes
from bedsim.scenario.keys import nearest
from bedsim.scenario.load import load_scenario
from bedsim.scenario.sweep_plan import read_plan_file

INSTALLED = "share/bedsim/scenarios"
"""Where a wheel puts them, below the prefix of its environment."""
KNOWN = "bent-rolled-rigid.toml"


def folder() -> Path:
    """The folder that holds them.  Raises InputError where they are not installed."""
    clone = Path(__file__).parents[2] / "scenarios"
    if (clone / KNOWN).is_file():
        return clone
    try:
        for file in files("bedsim") or ():
            if file.as_posix().endswith(f"{INSTALLED}/{KNOWN}"):
                return Path(str(file.locate())).resolve().parent
    except PackageNotFoundError:
        pass
    raise InputError("the shipped scenarios are not installed with this bedsim.")


def names() -> list[str]:
    """Their names, plans of sweeps among them."""
    home = folder()
    found = [*home.glob("*.toml"), *home.glob("sweeps/*.toml")]
    return sorted(path.relative_to(home).with_suffix("").as_posix() for path in found)


def copies(name: str, target: Path) -> dict[Path, bytes]:
    """What to write for one of them to stand at `target`: itself and the files that it names, beside it.

    Raises InputError for a name that is none, and where a file would be written over.
    """
    known = names()
    if name not in known:
        near = nearest(name, known)
        hint = f"Did you mean {near}?" if near else ""
        raise InputError(f"--example {name}: must be one of {', '.join(known)}. {hint}".rstrip())
    source = folder() / f"{name}.toml"
    text = read_bytes(source)
    if source.parent != folder():
        return _with_scenario(source, text, target)
    found = {target: text}
    for written in load_scenario(source).tables:
        found[_free(target.parent / written)] = read_bytes(source.parent / written)
    return found


def _with_scenario(plan: Path, text: bytes, target: Path) -> dict[Path, bytes]:
    """A plan and the scenario that it names, which then stands beside it."""
    named = read_plan_file(plan).scenario
    scenario = plan.parent / named
    beside = _free(target.parent / scenario.name)
    return {target: text.replace(named.encode(), scenario.name.encode()), beside: read_bytes(scenario)}


def _free(path: Path) -> Path:
    if path.exists():
        raise ResultFileError(f"{path}: exists already and would be written over. Give another folder.")
    return path
