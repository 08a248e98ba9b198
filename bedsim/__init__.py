"""Where a heated bed on imperfect screws really is under the nozzle, layer by layer."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"
__all__ = ["__version__", "load_scenario", "open_result", "simulate"]

if TYPE_CHECKING:
    from bedsim.results.store import read_run as open_result
    from bedsim.scenario.load import load_scenario
    from bedsim.simulation import simulate

_PUBLIC = {
    "load_scenario": ("bedsim.scenario.load", "load_scenario"),
    "open_result": ("bedsim.results.store", "read_run"),
    "simulate": ("bedsim.simulation", "simulate"),
}


def __getattr__(name: str) -> Any:
    """Import a public function on first use, so that `bedsim --help` stays quick."""
    if name not in _PUBLIC:
        raise AttributeError(f"module 'bedsim' has no attribute {name!r}")
    module, attribute = _PUBLIC[name]
    return getattr(import_module(module), attribute)
