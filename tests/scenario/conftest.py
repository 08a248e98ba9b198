"""A small machine written to a file, with one thing changed at a time."""

from collections.abc import Callable
from pathlib import Path

import pytest

from bedsim.errors import InputError
from bedsim.scenario.load import load_scenario

TEXT = """title = "three corners"
[bed]
size_x_mm = 300
size_y_mm = 200
mass_kg = 2.5
[print]
layers = 40
layer_mm = 0.2
[screw]
kind = "rolled_ball"
diameter_mm = 16
lead_mm = 5
length_mm = 400
[guide]
kind = "profile_rail"
[[corner]]
name = "A"
x_mm = -180
y_mm = -100
[[corner]]
name = "B"
x_mm = 180
y_mm = -100
[[corner]]
name = "C"
x_mm = 0
y_mm = 180
"""


@pytest.fixture
def text() -> str:
    return TEXT


@pytest.fixture
def write(tmp_path: Path) -> Callable[..., Path]:
    """Write the machine with text replaced and text added, and give the file."""

    def written(*changes: tuple[str, str], added: str = "", name: str = "machine.toml") -> Path:
        text = TEXT
        for old, new in changes:
            assert old in text, f"nothing to replace: {old}"
            text = text.replace(old, new)
        path = tmp_path / name
        path.write_text(text + added, encoding="utf-8")
        return path

    return written


@pytest.fixture
def faults() -> Callable[..., list[str]]:
    """Load a scenario that must be refused, and give the lines of the refusal without the file's name."""

    def lines(path: Path, *overrides: str) -> list[str]:
        with pytest.raises(InputError) as caught:
            load_scenario(path, overrides)
        assert "Traceback" not in str(caught.value)
        return [line.removeprefix(f"{path}: ") for line in str(caught.value).splitlines()]

    return lines
