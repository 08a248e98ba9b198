"""The machines of the tests beside this file: three corners, ball or plain screws, keys set over them."""

from pathlib import Path

from bedsim.scenario.load import LoadedScenario, load_scenario

SHIPPED = Path(__file__).parents[2] / "scenarios"
PLAIN = {"sizing.plain_nut_length_mm": 15}


def plain(**keys: object) -> LoadedScenario:
    """The shipped plain lead screws."""
    return _loaded("plain-lead-screws", {**PLAIN, **keys})


def ball(**keys: object) -> LoadedScenario:
    """The shipped bent rolled ball screws on rolling joints."""
    return _loaded("bent-rolled-rolling-joints", keys)


def _loaded(name: str, keys: dict[str, object]) -> LoadedScenario:
    return load_scenario(SHIPPED / f"{name}.toml", [f"{key}={value}" for key, value in keys.items()])
