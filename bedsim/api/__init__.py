"""What a Python program asks of bedsim: one function for each question, each thin over what the commands use.

Whatever is asked for a machine takes a path, a text in TOML, or a scenario that was loaded.
"""

from bedsim.api.ask import compare, compensate, gauge, improve, learn, simulate, size, with_answer
from bedsim.api.given import load_scenario, scenario
from bedsim.api.plotting import plot
from bedsim.api.stored import open_file as open
from bedsim.api.stored import save, to_csv, to_json
from bedsim.api.sweeping import sweep

__all__ = [
    "compare",
    "compensate",
    "gauge",
    "improve",
    "learn",
    "load_scenario",
    "open",
    "plot",
    "save",
    "scenario",
    "simulate",
    "size",
    "sweep",
    "to_csv",
    "to_json",
    "with_answer",
]
