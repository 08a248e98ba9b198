"""Where a heated bed on imperfect screws really is under the nozzle, layer by layer."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"
__all__ = [
    "Default",
    "GuideKind",
    "JointKeys",
    "JointKind",
    "MountKeys",
    "MountKind",
    "__version__",
    "compare",
    "compensate",
    "gauge",
    "improve",
    "learn",
    "load_kinds",
    "load_scenario",
    "open",
    "open_result",
    "open_sweep",
    "plot",
    "register_kind",
    "save",
    "scenario",
    "simulate",
    "size",
    "sweep",
    "to_csv",
    "to_json",
    "with_answer",
]

if TYPE_CHECKING:
    from bedsim.api import (
        compare,
        compensate,
        gauge,
        improve,
        learn,
        load_scenario,
        open,
        plot,
        save,
        scenario,
        simulate,
        size,
        sweep,
        to_csv,
        to_json,
        with_answer,
    )
    from bedsim.model.joint_kind import JointKind
    from bedsim.model.mount_kind import MountKind
    from bedsim.registry import Default, GuideKind
    from bedsim.results.store import read_run as open_result
    from bedsim.results.sweep_store import read_sweep as open_sweep
    from bedsim.scenario.outside_kinds import load_kinds, register_kind
    from bedsim.scenario.schema import JointKeys, MountKeys

_DOORS = ("compensate", "improve", "learn", "scenario", "sweep")
"""Packages that are called like functions, see `bedsim.shown.Door`."""
_OF_API = (
    "compare",
    "gauge",
    "load_scenario",
    "open",
    "plot",
    "save",
    "simulate",
    "size",
    "to_csv",
    "to_json",
    "with_answer",
)
_PUBLIC = {
    "Default": ("bedsim.registry", "Default"),
    "GuideKind": ("bedsim.registry", "GuideKind"),
    "JointKeys": ("bedsim.scenario.schema", "JointKeys"),
    "JointKind": ("bedsim.model.joint_kind", "JointKind"),
    "MountKeys": ("bedsim.scenario.schema", "MountKeys"),
    "MountKind": ("bedsim.model.mount_kind", "MountKind"),
    "load_kinds": ("bedsim.scenario.outside_kinds", "load_kinds"),
    "register_kind": ("bedsim.scenario.outside_kinds", "register_kind"),
    "open_result": ("bedsim.results.store", "read_run"),
    "open_sweep": ("bedsim.results.sweep_store", "read_sweep"),
    **{name: ("bedsim.api", name) for name in _OF_API},
}


def __getattr__(name: str) -> Any:
    """Import a public name on first use, so that `bedsim --help` stays quick."""
    if name in _DOORS:
        return import_module(f"bedsim.{name}")
    if name not in _PUBLIC:
        raise AttributeError(f"module 'bedsim' has no attribute {name!r}")
    module, attribute = _PUBLIC[name]
    return getattr(import_module(module), attribute)
