"""The names a user imports are functions, whatever has been imported before."""

import importlib

import bedsim


def test_public_names_are_callable():
    for module in ("bedsim.simulation", "bedsim.scenario.load", "bedsim.results.store"):
        importlib.import_module(module)
    assert all(callable(getattr(bedsim, name)) for name in bedsim.__all__ if name != "__version__")
