"""What all tests share: one thread per process, so that test processes side by side do not fight for
cores, files that need not outlast a power cut, and shipped scenarios with overrides."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from bedsim.threads import ONE_EACH

if TYPE_CHECKING:
    from pins import Pins
    from xdist.scheduler import WorkStealingScheduling

    from bedsim.scenario.load import LoadedScenario

for name, count in ONE_EACH.items():
    os.environ.setdefault(name, count)
os.environ.setdefault("MPLBACKEND", "Agg")

SCENARIOS = Path(__file__).parents[1] / "scenarios"
FRICTIONLESS = (
    "joint.friction_coefficient=0",
    "mount.friction_coefficient=0",
    "guide.friction_n=0",
    "nut.drag_torque_n_mm=0",
    "nut.friction_coefficient=0",
)


def pytest_addoption(parser: pytest.Parser) -> None:
    """Answers that rightly moved are pinned anew on request."""
    parser.addoption("--renew", action="store_true", help="write tests/pinned anew from today's answers")


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> WorkStealingScheduling | None:
    """Each process gets a stretch of neighbours and what is shared among them is made once; under xdist's own
    rule the stretches become short, and both processes make it."""
    from xdist.scheduler import WorkStealingScheduling

    return WorkStealingScheduling(config, log) if config.getoption("dist") == "load" else None


@pytest.fixture(scope="session", autouse=True)
def _no_waiting_for_the_disk() -> Iterator[None]:
    """Thousands of small files are written here, each waiting for the disk twice; tests of a full disk or a
    fault bring their own."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "fsync", lambda handle: None)
        yield


@pytest.fixture(scope="module")
def pins(request: pytest.FixtureRequest) -> Iterator[Pins]:
    """Answers as they stood, in the file named by the test module's `PINNED`."""
    from pins import Pins

    found = Pins(request.module.PINNED, renew=request.config.getoption("renew"))
    yield found
    if found.renew:
        found.write()


@pytest.fixture
def record_property(record_property: Callable[[str, object], None]) -> Callable[[str, object], None]:
    """As pytest's own, of numbers and arrays of numpy too: what a test records is sent from one process to
    another, which plain values alone are."""
    import json

    def record(name: str, value: object) -> None:
        record_property(name, json.loads(json.dumps(value, default=lambda found: found.tolist())))

    return record


@pytest.fixture(scope="session")
def shipped() -> Callable[..., LoadedScenario]:
    """A shipped scenario by its name, with `key=value` overrides."""
    from bedsim.scenario.load import load_scenario  # numpy reads the environment when it is loaded

    return lambda name, *overrides: load_scenario(SCENARIOS / f"{name}.toml", overrides)


@pytest.fixture(scope="session")
def frictionless() -> tuple[str, ...]:
    """Overrides that take all friction out."""
    return FRICTIONLESS
