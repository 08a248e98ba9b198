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
    "load_kinds",
    "load_scenario",
    "open_result",
    "register_kind",
    "simulate",
]

if TYPE_CHECKING:
    from bedsim.model.joint_kind import JointKind
    from bedsim.model.mount_kind import MountKind
    from bedsim.registry import Default, GuideKind
    from bedsim.results.store import read_run as open_result
    from bedsim.scenario.load import load_scenario
    from bedsim.scenario.outside_kinds import load_kinds, register_kind
    from bedsim.scenario.schema import JointKeys, MountKeys
    from bedsim.simulation import simulate

_PUBLIC = {
    "Default": ("bedsim.registry", "Default"),
    "GuideKind": ("bedsim.registry", "GuideKind"),
    "JointKeys": ("bedsim.scenario.schema", "JointKeys"),
    "JointKind": ("bedsim.model.joint_kind", "JointKind"),
    "MountKeys": ("bedsim.scenario.schema", "MountKeys"),
    "MountKind": ("bedsim.model.mount_kind", "MountKind"),
    "load_kinds": ("bedsim.scenario.outside_kinds", "load_kinds"),
    "register_kind": ("bedsim.scenario.outside_kinds", "register_kind"),
    "load_scenario": ("bedsim.scenario.load", "load_scenario"),
    "open_result": ("bedsim.results.store", "read_run"),
    "simulate": ("bedsim.simulation", "simulate"),
}


def __getattr__(name: str) -> Any:
    """Import a public name on first use, so that `bedsim --help` stays quick."""
    if name not in _PUBLIC:
        raise AttributeError(f"module 'bedsim' has no attribute {name!r}")
    module, attribute = _PUBLIC[name]
    return getattr(import_module(module), attribute)
